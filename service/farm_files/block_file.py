"""One block of a farm file, from the grower's few numbers to the full record.

Defaults come from the crop table, the soil and the emitters; where each number comes from is noted
in ``origins``, so that a grower can see which ones are not the farm's own.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from service.agronomy.crop_file import CropRow
from service.agronomy.crop_table import CROPS, find_crop
from service.agronomy.records import CurveDefinition
from service.agronomy.risk_attitude import attitude_named
from service.agronomy.root_zone import wetted_fraction
from service.agronomy.soil import (
    SUBSTRATE_KEYS,
    TEXTURE_KEYS,
    SoilNumbers,
    TextureGroup,
    saxton_rawls,
    texture_soil,
)
from service.errors import InputInvalid
from service.farm_files import risk_file
from service.farm_files.block_draft import BlockDraft
from service.farm_files.block_keys import (
    FIXED,
    FULL_SIZE,
    GIVEN,
    NOTED_NAMES,
    REQUIRED,
    SIZE,
    BlockKeys,
)
from service.farm_files.block_part_keys import (
    KC_NUMBERS,
    RAIN_PASS_BY_KIND,
    SOIL,
    MulchKeys,
    SoilByParticlesKeys,
    SoilByTextureKeys,
    SoilByWaterKeys,
)
from service.farm_files.canopy_file import read_measured_day
from service.farm_files.control_file import read_control
from service.farm_files.crop_defaults import crop_defaults, mulch_defaults
from service.farm_files.keys import IdKey
from service.farm_files.layout_file import LayoutDefaults, read_layout
from service.farm_files.near_words import one_of
from service.farm_files.no_water_file import read_no_water
from service.farm_files.plants_file import read_emitter_spacing
from service.farm_files.quantities import show
from service.farm_files.season_file import read_curve, read_last_nitrogen, read_watering_season
from service.farm_files.toml_table import TomlTable
from service.records.farms import BlockDefinition, typed_numbers
from service.waterworks.block_layout import BlockLayout

_SOIL_ALLOWED = (
    'one of { texture = "sandy loam" }, { sand = 0.6, clay = 0.1, organic_matter = "2 %" } and '
    '{ field_capacity = 0.18, wilting_point = 0.08, conductivity = "50 mm/h", grain = "coarse" }'
)


@dataclass(frozen=True, slots=True)
class BlockPlace:
    """What the rest of the file says about a block; None for what could not be found."""

    farm_id: str
    supply_ids: tuple[str, ...]
    site_ids: tuple[str, ...]
    latitudes_deg: Mapping[str, float]
    rhmin_pct: Mapping[str, float]
    """Mean of the normals of RHmin, for the sites that have them."""


def read_block(
    table: TomlTable,
    place: BlockPlace,
    share_curve: Callable[[CurveDefinition], CurveDefinition],
) -> BlockDefinition | None:
    """The block that a ``[[block]]`` table describes; None after a fault, which is recorded.

    ``windows`` stays empty if the block gives none: the caller fills in those of its supply.
    """
    faults_before = table.fault_count()
    draft = BlockDraft()
    block_key = table.slug(BlockKeys.id)
    name = table.text(BlockKeys.name, block_key)
    supply_id = _reference(table, BlockKeys.supply, place.supply_ids)
    site_id = _reference(table, BlockKeys.site, place.site_ids)
    crop = _read_crop(table)
    for key in REQUIRED:
        draft.take(table, key, None, "")
    for key in FIXED:
        draft.take(table, key, key.default, key.origin)
    _read_attitude(table, draft)
    plants = read_emitter_spacing(table, draft)
    _check_planting_year(table, draft)
    _read_soil(table, draft)
    _read_wetted(table, draft)
    _read_crop_numbers(table, draft, crop, rhmin_pct=place.rhmin_pct.get(site_id))
    _read_mulch(table, draft, crop)
    curve, draft.origins["curve"] = read_curve(
        table, crop, latitude_deg=place.latitudes_deg.get(site_id, 0.0)
    )
    read_watering_season(table, draft, crop=crop, curve=curve)
    read_last_nitrogen(table, draft)
    windows, draft.origins["windows"] = table.windows(BlockKeys.windows), GIVEN
    no_water = read_no_water(table)
    timer, visits = read_control(table, draft)
    balance_start = table.day(BlockKeys.balance_start)
    layout = _read_pipes(table, draft, emitters_per_plant_count=plants)
    _read_origins(table, draft)
    draft.note_what_grows()
    table.close()
    if table.fault_count() > faults_before or curve is None or crop is None:
        return None
    return BlockDefinition(
        block_id=f"{place.farm_id}.{block_key}",
        farm_id=place.farm_id,
        supply_id=supply_id,
        site_id=site_id,
        name=name,
        crop_key=crop.key,
        curve=share_curve(curve),
        windows=windows,
        no_water=no_water,
        balance_start=balance_start,
        origins=draft.origins,
        timer=timer,
        visits=visits,
        layout=layout,
        **typed_numbers(draft.numbers),
    )


def _read_pipes(
    table: TomlTable, draft: BlockDraft, *, emitters_per_plant_count: float | None
) -> BlockLayout | None:
    defaults = LayoutDefaults(
        draft.numbers["emitter_spacing_m"],
        draft.numbers["row_spacing_m"],
        emitters_per_plant_count=emitters_per_plant_count,
    )
    return read_layout(table.table(BlockKeys.hydraulics), defaults)


def _read_attitude(table: TomlTable, draft: BlockDraft) -> None:
    word = table.choice(BlockKeys.risk_attitude)
    draft.numbers[risk_file.FIELD] = float(attitude_named(word or risk_file.ATTITUDES[0]))
    is_given = table.has(BlockKeys.risk_attitude)
    draft.origins[risk_file.FIELD] = GIVEN if is_given else risk_file.ORIGIN


def _check_planting_year(table: TomlTable, draft: BlockDraft) -> None:
    planting_year = draft.numbers["planting_year"]
    if not math.isnan(planting_year) and planting_year != int(planting_year):
        table.refuse(BlockKeys.planting_year, show(planting_year), "a whole year such as 2021")


def _reference(table: TomlTable, key: IdKey, known: tuple[str, ...]) -> str:
    """An id defined elsewhere in the file; it may be left out if there is only one."""
    if not table.has(key) and len(known) == 1:
        return known[0]
    value = table.value(key)
    if isinstance(value, str) and value in known:
        return value
    none = f"the id of a [[{key.refers_to}]] of this file; it has none"
    allowed = one_of(value, known) if known else none
    table.refuse(key, show(value), allowed)
    return ""


def _read_crop(table: TomlTable) -> CropRow | None:
    value = table.value(BlockKeys.crop)
    if not isinstance(value, str):
        table.refuse(BlockKeys.crop, show(value), one_of(value, list(CROPS)))
        return None
    try:
        return find_crop(value)
    except InputInvalid as error:
        table.refuse(BlockKeys.crop, show(value), error.faults[0].allowed)
        return None


# --- soil and wetted strip ---------------------------------------------------------------------


def _read_soil(table: TomlTable, draft: BlockDraft) -> None:
    for key in SOIL:
        draft.numbers[key.field] = math.nan
    draft.numbers["texture_group"] = math.nan
    if not table.has(BlockKeys.soil):
        table.refuse(BlockKeys.soil, "nothing", _SOIL_ALLOWED)
    soil = table.table(BlockKeys.soil)
    if soil is None:
        draft.take(table, BlockKeys.off_ratio, math.nan, "")
        return
    ways = (
        (SoilByTextureKeys.texture, _soil_of_texture),
        (SoilByParticlesKeys.sand, _soil_of_particles),
        (SoilByWaterKeys.field_capacity, _soil_of_water),
    )
    named = [read for key, read in ways if soil.has(key)]
    if len(named) == 1:
        named[0](soil, draft)
        soil.close()
    else:
        table.refuse(BlockKeys.soil, show(table.value(BlockKeys.soil)), _SOIL_ALLOWED)
    group = draft.numbers["texture_group"]
    draft.take(
        table,
        BlockKeys.off_ratio,
        math.nan if math.isnan(group) else group + 1.0,
        "choice by texture: off time 1, 2 or 3 times the pulse on coarse, medium or fine soil",
    )


def _soil_of_texture(soil: TomlTable, draft: BlockDraft) -> None:
    value = soil.value(SoilByTextureKeys.texture)
    # People write "Sandy loam".
    texture = value.strip().lower().replace(" ", "-") if isinstance(value, str) else ""
    if texture not in TEXTURE_KEYS:
        soil.refuse(SoilByTextureKeys.texture, show(value), one_of(value, TEXTURE_KEYS))
        return
    numbers = texture_soil(texture)
    _set_soil(draft, numbers, f"texture {texture}: {numbers.source}")
    draft.is_on_substrate = texture in SUBSTRATE_KEYS


def _soil_of_particles(soil: TomlTable, draft: BlockDraft) -> None:
    sand = soil.number(SoilByParticlesKeys.sand)
    clay = soil.number(SoilByParticlesKeys.clay)
    organic_pct = soil.number(SoilByParticlesKeys.organic_matter)
    if math.isnan(sand + clay + organic_pct):
        return
    try:
        numbers = saxton_rawls(sand, clay, organic_pct)
    except InputInvalid as error:
        for fault in error.faults:
            soil.refuse(SoilByParticlesKeys.sand, f"{fault.where} {fault.found}", fault.allowed)
        return
    _set_soil(draft, numbers, f"sand {sand:g}, clay {clay:g}: {numbers.source}")


def _soil_of_water(soil: TomlTable, draft: BlockDraft) -> None:
    for key in SOIL:
        draft.take(soil, key, None, "")
    grain = soil.choice(SoilByWaterKeys.grain)
    if grain is not None:
        draft.numbers["texture_group"] = float(TextureGroup[grain.upper()])
        draft.origins["texture_group"] = GIVEN
    capacity, point = draft.numbers["field_capacity"], draft.numbers["wilting_point"]
    if capacity <= point:
        soil.refuse(
            SoilByWaterKeys.field_capacity,
            show(soil.value(SoilByWaterKeys.field_capacity)),
            f"more than the wilting point, {show(soil.value(SoilByWaterKeys.wilting_point))}",
        )


def _set_soil(draft: BlockDraft, numbers: SoilNumbers, origin: str) -> None:
    draft.numbers["field_capacity"] = float(numbers.field_capacity)
    draft.numbers["wilting_point"] = float(numbers.wilting_point)
    draft.numbers["saturated_conductivity_mm_per_h"] = float(
        numbers.saturated_conductivity_mm_per_h
    )
    draft.numbers["texture_group"] = float(numbers.texture_group)
    for key in (*(key.field for key in SOIL), "texture_group"):
        draft.origins[key] = origin


def _read_wetted(table: TomlTable, draft: BlockDraft) -> None:
    numbers = draft.numbers
    gap = BlockKeys.lateral_gap
    gap_m = table.number(gap) if table.has(gap) else None
    if table.has(BlockKeys.wetted_fraction):
        draft.take(table, BlockKeys.wetted_fraction, None, "")
        return
    drip = (
        numbers["emitter_flow_l_per_h"],
        numbers["emitter_spacing_m"],
        numbers["texture_group"],
        numbers["row_spacing_m"],
        numbers["laterals_per_row_count"],
    )
    share = math.nan
    if not any(math.isnan(number) for number in drip):
        flow, spacing, group, row_spacing, laterals = drip
        share = float(
            wetted_fraction(
                flow,
                spacing,
                int(group),
                row_spacing_m=row_spacing,
                laterals_per_row_count=laterals,
                lateral_gap_m=gap_m,
            )
        )
    draft.take(
        table,
        BlockKeys.wetted_fraction,
        share,
        "strip width by emitter flow and texture over row spacing, Keller & Karmeli 1975, from "
        "memory",
    )


# --- crop and mulch ----------------------------------------------------------------------------


def _read_crop_numbers(
    table: TomlTable, draft: BlockDraft, crop: CropRow | None, *, rhmin_pct: float | None
) -> None:
    overrides = table.table(BlockKeys.kc)
    defaults: dict[str, tuple[float, str]] = {}
    if crop is not None:
        group = draft.numbers["texture_group"]
        defaults = crop_defaults(
            crop,
            texture_group=group,
            is_substrate=draft.is_on_substrate,
            rhmin_pct=rhmin_pct,
        )
    sizes = SIZE
    if read_measured_day(table, draft) is not None:
        sizes = (*SIZE, *FULL_SIZE)
        for full, usual in zip(
            FULL_SIZE, ("canopy_cover_fraction", "canopy_height_m"), strict=True
        ):
            defaults[full.field] = defaults.get(usual, (math.nan, ""))
    for place, keys in ((overrides, KC_NUMBERS), (table, sizes)):
        for key in keys:
            default, origin = defaults.get(key.field, (math.nan, ""))
            draft.take(place, key, default, origin)
    if overrides is not None:
        overrides.close()


def _read_mulch(table: TomlTable, draft: BlockDraft, crop: CropRow | None) -> None:
    mulch = table.table(BlockKeys.mulch)
    kind: str | None = "none"
    is_pass_given = mulch is not None and mulch.has(MulchKeys.rain_pass)
    if mulch is not None and (mulch.has(MulchKeys.kind) or not is_pass_given):
        kind = mulch.choice(MulchKeys.kind)
    needs_cover = mulch is not None and (kind != "none" or is_pass_given)
    cover = draft.take(mulch, MulchKeys.cover, None if needs_cover else 0.0, "no mulch")
    if mulch is not None and kind == "none" and not is_pass_given and cover > 0.0:
        mulch.refuse(
            MulchKeys.kind, "'none' with a cover", "fabric, film or organic; or no mulch at all"
        )
    draft.take(
        mulch,
        MulchKeys.rain_pass,
        RAIN_PASS_BY_KIND.get(kind or "", math.nan),
        "no mulch" if kind == "none" else f"choice: share of rain that {kind} lets pass",
    )
    # A cover whose kind is not named is taken for fabric.
    worked = "fabric" if kind == "none" and cover > 0.0 else (kind or "none")
    line = "under" if mulch is None else mulch.choice(MulchKeys.line)
    if mulch is not None and line == "above" and worked == "film":
        mulch.refuse(
            MulchKeys.line, "'above' with film", "under: film lets no water of a line through"
        )
    defaults = mulch_defaults(worked, draft.numbers, crop, is_line_above=line == "above")
    for key in (MulchKeys.kc_initial, MulchKeys.kc_reduction):
        draft.take(mulch, key, *defaults[key.field])
    if mulch is not None:
        mulch.close()


# --- times and notes ---------------------------------------------------------------------------


def _read_origins(table: TomlTable, draft: BlockDraft) -> None:
    """Origins that an export wrote for numbers that were not the grower's own."""
    notes = table.table(BlockKeys.origins)
    if notes is None:
        return
    for name in NOTED_NAMES:
        if not notes.has(name):
            continue
        text = notes.text(BlockKeys.origins.note(name))
        is_stated = draft.origins.get(name) == GIVEN or math.isnan(
            draft.numbers.get(name, math.nan)
        )
        if is_stated:
            draft.origins[name] = text
    notes.close()
