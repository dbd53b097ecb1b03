"""First steps: a farm, its supply and its blocks set up wholly through pages.

What a form says is put into the same document as a farm file, and checked by the same reader, so
that each fault comes back beside its field. A preview reads the block without storing it: how long
one inch of water takes, and which numbers were not given and where they come from instead.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

from starlette.responses import Response

from service.agronomy.crop_table import CROPS
from service.agronomy.soil import TEXTURE_KEYS
from service.agronomy.units import MM_PER_INCH
from service.errors import Conflict, Fault, InputInvalid
from service.operations import change_farms
from service.operations.change_farms import Keeper
from service.operations.manage_keys import Right
from service.pages.plans import block_flow_l_per_h, farm_of, flow_text
from service.pages.visit import Visit, faults_by_field, redirect
from service.records import BlockDefinition, FarmBundle
from service.translations.catalogue import marked

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
}
"""Units that a field offers, the first of each for US customary, the first metric one for SI."""
METRIC = frozenset({"m", "m3/h", "L/h", "ha", "m2", "cm", "h", "min", "%"})
ZONES = (
    "America/New_York", "America/Chicago", "America/Denver", "America/Phoenix",
    "America/Los_Angeles", "America/Mexico_City", "America/Tijuana", "America/Bogota",
    "America/Lima", "America/Santiago", "America/Argentina/Buenos_Aires", "Europe/Madrid", "UTC",
)  # fmt: skip
SHOWN_ORIGINS = {
    "emission_uniformity_pct", "fill_time_min", "longest_pulse_min", "wetted_fraction",
    "root_depth_m", "kc_initial", "kc_mid", "kc_end", "depletion_fraction", "field_capacity",
    "wilting_point", "canopy_cover_fraction", "trigger_fraction", "rain_room_fraction",
    "laterals_per_row_count", "windows",
}  # fmt: skip
_NOT_SLUG = re.compile(r"[^a-z0-9]+")
_PARTS = re.compile(r"/(farm|site|supply|block)(?:/\d+)?/")


@dataclass(frozen=True, slots=True)
class Default:
    """A number that was not given."""

    name: str
    value: str
    origin: str


@dataclass(frozen=True, slots=True)
class Preview:
    """What a block would be."""

    hours_per_depth: float
    """For an inch, or for ten millimetres."""
    flow: str
    share_of_supply: float
    defaults: tuple[Default, ...]


def new_farm(visit: Visit) -> Response:
    """The form for a farm, or the farm stored."""
    visitor = visit.need(Right.FARM_WRITE)
    if not visit.form:
        return _farm_form(visit, {})
    form = visit.form
    visit.unit_system = form.get("unit_system", "us")
    farm_id = visitor.farm_id or _slug(form.get("name", ""))
    document: dict[str, object] = {
        "farm": {
            "id": farm_id,
            "name": form.get("name", ""),
            "zone": form.get("zone", ""),
            "unit_system": form.get("unit_system", ""),
        },
        "site": [
            {
                "id": _site_id(farm_id),
                "name": form.get("name", ""),
                "latitude": _plain(form, "latitude"),
                "longitude": _plain(form, "longitude"),
                "elevation": _quantity(form, "elevation"),
            }
        ],
        "supply": [_supply_table(form)],
    }
    try:
        with visit.service.unit_of_work(write=True) as unit:
            change_farms.create_farm(unit, document, _keeper(visit))
    except InputInvalid as error:
        return _farm_form(visit, _faults(error), status=422)
    except Conflict:
        taken = Fault("name", repr(farm_id), marked("a name that no other farm has"))
        return _farm_form(visit, {"name": taken}, status=409)
    return redirect(f"/farms/{farm_id}/setup")


def show_setup(visit: Visit) -> Response:
    """What the farm consists of, and what is still missing."""
    farm = farm_of(visit)
    bundle = _farm_now(visit, farm.farm_id)
    words = visit.words
    return visit.show(
        "setup.html",
        farm=farm,
        bundle=bundle,
        supplies=[(each, flow_text(each.flow_l_per_h, words)) for each in bundle.supplies],
        blocks=[(each, flow_text(block_flow_l_per_h(each), words)) for each in bundle.blocks],
    )


def new_supply(visit: Visit) -> Response:
    """One more pump, well or hydrant."""
    farm = farm_of(visit, Right.FARM_WRITE)
    if not visit.form:
        return visit.show("new_supply.html", farm=farm, faults={}, form={}, units=_units(visit))
    keeper = _keeper(visit)
    bundle = _farm_now(visit, farm.farm_id)
    document = keeper.farm_format.document(bundle)
    stored = document.get("supply", [])
    document["supply"] = [*stored, _supply_table(visit.form)] if isinstance(stored, list) else []
    try:
        with visit.service.unit_of_work(write=True) as unit:
            change_farms.replace_farm(
                unit,
                farm.farm_id,
                document,
                keeper,
                is_current=lambda now: (
                    (now.blocks, now.supplies) == (bundle.blocks, bundle.supplies)
                ),
            )
    except InputInvalid as error:
        return visit.show(
            "new_supply.html",
            status=422,
            farm=farm,
            faults=_faults(error),
            form=visit.form,
            units=_units(visit),
        )
    return redirect(f"/farms/{farm.farm_id}/setup")


def new_block(visit: Visit) -> Response:
    """The form for a block, its preview, or the block stored."""
    farm = farm_of(visit, Right.FARM_WRITE)
    bundle = _farm_now(visit, farm.farm_id)
    if not visit.form:
        return _block_form(visit, bundle, {})
    keeper = _keeper(visit)
    document = keeper.farm_format.document(bundle)
    stored = document.get("block", [])
    blocks = [*stored, _block_table(visit.form)] if isinstance(stored, list) else []
    document["block"] = blocks
    try:
        if visit.form.get("do") == "preview":
            read = keeper.farm_format.parse(document)
            return _block_form(visit, bundle, {}, preview=_preview(visit, read.blocks[-1], bundle))
        with visit.service.unit_of_work(write=True) as unit:
            change_farms.replace_farm(
                unit,
                farm.farm_id,
                document,
                keeper,
                is_current=lambda now: (
                    (now.blocks, now.supplies) == (bundle.blocks, bundle.supplies)
                ),
            )
    except InputInvalid as error:
        return _block_form(visit, bundle, _faults(error), status=422)
    return redirect(f"/farms/{farm.farm_id}/setup")


# --- parts ---------------------------------------------------------------------------------------


def _farm_now(visit: Visit, farm_id: str) -> FarmBundle:
    """The farm as it stands, also with the site that its first form named and no block uses yet."""
    bundle = change_farms.get_farm_now(
        farm_id, unit_of_work=visit.service.unit_of_work, clock=visit.service.clock
    )
    if bundle.sites:
        return bundle
    with visit.service.unit_of_work(write=False) as unit:
        sites = unit.blocks.read_site_table().definitions
    return replace(bundle, sites=tuple(site for site in sites if site.site_id == _site_id(farm_id)))


def _site_id(farm_id: str) -> str:
    return f"{farm_id}-home"[:40].rstrip("-")


def _farm_form(visit: Visit, faults: Mapping[str, Fault], *, status: int = 200) -> Response:
    return visit.show(
        "new_farm.html",
        status=status,
        faults=faults,
        form=visit.form,
        zones=[(zone, zone.replace("_", " ")) for zone in ZONES],
        units=_units(visit),
    )


def _block_form(
    visit: Visit,
    bundle: FarmBundle,
    faults: Mapping[str, Fault],
    *,
    preview: Preview | None = None,
    status: int = 200,
) -> Response:
    crops = sorted(
        ((row.key, visit.words.gettext(row.name)) for row in CROPS.values()),
        key=lambda each: each[1],
    )
    return visit.show(
        "new_block.html",
        status=status,
        farm=bundle.farm,
        bundle=bundle,
        faults=faults,
        form=visit.form,
        crops=crops,
        textures=[(key, visit.words.gettext(key)) for key in TEXTURE_KEYS],
        supplies=[(each.supply_id, each.name) for each in bundle.supplies],
        sites=[(each.site_id, each.name) for each in bundle.sites],
        units=_units(visit),
        preview=preview,
    )


def _preview(visit: Visit, block: BlockDefinition, bundle: FarmBundle) -> Preview:
    depth_mm = MM_PER_INCH if visit.words.unit_system == "us" else 10.0
    rate_mm_per_h = (
        block.emitter_flow_l_per_h
        * block.laterals_per_row_count
        / (block.row_spacing_m * block.emitter_spacing_m)
    )
    flow_l_per_h = block_flow_l_per_h(block)
    supply = next(each for each in bundle.supplies if each.supply_id == block.supply_id)
    defaults = []
    for name, origin in sorted(block.origins.items()):
        if name not in SHOWN_ORIGINS or origin == "given":
            continue
        value = getattr(block, name)
        shown = (
            visit.words.number(value, 2)
            if isinstance(value, int | float) and math.isfinite(value)
            else ""
        )
        defaults.append(Default(name, shown, origin))
    return Preview(
        hours_per_depth=depth_mm / rate_mm_per_h,
        flow=flow_text(flow_l_per_h, visit.words),
        share_of_supply=flow_l_per_h / supply.flow_l_per_h,
        defaults=tuple(defaults),
    )


def _units(visit: Visit) -> dict[str, list[str]]:
    """Units by field, those of the reader's system first."""
    is_us = visit.words.unit_system == "us"
    return {
        name: sorted(units, key=lambda unit: (unit in METRIC) == is_us)
        for name, units in UNITS.items()
    }


def _keeper(visit: Visit) -> Keeper:
    visitor = visit.visitor
    return Keeper(
        visit.service.farm_format,
        visit.service.clock,
        visit.service.source_order,
        None if visitor is None else visitor.farm_id,
    )


def _supply_table(form: Mapping[str, str]) -> dict[str, object]:
    name = form.get("supply_name", "")
    table: dict[str, object] = {
        "id": _slug(name),
        "name": name,
        "flow": _quantity(form, "flow"),
    }
    if form.get("opens") or form.get("closes"):
        table["windows"] = [f"{form.get('opens', '')[:5]}-{form.get('closes', '')[:5]}"]
    return table


def _block_table(form: Mapping[str, str]) -> dict[str, object]:
    name = form.get("name", "")
    table: dict[str, object] = {
        "id": _slug(name),
        "name": name,
        "crop": form.get("crop", ""),
        "soil": {"texture": form.get("texture", "")},
        "laterals_per_row": _plain(form, "laterals_per_row"),
    }
    for key in ("area", "row_spacing", "emitter_spacing", "emitter_flow", "root_depth",
                "emission_uniformity", "longest_pulse"):  # fmt: skip
        table[key] = _quantity(form, key)
    for key in ("supply", "site"):
        if form.get(key):
            table[key] = form[key]
    if form.get("planting_year"):
        table["planting_year"] = _plain(form, "planting_year")
    if form.get("season_start"):
        lengths = [_plain(form, f"stage_{number}") for number in range(1, 5)]
        table["season"] = {"start": form["season_start"], "lengths": lengths}
    return {key: value for key, value in table.items() if value is not None}


def _quantity(form: Mapping[str, str], name: str) -> str | None:
    """A field and its unit as a farm file writes them; None where nothing was entered."""
    number = form.get(name, "").replace(",", ".")
    return f"{number} {form.get(f'{name}_unit', '')}".strip() if number else None


def _plain(form: Mapping[str, str], name: str) -> float | str | None:
    text = form.get(name, "").replace(",", ".")
    if not text:
        return None
    try:
        number = float(text)
    except ValueError:
        return text
    return int(number) if number.is_integer() else number


def _slug(name: str) -> str:
    """An id from a name, as far as one can be made."""
    plain = name.lower().translate(str.maketrans("áéíóúüñ", "aeiouun"))
    return _NOT_SLUG.sub("-", plain).strip("-")[:32].strip("-")


_FIELDS = {"id": "name", "windows": "opens", "season": "season_start", "soil": "texture"}


def _faults(error: InputInvalid) -> dict[str, Fault]:
    """Faults by the field of the form that they belong to."""
    found: dict[str, Fault] = {}
    for fault in error.faults:
        match = _PARTS.match(fault.where)
        place = fault.where[match.end() :] if match else fault.where.removeprefix("/")
        first, *rest = place.split("/")
        if match and match[1] == "supply":
            name = {"id": "supply_name", "name": "supply_name"}.get(
                first, _FIELDS.get(first, first)
            )
        elif first == "season" and rest[:1] == ["lengths"]:
            name = "stage_1"
        else:
            name = _FIELDS.get(first, first)
        found.setdefault(name, fault)
    return found or faults_by_field(error)
