"""The page of acid for a block: cautions, lowest pH, dose, one injection, the season.

Everything is worked out when the page is opened, from the newest analysis and from what is typed
into its form. Only acid that was given is stored. Nothing here opens or starts anything.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from starlette.responses import Response

from service.agronomy.civil_day import ONE_DAY
from service.errors import Fault, InputInvalid, NotFound
from service.operations.access.manage_keys import Right
from service.operations.reading.read_farms import local_day
from service.operations.waterworks.estimate_acid import (
    AcidEstimate,
    AcidRequest,
    estimate_block_acid,
)
from service.operations.waterworks.record_acid import list_acid, record_acid, remove_acid
from service.operations.waterworks.report_water import find_supply_key
from service.pages.acid_names import ACID_NAMES
from service.pages.acid_rows import (
    dose_rows,
    given_rows,
    given_total_rows,
    injection_rows,
    season_rows,
)
from service.pages.number_fields import number_or_nan, optional_number
from service.pages.plans import farm_of, parsed_day
from service.pages.visit import Visit, faults_by_field, redirect
from service.records.farms import FarmDefinition
from service.records.waterworks import AcidTreatment
from service.translations.catalogue import marked
from service.unit_sizes import FL_OZ_PER_GALLON, L_PER_GALLON, L_PER_H_PER_GPH, MM_PER_INCH
from service.waterworks.acid_amounts import AcidPrice
from service.waterworks.caution import ACID_CAUTIONS

MATERIAL_NAMES: Mapping[str, str] = {
    "plastic": marked("Plastic: polyethylene, PVC, polypropylene"),
    "stainless-steel": marked("Stainless steel"),
    "aluminum": marked("Aluminum"),
    "brass": marked("Brass or bronze"),
    "galvanized-steel": marked("Galvanized steel"),
    "bare-steel": marked("Bare steel or cast iron"),
    "concrete": marked("Concrete or cement-lined pipe"),
}
PRICE_UNITS = ("gal", "lb", "L", "kg")
UNITS: Mapping[str, float] = {
    "in": MM_PER_INCH, "mm": 1.0, "gal/h": L_PER_H_PER_GPH, "L/h": 1.0, "gal": L_PER_GALLON,
    "fl oz": L_PER_GALLON / FL_OZ_PER_GALLON, "L": 1.0,
}  # fmt: skip
COMMON_STRENGTH_PCT = {
    "sulfuric": "93", "phosphoric": "75", "nitric": "67", "hydrochloric": "32", "citric": "50",
}  # fmt: skip
FIELDS: Mapping[str, str] = {
    "target_ph": "ph", "strength_pct": "strength", "is_chlorine_injected": "chlorine",
    "acid_key": "acid", "injection_min": "minutes", "injection_count": "injections",
    "tank_l_per_h": "tank", "season_water_mm": "season", "price": "price",
    "materials": "materials",
}  # fmt: skip
"""Fields of the form by the values that they give."""
GIVEN_FIELDS: Mapping[str, str] = {
    "day": "day", "acid_key": "given_acid", "strength_pct": "given_strength",
    "product_l": "amount",
}  # fmt: skip
"""The same for acid that was given."""


def show_acid(visit: Visit) -> Response:
    """The page without a form of given acid in it."""
    return _show(visit, farm_of(visit), {})


def enter_given_acid(visit: Visit) -> Response:
    """Store the acid that the block was given on a day."""
    farm = farm_of(visit, Right.WATER_WRITE)
    block_id, form = visit.params["block_id"], visit.form
    day = parsed_day(form.get("day", ""))
    try:
        if day is None:
            allowed = marked("a day such as 2026-07-14")
            raise InputInvalid("a day is missing", [Fault("day", form.get("day", ""), allowed)])
        record_acid(
            AcidTreatment(
                block_id=block_id,
                day=day,
                acid_key=form.get("given_acid", ""),
                strength_pct=number_or_nan(form.get("given_strength", "")),
                product_l=_quantity(form, "amount") or math.nan,
            ),
            unit_of_work=visit.service.unit_of_work,
            clock=visit.service.clock,
        )
    except InputInvalid as error:
        return _show(visit, farm, faults_by_field(error, GIVEN_FIELDS), status=422)
    return redirect(f"/blocks/{block_id}/acid", done="given")


def take_back_given_acid(visit: Visit) -> Response:
    """Delete the record of a day."""
    farm_of(visit, Right.WATER_WRITE)
    block_id, day = visit.params["block_id"], parsed_day(visit.form.get("day", ""))
    if day is None:
        raise NotFound("there is no acid of such a day")
    remove_acid(block_id, day=day, unit_of_work=visit.service.unit_of_work)
    return redirect(f"/blocks/{block_id}/acid", done="deleted")


def _show(
    visit: Visit, farm: FarmDefinition, given_faults: Mapping[str, Fault], *, status: int = 200
) -> Response:
    """The page; with a form that cannot be used, what is wrong with it."""
    words, service = visit.words, visit.service
    block_id = visit.params["block_id"]
    on = local_day(service.clock.now(), farm.zone) + ONE_DAY
    with service.unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=on)
        key = find_supply_key(unit, farm.farm_id, block.supply_id)
        has_sample = bool(unit.waterworks.list_samples(key))
    found: AcidEstimate | None = None
    faults: dict[str, Fault] = {}
    if has_sample and "acid" in visit.query:
        try:
            found = estimate_block_acid(
                block_id, _request(visit.query), on=on, unit_of_work=service.unit_of_work
            )
        except InputInvalid as error:
            faults = faults_by_field(error, FIELDS)
    given = list_acid(block_id, on=on - ONE_DAY, unit_of_work=service.unit_of_work)
    return visit.show(
        "acid.html",
        status=status,
        given=given_rows(given, words),
        given_totals=given_total_rows(given, words),
        given_form=visit.form if given_faults else {},
        given_faults=given_faults,
        may_write=visit.may(Right.WATER_WRITE),
        today=on - ONE_DAY,
        done=visit.query.get("done", ""),
        farm=farm,
        block=block,
        cautions=ACID_CAUTIONS,
        has_sample=has_sample,
        found=found,
        faults=faults,
        dose_rows=[] if found is None else dose_rows(found, words),
        injection_rows=[] if found is None else injection_rows(found.injection, words),
        season_rows=[] if found is None else season_rows(found, words),
        form=visit.query,
        acids=[(key, words.gettext(name)) for key, name in ACID_NAMES.items()],
        materials=[(key, words.gettext(name)) for key, name in MATERIAL_NAMES.items()],
        strengths=COMMON_STRENGTH_PCT,
        units=_units(is_us=words.unit_system == "us"),
        price_units=[
            (unit, words.gettext("per {unit}", unit=words.unit(unit)))
            for unit in (PRICE_UNITS if words.unit_system == "us" else PRICE_UNITS[::-1])
        ],
    )


def _units(*, is_us: bool) -> dict[str, tuple[str, ...]]:
    """Units of the fields, the reader's own first."""
    pairs = {"season": ("in", "mm"), "tank": ("gal/h", "L/h"), "amount": ("gal", "fl oz", "L")}
    return {name: units if is_us else units[::-1] for name, units in pairs.items()}


def _request(asked: Mapping[str, str]) -> AcidRequest:
    price = optional_number(asked, "price")
    count = optional_number(asked, "injections")
    if count is not None and count != round(count if math.isfinite(count) else 0.0):
        raise InputInvalid(
            "this season cannot be added up",
            [Fault("injection_count", asked["injections"], marked("a whole number"))],
        )
    return AcidRequest(
        target_ph=number_or_nan(asked.get("ph", "")),
        acid_key=asked["acid"],
        strength_pct=number_or_nan(asked.get("strength", "")),
        is_chlorine_injected=asked.get("chlorine") == "yes",
        materials=tuple(key for key in MATERIAL_NAMES if f"passes_{key}" in asked),
        injection_min=optional_number(asked, "minutes"),
        injection_count=None if count is None else int(count),
        tank_l_per_h=_quantity(asked, "tank"),
        season_water_mm=_quantity(asked, "season"),
        price=None if price is None else AcidPrice(price, asked.get("price_per", "")),
    )


def _quantity(asked: Mapping[str, str], name: str) -> float | None:
    value = optional_number(asked, name)
    return None if value is None else value * UNITS.get(asked.get(f"{name}_unit", ""), 1.0)
