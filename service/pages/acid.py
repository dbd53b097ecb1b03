"""The page of acid for a block: cautions, lowest pH, dose, one injection, the season.

Everything is worked out when the page is opened, from the newest analysis and from what is typed
into its form; nothing of it is stored, and nothing here opens or starts anything.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from starlette.responses import Response

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.units import L_PER_H_PER_GPH, MM_PER_INCH
from service.errors import Fault, InputInvalid
from service.operations.reading.read_farms import local_day
from service.operations.waterworks.estimate_acid import (
    AcidEstimate,
    AcidRequest,
    estimate_block_acid,
)
from service.operations.waterworks.report_water import find_supply_key
from service.pages.acid_rows import dose_rows, injection_rows, season_rows
from service.pages.number_fields import number_or_nan, optional_number
from service.pages.plans import farm_of
from service.pages.visit import Visit, faults_by_field
from service.translations.catalogue import marked
from service.waterworks.acid_amounts import AcidPrice
from service.waterworks.caution import ACID_CAUTIONS

ACID_NAMES: Mapping[str, str] = {
    "sulfuric": marked("Sulfuric acid"),
    "phosphoric": marked("Phosphoric acid"),
    "nitric": marked("Nitric acid"),
    "hydrochloric": marked("Hydrochloric acid"),
    "citric": marked("Citric acid"),
}
MATERIAL_NAMES: Mapping[str, str] = {
    "plastic": marked("Plastic: polyethylene, PVC, polypropylene"),
    "stainless-steel": marked("Stainless steel"),
    "aluminum": marked("Aluminium"),
    "brass": marked("Brass or bronze"),
    "galvanized-steel": marked("Galvanized steel"),
    "bare-steel": marked("Bare steel or cast iron"),
    "concrete": marked("Concrete or cement-lined pipe"),
}
PRICE_UNITS = ("gal", "lb", "L", "kg")
UNITS: Mapping[str, float] = {
    "in": MM_PER_INCH, "mm": 1.0, "gal/h": L_PER_H_PER_GPH, "L/h": 1.0,
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


def show_acid(visit: Visit) -> Response:
    """The page; with a form that cannot be used, what is wrong with it."""
    farm = farm_of(visit)
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
    is_us = words.unit_system == "us"
    return visit.show(
        "acid.html",
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
        units={
            "season": ("in", "mm") if is_us else ("mm", "in"),
            "tank": ("gal/h", "L/h") if is_us else ("L/h", "gal/h"),
        },
        price_units=[
            (unit, words.gettext("per {unit}", unit=words.unit(unit)))
            for unit in (PRICE_UNITS if is_us else tuple(reversed(PRICE_UNITS)))
        ],
    )


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
