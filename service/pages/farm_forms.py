"""Forms of a farm, its supplies and its blocks: what they show of a stored thing, and the tables of
a farm file that they make of what was entered.

A number that was not given stays empty in a form, with its value and source beside it. A field sent
back unchanged leaves the stored value untouched to the last digit, so that saving an unchanged form
changes nothing. Defaults are recomputed only if something they depend on has changed: the crop, the
soil or the drip lines.
"""

from __future__ import annotations

import copy
import hashlib
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import cast

import orjson

from service.errors import Fault, InputInvalid
from service.pages import canopy_fields as canopy
from service.pages import control_fields, risk_fields, site_fields
from service.pages.number_fields import digits_of, entered_number, in_few_digits
from service.pages.season_fields import (
    change_seasons,
    drop_default_seasons,
    entered_seasons,
    shown_seasons,
)
from service.pages.visit import faults_by_field
from service.pages.window_fields import clock_text, entered_windows, shown_windows
from service.records.farms import BlockDefinition, FarmBundle, SiteDefinition, SupplyDefinition
from service.translations import Wording
from service.translations.catalogue import marked
from service.unit_sizes import (
    KPA_PER_M_OF_HEAD,
    KPA_PER_PSI,
    L_PER_GALLON,
    L_PER_H_PER_GPM,
    M_PER_FOOT,
    M_PER_INCH,
    SQUARE_FEET_PER_ACRE,
)

Table = dict[str, object]
Form = Mapping[str, str]

UNITS: Mapping[str, tuple[str, ...]] = {
    "elevation": ("ft", "m"),
    "flow": ("gpm", "m3/h", "L/h"),
    "area": ("ac", "ha", "m2"),
    "row_spacing": ("ft", "m"),
    "emitter_spacing": ("in", "ft", "cm", "m"),
    "emitter_flow": ("gph", "L/h"),
    "root_depth": ("in", "ft", "cm", "m"),
    "longest_pulse": ("h", "min"),
    "emission_uniformity": ("%",),
    **canopy.UNITS,
    **site_fields.UNITS,
    "row_length": ("ft", "m"),
    "tube": ("in", "mm"),
    "pressure": ("psi", "bar", "kPa"),
    "stated_pressure": ("psi", "bar", "kPa"),
    "header": ("in", "mm"),
    "regulator": ("psi", "bar", "kPa"),
    "slope": ("%",),
}
"""Units that a field offers, the first of each for US customary, the first metric one for SI."""
METRIC = frozenset({
    "m", "m3/h", "L/h", "ha", "m2", "cm", "mm", "bar", "kPa", "h", "min", "%", "°C",
})  # fmt: skip
SI_PER_UNIT: Mapping[str, float] = {
    "ft": M_PER_FOOT,
    "in": M_PER_INCH,
    "cm": 0.01,
    "mm": 0.001,
    "m": 1.0,
    "gpm": L_PER_H_PER_GPM,
    "gph": L_PER_GALLON,
    "m3/h": 1000.0,
    "L/h": 1.0,
    "ac": SQUARE_FEET_PER_ACRE * M_PER_FOOT**2,
    "ha": 10_000.0,
    "m2": 1.0,
    "h": 60.0,
    "min": 1.0,
    "%": 1.0,
    "psi": KPA_PER_PSI / KPA_PER_M_OF_HEAD,
    "bar": 100.0 / KPA_PER_M_OF_HEAD,
    "kPa": 1.0 / KPA_PER_M_OF_HEAD,
}
"""In the unit that a block keeps: m, L/h, m², min, percent; pressures as metres of water."""
QUANTITIES: Mapping[str, str] = {
    "area": "area_m2",
    "row_spacing": "row_spacing_m",
    "emitter_spacing": "emitter_spacing_m",
    "emitter_flow": "emitter_flow_l_per_h",
    "root_depth": "root_depth_m",
    "emission_uniformity": "emission_uniformity_pct",
    "longest_pulse": "longest_pulse_min",
    **canopy.QUANTITIES,
}
"""Fields of a block with a unit, and the number that each is."""
COUNTS: Mapping[str, str] = {
    "laterals_per_row": "laterals_per_row_count", "planting_year": "planting_year",
    "priority": "priority", **canopy.SHARES,
}  # fmt: skip
"""Fields without a unit."""
GIVEN = "given"
MISSING_SEASON = Fault(
    "season_start",
    "",
    marked("a day such as 03-20, and the days of each stage, as none are published for this crop"),
)
_NOT_FIELDS = frozenset({"token", "do", "version"})
_DRIP = ("row_spacing", "emitter_spacing", "emitter_flow", "laterals_per_row")
_OF_CROP: Mapping[str, tuple[str, str]] = {
    "kc_initial": ("kc", "initial"), "kc_mid": ("kc", "mid"), "kc_end": ("kc", "end"),
    "kc_off_season": ("kc", "off_season"), "table_height_m": ("kc", "height"),
    "reference_canopy_ratio": ("kc", "reference_canopy"), "ground_kc": ("kc", "ground"),
    "canopy_density_factor": ("kc", "density_factor"),
    "mulch_kc_initial": ("mulch", "kc_initial"),
    "mulch_kc_reduction_fraction": ("mulch", "kc_reduction"),
    "depletion_fraction": ("", "depletion_fraction"),
    "years_to_full_size": ("", "years_to_full_size"), "root_depth_m": ("", "root_depth"),
    "canopy_cover_fraction": ("", "canopy_cover"), "canopy_height_m": ("", "canopy_height"),
    "root_share_of_wetted": ("", "root_share_of_wetted"),
    "full_cover_fraction": ("", "full_cover"), "full_height_m": ("", "full_height"),
}  # fmt: skip
_OF_SOIL = ("field_capacity", "wilting_point", "saturated_conductivity_mm_per_h", "texture_group")
_NOT_SLUG = re.compile(r"[^a-z0-9]+")
_PARTS = re.compile(r"/(farm|site|supply|block)(?:/\d+)?/")
_FIELDS = {
    "id": "name", "windows": "opens_1", "season": "season_start", "soil": "texture",
    "kc_table": "season_start", "watering_season": "watering_from",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Opened:
    """A stored thing as its form shows it."""

    form: Form
    origins: Mapping[str, tuple[str, str]]
    """Value and source of each field that stays empty since its number was not given."""
    version: str
    """Changes whenever the stored thing changes."""


def units_of(words: Wording) -> dict[str, list[str]]:
    """Units by field, those of the reader's system first."""
    is_us = words.unit_system == "us"
    return {
        name: sorted(units, key=lambda unit: (unit in METRIC) == is_us)
        for name, units in UNITS.items()
    }


def version_of(*tables: object) -> str:
    """The version a form carries, to detect changes since it was shown."""
    return hashlib.sha256(orjson.dumps(tables, option=orjson.OPT_SORT_KEYS)).hexdigest()[:24]


def tables_of(document: Mapping[str, object], key: str) -> list[Table]:
    """The tables of a kind in a farm's document."""
    return list(cast("list[Table]", document.get(key, [])))


# --- a farm and its supplies ---------------------------------------------------------------------


def farm_table(form: Form, farm_id: str) -> Table:
    """The table of a farm."""
    table: Table = {
        "id": farm_id,
        "name": form.get("name", ""),
        "zone": form.get("zone", ""),
        "unit_system": form.get("unit_system", ""),
    }
    if form.get("issue_time"):
        table["issue_time"] = form["issue_time"][:5]
    return table


def site_table(form: Form, site_id: str) -> Table:
    """The table of a farm's first site."""
    return {
        "id": site_id,
        "name": form.get("name", ""),
        **site_fields.entered_place(form),
        "elevation": entered_quantity(form, "elevation"),
        **site_fields.entered_offset(form),
    }


def open_farm(bundle: FarmBundle, document: Table, units: Mapping[str, Sequence[str]]) -> Opened:
    """A farm, with its site where it has a single one."""
    farm = bundle.farm
    if farm is None:
        return Opened({}, {}, version_of())
    form = {
        "name": farm.name,
        "zone": farm.zone,
        "unit_system": farm.unit_system,
        "issue_time": clock_text(farm.issue_wall_min),
    }
    if len(bundle.sites) == 1:
        form |= _shown_site(bundle.sites[0], units)
    return Opened(form, {}, version_of(document["farm"], document.get("site")))


def change_farm(document: Table, form: Form, opened: Opened) -> Table:
    """The document with what the form of the farm says."""
    changed = copy.deepcopy(document)
    farm = cast("Table", changed["farm"])
    farm |= farm_table(form, str(farm["id"]))
    sites = tables_of(changed, "site")
    for site in sites:
        site["zone"] = farm["zone"]
    if len(sites) == 1 and site_fields.PLACE in opened.form:
        if not is_as_shown(form, opened.form, site_fields.PLACE):
            sites[0] |= site_fields.entered_place(form)
        if not is_as_shown(form, opened.form, "elevation"):
            sites[0]["elevation"] = entered_quantity(form, "elevation")
        if not is_as_shown(form, opened.form, "tdew_offset"):
            site_fields.change_offset(sites[0], form)
    changed["site"] = sites
    return changed


def supply_table(form: Form) -> Table:
    """The table of a supply."""
    name = form.get("supply_name", "")
    table: Table = {"id": slug(name), "name": name, "flow": entered_quantity(form, "flow")}
    if entered_windows(form):
        table["windows"] = entered_windows(form)
    return {**table, **control_fields.entered_control(form)}


def open_supply(
    supply: SupplyDefinition, table: Table, units: Mapping[str, Sequence[str]]
) -> Opened:
    """A supply as stored."""
    number, unit = shown_quantity(supply.flow_l_per_h, units["flow"])
    form = {"supply_name": supply.name, "flow": number, "flow_unit": unit}
    form |= {**shown_windows(supply.windows), **control_fields.shown_control(supply)}
    return Opened(form, {}, version_of(table))


def change_supply(document: Table, supply_id: str, form: Form, opened: Opened) -> Table:
    """The document with what the form of a supply says.

    Blocks without windows of their own follow those of their supply.
    """
    changed = copy.deepcopy(document)
    for table in tables_of(changed, "supply"):
        if table["id"] == supply_id:
            table["name"] = form.get("supply_name", "")
            if not is_as_shown(form, opened.form, "flow"):
                table["flow"] = entered_quantity(form, "flow")
            if entered_windows(form) != entered_windows(opened.form):
                table["windows"] = entered_windows(form) or None
            control_fields.change_control(table, form, opened.form)
    for block in tables_of(changed, "block"):
        _drop_shared_windows(block)
    return changed


# --- a block -------------------------------------------------------------------------------------


def block_table(form: Form) -> Table:
    """The table of a new block."""
    name = form.get("name", "")
    table: Table = {
        "id": slug(name),
        "name": name,
        "crop": form.get("crop", ""),
        "soil": {"texture": form.get("texture", "")},
        **{key: entered_quantity(form, key) for key in QUANTITIES},
        **{key: entered_number(form, key) for key in COUNTS},
        **entered_seasons(form),
        **canopy.entered_day(form),
        **{**risk_fields.entered_attitude(form), **control_fields.entered_control(form)},
    }
    for key in ("supply", "site"):
        table[key] = form.get(key) or None
    if entered_windows(form):
        table["windows"] = entered_windows(form)
    return {key: value for key, value in table.items() if value is not None}


def open_block(
    block: BlockDefinition, table: Table, units: Mapping[str, Sequence[str]], words: Wording
) -> Opened:
    """A block as stored."""
    form = {
        "name": block.name,
        "crop": block.crop_key,
        "supply": block.supply_id,
        "site": block.site_id,
        "texture": block.texture_key,
    }
    origins: dict[str, tuple[str, str]] = {}
    for name, field in (*QUANTITIES.items(), *COUNTS.items()):
        value: float = getattr(block, field)
        if math.isnan(value):
            continue
        origin = block.origins.get(field, GIVEN)
        offered = units.get(name, ("",))
        number, unit = shown_quantity(value, offered if origin == GIVEN else offered[:1])
        if origin == GIVEN:
            form[name] = number
        else:
            number = in_few_digits(value / SI_PER_UNIT.get(unit, 1.0))
            decimals = len(number.partition(".")[2])
            shown = words.number(float(number), decimals)
            origins[name] = (f"{shown} {words.unit(unit)}".strip(), origin)
        if unit:
            form[f"{name}_unit"] = unit
    seasons = shown_seasons(block)
    form |= {**seasons.form, **canopy.shown_day(table), **control_fields.shown_control(block)}
    form |= risk_fields.shown_attitude(block)
    origins |= seasons.origins
    if block.origins.get("windows", GIVEN) == GIVEN:
        form |= shown_windows(block.windows)
    return Opened(form, origins, version_of(table))


def change_block(table: Table, form: Form, opened: Opened) -> Table:
    """The stored table of a block with what its form says."""
    changed = risk_fields.with_attitude(copy.deepcopy(table), form, opened.form)
    origins = cast("Table", changed.setdefault("origins", {}))
    changed["name"] = form.get("name", "")
    for key in ("supply", "site"):
        changed[key] = form.get(key) or changed[key]
    if form.get("crop") != opened.form["crop"]:
        changed["crop"] = form.get("crop", "")
        for field in _OF_CROP:
            _drop_default(changed, field)
        drop_default_seasons(changed)
    if form.get("texture") != opened.form["texture"]:
        changed["soil"] = {"texture": form.get("texture", "")}
        for field in _OF_SOIL:
            origins.pop(field, None)
        _drop_default(changed, "off_ratio")
        _drop_default(changed, "wetted_fraction")
        _drop_default(changed, "depletion_fraction")
    if any(not is_as_shown(form, opened.form, name) for name in _DRIP):
        _drop_default(changed, "wetted_fraction")
    for name, field in (*QUANTITIES.items(), *COUNTS.items()):
        if is_as_shown(form, opened.form, name):
            continue
        value = entered_quantity(form, name) if name in QUANTITIES else entered_number(form, name)
        changed.pop(name, None)
        origins.pop(field, None)
        if value is not None:
            changed[name] = value
    change_seasons(changed, form, opened.form)
    canopy.change_day(changed, form, opened.form)
    control_fields.change_control(changed, form, opened.form)
    _drop_shared_windows(changed)
    if entered_windows(form) != entered_windows(opened.form):
        changed.pop("windows", None)
        if entered_windows(form):
            changed["windows"] = entered_windows(form)
    return changed


def newer(opened: Opened, form: Form) -> dict[str, str]:
    """The stored values that differ from the form, for somebody who edited an older version."""
    return {
        name: f"{opened.form.get(name, '') or '–'} {opened.form.get(f'{name}_unit', '')}".strip()
        for name in form
        if name not in _NOT_FIELDS
        and not name.endswith("_unit")
        and not is_as_shown(form, opened.form, name)
    }


def faults_of(error: InputInvalid) -> dict[str, Fault]:
    """Faults by the field of the form that they belong to."""
    found: dict[str, Fault] = {}
    for fault in error.faults:
        match = _PARTS.match(fault.where)
        place = fault.where[match.end() :] if match else fault.where.removeprefix("/")
        first, *rest = place.split("/")
        shown = fault
        field = control_fields.FIELD_OF.get((first, rest[0] if rest else ""))
        if field is not None:
            name = field
        elif match and match[1] == "supply":
            name = {"id": "supply_name", "name": "supply_name"}.get(
                first, _FIELDS.get(first, first)
            )
        elif match and match[1] == "site" and first in {"id", "zone", "latitude", "longitude"}:
            name = (
                site_fields.PLACE
            )  # the first two: a place that others share, or on another clock
        elif first == "season" and rest[:1] == ["lengths"]:
            name = "stage_1"
        elif first == "watering_season" and rest:
            name = f"watering_{rest[0]}"
        else:
            name = _FIELDS.get(first, first)
            if place == "season":
                shown = MISSING_SEASON
        found.setdefault(name, shown)
    return found or faults_by_field(error)


def slug(name: str) -> str:
    """An id from a name, as far as one can be made."""
    plain = name.lower().translate(str.maketrans("áéíóúüñ", "aeiouun"))
    return _NOT_SLUG.sub("-", plain).strip("-")[:32].strip("-")


# --- parts ---------------------------------------------------------------------------------------


def _shown_site(site: SiteDefinition, units: Mapping[str, Sequence[str]]) -> dict[str, str]:
    number, unit = shown_quantity(site.elevation_m, units["elevation"])
    return {
        **site_fields.shown_place(site),
        "elevation": number,
        "elevation_unit": unit,
        **site_fields.shown_offset(site, units["tdew_offset"][0]),
    }


def shown_quantity(value: float, units: Sequence[str]) -> tuple[str, str]:
    """A number in the unit that writes it shortest, the reader's own if there is a tie."""
    shown = [(digits_of(value / SI_PER_UNIT.get(unit, 1.0)), unit) for unit in units]
    return min(shown, key=lambda each: len(each[0]))


def is_as_shown(form: Form, shown: Form, name: str) -> bool:
    """Whether a field came back unchanged, including its unit if it has a number."""
    if form.get(name, "") != shown.get(name, ""):
        return False
    unit = f"{name}_unit"
    return not form.get(name) or unit not in shown or form.get(unit) == shown[unit]


def _drop_default(table: Table, field: str) -> None:
    """Remove a number that was not given, so that its default is recomputed."""
    origins = cast("Table", table["origins"])
    if origins.pop(field, None) is None:
        return
    part, key = _OF_CROP.get(field, ("", field))
    inside = cast("Table", table.get(part, {})) if part else table
    inside.pop(key, None)


def _drop_shared_windows(table: Table) -> None:
    origins = cast("Table", table.get("origins", {}))
    if origins.pop("windows", None) is not None:
        table.pop("windows", None)


def entered_quantity(form: Form, name: str) -> str | None:
    """A field and its unit as a farm file writes them; None where nothing was entered."""
    number = form.get(name, "").replace(",", ".")
    return f"{number} {form.get(f'{name}_unit', '')}".strip() if number else None
