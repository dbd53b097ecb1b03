"""Numbers with their sources: of a block, of the crop table, of the soil textures."""

from __future__ import annotations

import math
import re
from dataclasses import asdict
from typing import Annotated

import typer
from rich.text import Text

from service.agronomy.crop_file import CropRow
from service.agronomy.crop_table import CROPS, find_crop
from service.agronomy.soil import TEXTURE_KEYS, TextureGroup, texture_soil
from service.agronomy.units import NOMENCLATURE
from service.cli import shown
from service.cli.demo_clock import in_its_own_time
from service.cli.plans import farms_by_id
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    UnitSystem,
    open_service,
    out,
    paragraph,
    plain_table,
    print_json,
)
from service.operations.reading.block_numbers import (
    DERIVED,
    BlockNumber,
    BlockNumbers,
    block_numbers,
)
from service.translations.number_labels import DERIVED_LABELS, NUMBER_LABELS
from service.unit_sizes import (
    FAHRENHEIT_PER_CELSIUS,
    FREEZING_POINT_F,
    L_PER_H_PER_GPH,
    L_PER_H_PER_GPM,
    M2_PER_ACRE,
    M_PER_FOOT,
    MM_PER_INCH,
)

NAME_WIDTH, VALUE_WIDTH = 26, 13
SMALL_FLOWS = ("emitter_flow_l_per_h",)
_UNIT_AT_END = re.compile(r", (?:m²|m|L/h|%|min|mm|s|°C|m³/m³|mm/h|day of the year|year)$")


def block(
    block_id: Annotated[str, typer.Argument(help="Block whose numbers are shown.")],
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show all numbers of a block: given, default or derived, each with its source."""
    service = in_its_own_time(open_service())
    found = block_numbers(block_id, unit_of_work=service.unit_of_work, clock=service.clock)
    if as_json:
        print_json(
            {
                "block_id": found.block.block_id,
                "day": found.day,
                "stated": [asdict(each) for each in found.stated],
                "derived": [asdict(each) for each in found.derived],
            }
        )
        return
    farm = farms_by_id(service)[found.block.farm_id]
    _show_block(found, units or UnitSystem(farm.unit_system))


def _show_block(found: BlockNumbers, units: UnitSystem) -> None:
    block = found.block
    title = f"{block.name} ({block.block_id}), {shown.long_day(found.day)}"
    out.print(Text(title, style="bold"))
    for heading, numbers in (("Derived", found.derived), ("Stated", found.stated)):
        out.print()
        table = plain_table(heading, "Value", "From", right=(1,))
        table.columns[0].width, table.columns[1].width = NAME_WIDTH, VALUE_WIDTH
        for number in numbers:
            table.add_row(_label(number), number_text(number, units), number.origin)
        out.print(table)
    out.print()
    paragraph(
        "Derived numbers follow from the stated ones, for the plants of this year; of the stated"
        " ones, those not `given` are defaults. `rillwright why` has those of a plan, step by step."
    )


def _label(number: BlockNumber) -> str:
    """The name as people read it, without the unit at its end, which the value has."""
    if number.kind == DERIVED and number.name in DERIVED_LABELS:
        return DERIVED_LABELS[number.name]
    label = NUMBER_LABELS.get(number.name, number.name.replace("_", " "))
    return _UNIT_AT_END.sub("", label)


def _suffix(name: str) -> str:
    endings = ("l_per_h", "mm_per_h", "mm_per_min", "min", "mm", "m2", "m", "pct", "s", "c")
    return next((each for each in endings if name.endswith(f"_{each}")), "")


def number_text(number: BlockNumber, units: UnitSystem) -> str:
    """A number of a block with its unit, in those of the reader: ``1.50 ft``, ``0.107 in/h``."""
    value = number.value
    if math.isnan(value):
        return "none"
    if math.isinf(value):
        return "no limit"
    is_us = units is UnitSystem.US
    match _suffix(number.name):
        case "mm":
            return shown.depth(value, units)
        case "mm_per_h" | "mm_per_min" as per:
            unit = "in" if is_us else "mm"
            scaled = value / MM_PER_INCH if is_us else value
            return f"{scaled:.4g} {unit}/{per.removeprefix('mm_per_')}"
        case "l_per_h" if number.name in SMALL_FLOWS:
            return f"{value / L_PER_H_PER_GPH:.3g} gph" if is_us else f"{value:.3g} L/h"
        case "l_per_h":
            return f"{value / L_PER_H_PER_GPM:,.1f} gpm" if is_us else f"{value:,.0f} L/h"
        case "m2":
            return f"{value / M2_PER_ACRE:.3g} ac" if is_us else f"{value:,.0f} m2"
        case "m":
            return f"{value / M_PER_FOOT:.3g} ft" if is_us else f"{value:.3g} m"
        case "c":
            fahrenheit = value * FAHRENHEIT_PER_CELSIUS + FREEZING_POINT_F
            return f"{fahrenheit:.1f} °F" if is_us else f"{value:.1f} °C"
    unit = NOMENCLATURE[number.name].unit if number.name in NOMENCLATURE else "1"
    is_plain = unit in ("1", "year", "d") or number.name.endswith(("_doy", "_year"))
    return f"{value:.5g}" if is_plain else f"{value:.5g} {unit}"


def crops(
    crop: Annotated[str | None, typer.Argument(help="Show this crop with its sources.")] = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the crop table: the numbers that fill the gaps of a block; of one crop with sources."""
    rows = list(CROPS.values()) if crop is None else [find_crop(crop)]
    if as_json:
        print_json([asdict(row) for row in rows])
    elif crop is None:
        _show_crops(rows, units or UnitSystem.US)
    else:
        _show_crop(rows[0], units or UnitSystem.US)


def _show_crops(rows: list[CropRow], units: UnitSystem) -> None:
    unit = "ft" if units is UnitSystem.US else "m"
    table = plain_table(
        "Crop", "Kc ini", "mid", "end", "off", f"Roots, {unit}", "p", "Years",
        right=(1, 2, 3, 4, 5, 6, 7),
    )  # fmt: skip
    for row in rows:
        table.add_row(
            row.key,
            *(f"{kc:.2f}" for kc in (row.kc_initial, row.kc_mid, row.kc_end, row.kc_off_season)),
            _length(row.root_depth_low_m, units),
            f"{row.depletion_fraction:.2f}",
            f"{row.years_to_full_size}",
        )
    out.print(table)
    paragraph(
        "Kc: crop coefficients of the initial, mid and late stage and off season. Roots: the depth"
        " for scheduling. p: share of the stored water that is used before the crop suffers."
        " Years: from planting to full size. `rillwright crops CROP` names the sources."
    )


def _show_crop(row: CropRow, units: UnitSystem) -> None:
    out.print(Text(f"{row.name} ({row.key})", style="bold"))
    table = plain_table("Number", "Value", "Source", right=(1,))
    table.columns[0].width, table.columns[1].width = NAME_WIDTH, VALUE_WIDTH
    unit = "ft" if units is UnitSystem.US else "m"
    stages = row.stage_lengths_day
    season = row.estimated_season
    lines = [
        ("Kc initial", f"{row.kc_initial:.2f}", row.kc_source),
        ("Kc mid", f"{row.kc_mid:.2f}", row.kc_source),
        ("Kc end", f"{row.kc_end:.2f}", row.kc_source),
        ("Kc off season", f"{row.kc_off_season:.2f}", row.off_season_source),
        ("height", f"{_length(row.height_m, units)} {unit}", row.kc_source),
        ("root depth", f"{_length(row.root_depth_low_m, units)} {unit}", row.root_source),
        ("depletion fraction p", f"{row.depletion_fraction:.2f}", row.root_source),
        ("years to full size", f"{row.years_to_full_size}", "choice, no source"),
    ]
    if stages is not None:
        days = ", ".join(map(str, stages))
        lines.append((f"stages from {row.season_start}, d", days, row.stage_source or ""))
    elif season is not None:
        days = ", ".join(map(str, season.stage_lengths_day))
        lines.append((f"stages from {season.season_start}, d", days, season.origin))
    if row.salinity_threshold_ds_m is not None:
        threshold = f"{row.salinity_threshold_ds_m:.2f} dS/m"
        lines.append(("salinity threshold", threshold, row.salinity_source or ""))
    for line in lines:
        table.add_row(*line)
    out.print(table)


def _length(length_m: float, units: UnitSystem) -> str:
    return f"{length_m / M_PER_FOOT if units is UnitSystem.US else length_m:.1f}"


def soils(units: UnitsOption = None, as_json: JsonOption = False) -> None:
    """List the soil textures: water, conductivity and grain of each, with the source."""
    found = {key: texture_soil(key) for key in TEXTURE_KEYS}
    if as_json:
        print_json(
            [
                {
                    "texture": key,
                    **asdict(soil),
                    "texture_group": TextureGroup(int(soil.texture_group)).name.lower(),
                }
                for key, soil in found.items()
            ]
        )
        return
    is_us = units is not UnitSystem.SI
    held, rate = ("in/ft", "in/h") if is_us else ("mm/m", "mm/h")
    table = plain_table(
        "Texture", "Field cap.", "Wilting", f"Held, {held}", f"Takes, {rate}", "Grain",
        right=(1, 2, 3, 4),
    )  # fmt: skip
    sources: dict[str, list[str]] = {}
    for key, soil in found.items():
        capacity, point = float(soil.field_capacity), float(soil.wilting_point)
        held_mm_per_m = 1000.0 * (capacity - point)
        takes_mm_per_h = float(soil.saturated_conductivity_mm_per_h)
        table.add_row(
            key,
            f"{capacity:.3f}",
            f"{point:.3f}",
            f"{held_mm_per_m / MM_PER_INCH * M_PER_FOOT:.2f}" if is_us else f"{held_mm_per_m:.0f}",
            f"{takes_mm_per_h / MM_PER_INCH:.2f}" if is_us else f"{takes_mm_per_h:.1f}",
            TextureGroup(int(soil.texture_group)).name.lower(),
        )
        sources.setdefault(soil.source, []).append(key)
    out.print(table)
    for source, keys in sources.items():
        paragraph(f"{', '.join(keys)}: {source}.")
