"""A farm written back as a farm file, in SI, with every number and its origin stated.

The file reads back to an equal bundle, also by a later version with other defaults. Numbers that
are not set (no curve number, no planting year) are left out, as in the farm's own file.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date

from service.agronomy.block_batch import month_and_day
from service.agronomy.civil_day import day_of_decimal_year, wall_text
from service.agronomy.records import WallWindow
from service.agronomy.risk_attitude import attitude_name
from service.farm_files.block_keys import ALL_NUMBERS, GIVEN, NOTED_NAMES, TABLE_OF
from service.farm_files.block_part_keys import WateringSeasonKeys
from service.farm_files.control_file import control_of, has_own_timer
from service.farm_files.layout_file import layout_lines
from service.farm_files.quantities import write_quantity
from service.farm_files.timer_file import timer_lines
from service.farm_files.toml_literal import toml_literal
from service.farm_files.weekly_file import weekly_lines
from service.records.controllers import ControllerDefinition
from service.records.farms import BlockDefinition, FarmBundle, MonthlyNormals, SiteDefinition


def write_farm_file(bundle: FarmBundle) -> str:
    """The bundle as the text of a farm file; parsing it gives the same bundle."""
    lines: list[str] = []
    if bundle.farm is not None:
        farm = bundle.farm
        lines += [
            "[farm]",
            _pair("id", farm.farm_id),
            _pair("name", farm.name),
            _pair("zone", farm.zone),
            _pair("issue_time", wall_text(farm.issue_wall_min)),
            _pair("unit_system", farm.unit_system),
            "",
        ]
    for site in bundle.sites:
        lines += [*_site_lines(site), ""]
    for county in bundle.counties:
        lines += [
            "[[county]]",
            _pair("code", county.county_code),
            _pair("name", county.name),
            _pair("site", county.site_id),
            "",
        ]
    for supply in bundle.supplies:
        lines += [
            "[[supply]]",
            _pair("id", supply.supply_id),
            _pair("name", supply.name),
            _pair("flow", write_quantity(supply.flow_l_per_h, "L/h")),
            f"windows = {_windows(supply.windows)}",
            *weekly_lines(supply.weekly_no_water),
            *([] if supply.timer is None else ["", "[supply.timer]", *timer_lines(supply.timer)]),
            "",
        ]
    for block in bundle.blocks:
        lines += [*_block_lines(block), ""]
    for controller in bundle.controllers:
        lines += [*_controller_lines(controller), ""]
    for person in bundle.people:
        lines += [
            "[[person]]",
            _pair("mail", person.mail_address),
            _pair("name", person.name),
            _pair("language", person.language),
            _pair("unit_system", person.unit_system),
            f"receives = {_list(person.receives)}",
            "",
        ]
    return "\n".join(lines)


def _site_lines(site: SiteDefinition) -> list[str]:
    lines = [
        "[[site]]",
        _pair("id", site.site_id),
        _pair("name", site.name),
        _pair("zone", site.zone),
        _pair("latitude", site.latitude_deg),
        _pair("longitude", site.longitude_deg),
        _pair("elevation", write_quantity(site.elevation_m, "m")),
        _pair("wind_height", write_quantity(site.wind_height_m, "m")),
        _pair("krs", site.krs_per_sqrt_c),
    ]
    if site.normals is not None:
        normals: MonthlyNormals = site.normals
        months = (
            ("u2_m_s", normals.u2_m_s),
            ("rhmin_pct", normals.rhmin_pct),
            ("et0_mm", normals.et0_mm),
            ("tdew_offset_c", normals.tdew_offset_c),
        )
        lines += ["", "[site.normals]"]
        lines += [f"{key} = {_list(values)}" for key, values in months if values is not None]
    return lines


def _block_lines(block: BlockDefinition) -> list[str]:
    lines = [
        "[[block]]",
        _pair("id", block.block_id.rpartition(".")[2]),
        _pair("name", block.name),
        _pair("supply", block.supply_id),
        _pair("site", block.site_id),
        _pair("crop", block.crop_key),
        f"windows = {_windows(block.windows)}",
    ]
    control = control_of(block)
    if control is not None:
        lines.append(_pair("control", control))
    if block.balance_start is not None:
        lines.append(_pair("balance_start", block.balance_start))
    if not math.isnan(block.canopy_measured_year):
        measured_on = day_of_decimal_year(block.canopy_measured_year)
        lines.append(_pair("canopy_measured_on", measured_on))
    if block.no_water:
        lines.append("no_water = [")
        lines += [
            f"    {{ from = {toml_literal(period.starts_local)},"
            f" to = {toml_literal(period.ends_local)}, reason = {toml_literal(period.reason)} }},"
            for period in block.no_water
        ]
        lines.append("]")
    tables: dict[str, list[str]] = {"": [], "soil": [], "kc": [], "mulch": []}
    for number in ALL_NUMBERS:
        value: float = getattr(block, number.field)
        if not math.isnan(value):
            unit = number.measure.unit
            written = write_quantity(value, unit) if unit else value
            tables[TABLE_OF.get(number.field, "")].append(_pair(number.name, written))
    if not math.isnan(block.last_nitrogen_doy):
        last = "{:02d}-{:02d}".format(*month_and_day(int(block.last_nitrogen_doy)))
        tables[""].append(_pair("last_nitrogen", last))
    tables[""].append(_pair("risk_attitude", attitude_name(block.risk_attitude)))
    tables["soil"].append(_pair("grain", block.texture_group.name.lower()))
    curve_lines, tables["season"] = _curve_lines(block)
    tables["watering_season"] = _watering_lines(block)
    lines += [*curve_lines, *tables.pop("")]
    tables["origins"] = [
        _pair(name, origin)
        for name, origin in sorted(block.origins.items())
        if origin != GIVEN and name in NOTED_NAMES
    ]
    if block.timer is not None and has_own_timer(block):
        tables["timer"] = timer_lines(block.timer)
    if block.visits:
        tables["hand"] = [f"visits = {_windows(block.visits)}"]
    if block.layout is not None:
        tables["hydraulics"] = layout_lines(block.layout)
    for name, pairs in tables.items():
        if pairs:
            lines += ["", f"[block.{name}]", *pairs]
    return lines


def _controller_lines(controller: ControllerDefinition) -> list[str]:
    lines = [
        "[[controller]]",
        _pair("id", controller.controller_id.rpartition(".")[2]),
        _pair("name", controller.name),
        _pair("policy", controller.policy),
        "channels = [",
    ]
    for channel in controller.channels:
        runs = ", ".join(
            f"{{ start = {toml_literal(wall_text(run.start_wall_min))}, "
            f"duration = {toml_literal(write_quantity(run.duration_min, 'min'))} }}"
            for run in channel.fallback
        )
        fallback = f", fallback = [{runs}]" if runs else ""
        block = toml_literal(channel.block_id.rpartition(".")[2])
        lines.append(f"    {{ channel = {channel.channel}, block = {block}{fallback} }},")
    return [*lines, "]"]


def _curve_lines(block: BlockDefinition) -> tuple[list[str], list[str]]:
    """Lines for the block itself, and for its table ``season``."""
    curve = block.curve
    season = [_pair("start", f"{curve.season_start[0]:02d}-{curve.season_start[1]:02d}")]
    if curve.basis == "table":
        points = ", ".join(
            f"[{toml_literal(f'{month:02d}-{day:02d}')}, {kc!r}]" for month, day, kc in curve.points
        )
        return [f"kc_table = [{points}]"], season
    knots = curve.stage_knots
    if curve.basis == "degree-days":
        floor_c = curve.degree_day_floor_c or 0.0
        season.append(f"degree_days = {_list(write_quantity(knot, 'degC day') for knot in knots)}")
        season.append(_pair("floor", write_quantity(floor_c, "degC")))
    else:
        lengths = [later - earlier for earlier, later in zip((0.0, *knots), knots, strict=False)]
        season.append(f"lengths = {_list(lengths)}")
    return [], season


def _watering_lines(block: BlockDefinition) -> list[str]:
    """The lines of the table ``watering_season``; none where it is not known."""
    days = (block.watering_start_doy, block.watering_end_doy)
    if any(map(math.isnan, days)):
        return []
    return [
        _pair(key.name, "{:02d}-{:02d}".format(*month_and_day(int(doy))))
        for key, doy in zip((WateringSeasonKeys.start, WateringSeasonKeys.end), days, strict=True)
    ]


def _windows(windows: Iterable[WallWindow]) -> str:
    return _list(
        f"{wall_text(window.opens_wall_min)}-{wall_text(window.closes_wall_min)}"
        for window in windows
    )


def _pair(key: str, value: str | float | date) -> str:
    return f"{key} = {toml_literal(value)}"


def _list(values: Iterable[str | float]) -> str:
    return f"[{', '.join(toml_literal(value) for value in values)}]"
