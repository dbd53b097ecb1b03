"""A block's season of nutrients and soil pH, from its newest tests and its water.

What the request leaves out comes from what is stored: age from the planting year, water from the
supply's newest analysis and the ledger's last year. Last season's nitrogen is not taken from the
injections that were ordered, since what was spread dry is not among them. What is not stored either
is a gap that the plan names.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid
from service.nutrition.nitrogen_need import VIGOUR_FACTORS
from service.nutrition.nutrient_dates import block_last_nitrogen, last_nitrogen_day
from service.nutrition.season_facts import NitrogenProduct, SeasonFacts, SoilFacts
from service.nutrition.season_plan import SeasonPlan, season_plan
from service.nutrition.soil_ph import ph_target_faults
from service.nutrition.tables import NutritionCrop
from service.operations.nutrition.record_tests import (
    NutrientReport,
    compared,
    crop_of,
    report_test,
)
from service.operations.nutrition.season_water import season_water
from service.operations.reading.last_nitrogen import block_latitude
from service.records.farms import BlockDefinition
from service.waterworks.fertiliser import PRODUCTS, Product

TITLE = "this plan cannot be made"
FULL_SIZE_YEARS = 99
"""Age of a block without a planting year: full size already, as the farm file has it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRequest:
    """What the grower or adviser says; None: from what is stored, or by default."""

    crop: str = ""
    season_year: int | None = None
    age_years: int | None = None
    planted_share: float | None = None
    vigour: str = "normal"
    base_kg_per_ha: float | None = None
    last_season_kg_per_ha: float | None = None
    legal_cap_kg_per_ha: float | None = None
    removal_kg_per_ha: float = 0.0
    """Nitrogen that the harvest carries off: the need does not fall below it."""
    k2o_removal_kg_per_ha: float = 0.0
    """K2O that it carries off: given back where the soil is at its optimum."""
    planned_mm: float | None = None
    acidified_ph: float | None = None
    """Acid brings the season's water to this pH."""
    sawdust_depth_cm: float = 0.0
    recent_lime_tons_per_ac: float = 0.0
    months_since_lime: float = 0.0
    ph_target: float | None = None
    last_nitrogen_day: date | None = None
    product_key: str = ""
    is_plastic: bool = False
    is_spread_dry: bool = False
    """Nitrogen is spread dry, not injected: fewer and larger parts on sand."""
    chosen_rows: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class NutrientPlan:
    """A plan with the tests and facts that it rests on."""

    block_id: str
    crop: NutritionCrop
    facts: SeasonFacts
    plan: SeasonPlan
    leaf: NutrientReport | None
    soil: NutrientReport | None
    recommendations: tuple[str, ...]
    """Of the laboratories, as printed: they come first."""
    origins: tuple[tuple[str, str], ...]
    """A fact, and where it comes from."""


def plan_nutrients(
    block_id: str, request: PlanRequest, *, on: date, unit_of_work: UnitOfWorkFactory
) -> NutrientPlan:
    """The plan of a block's coming season; nothing is stored. Raises InputInvalid."""
    _check_request(request)
    with unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=on)
        latitude_deg = block_latitude(unit, block)
        leaf, soil = _newest_reports(unit, block, latitude_deg, request.chosen_rows)
        crop = crop_of(block, request.crop or ("" if leaf is None else leaf.test.crop))
        _check_target(crop, request.ph_target)
        origins: list[tuple[str, str]] = []
        year = request.season_year or _season_year(crop, block, on, latitude_deg)
        facts = SeasonFacts(
            crop=crop,
            season_year=year,
            today=on,
            latitude_deg=latitude_deg,
            area_m2=block.area_m2,
            age_years=_age_years(block, request, year, origins),
            planted_share=block.wetted_fraction
            if request.planted_share is None
            else request.planted_share,
            leaf=None if leaf is None else leaf.leaf,
            soil=_soil_facts(soil),
            water=season_water(
                unit,
                block,
                on=on,
                planned_mm=request.planned_mm,
                acidified_ph=request.acidified_ph,
                origins=origins,
            ),
            product=_product(crop, request, soil),
            last_season_kg_per_ha=request.last_season_kg_per_ha,
            base_kg_per_ha=request.base_kg_per_ha,
            legal_cap_kg_per_ha=request.legal_cap_kg_per_ha,
            removal_kg_per_ha=request.removal_kg_per_ha,
            k2o_removal_kg_per_ha=request.k2o_removal_kg_per_ha,
            vigour=request.vigour,
            sawdust_depth_cm=request.sawdust_depth_cm,
            recent_lime_tons_per_ac=request.recent_lime_tons_per_ac,
            months_since_lime=request.months_since_lime,
            ph_target=request.ph_target,
            own_last_nitrogen=request.last_nitrogen_day or _own_last_day(block, year, latitude_deg),
            is_plastic=request.is_plastic,
            is_spread_dry=request.is_spread_dry,
            chosen_rows=request.chosen_rows,
        )
    return NutrientPlan(
        block.block_id,
        crop,
        facts,
        season_plan(facts),
        leaf,
        soil,
        _recommendations(leaf, soil),
        tuple(origins),
    )


def _recommendations(*reports: NutrientReport | None) -> tuple[str, ...]:
    return tuple(
        f"{each.test.laboratory}, {each.test.day}: {each.test.recommendation}"
        for each in reports
        if each is not None and each.test.recommendation
    )


def _newest_reports(
    unit: UnitOfWork, block: BlockDefinition, latitude_deg: float, chosen_rows: Sequence[str]
) -> tuple[NutrientReport | None, NutrientReport | None]:
    """The newest test of leaf or petiole, and that of the soil."""
    tests = unit.nutrition.list_tests(unit.blocks.get_block_key(block.block_id))
    reports = compared(
        [
            report_test(each, block, latitude_deg=latitude_deg, chosen_rows=chosen_rows)
            for each in tests
        ]
    )
    leaf = next((each for each in reports if each.leaf is not None), None)
    soil = next((each for each in reports if each.test.kind == "soil"), None)
    return leaf, soil


def _own_last_day(block: BlockDefinition, year: int, latitude_deg: float) -> date | None:
    """The block's own last day in the season that ends in a year; None: that of crop and place."""
    if np.isnan(block.last_nitrogen_doy):
        return None
    spring = date(year, 1, 1)
    last = block_last_nitrogen(
        block.crop_key, spring, latitude_deg, last_nitrogen_doy=block.last_nitrogen_doy
    )
    return None if last is None else last.day


def _check_request(request: PlanRequest) -> None:
    faults = []
    if request.vigour not in VIGOUR_FACTORS:
        faults.append(Fault("vigour", request.vigour, f"one of {', '.join(VIGOUR_FACTORS)}"))
    for name, most in (
        ("age_years", 200.0),
        ("planted_share", 1.0),
        ("base_kg_per_ha", 200.0),
        ("last_season_kg_per_ha", 500.0),
        ("legal_cap_kg_per_ha", 500.0),
        ("removal_kg_per_ha", 200.0),
        ("k2o_removal_kg_per_ha", 300.0),
        ("planned_mm", 3000.0),
        ("sawdust_depth_cm", 50.0),
        ("recent_lime_tons_per_ac", 20.0),
        ("months_since_lime", 120.0),
    ):
        value = getattr(request, name)
        if value is not None and not 0.0 <= value <= most:
            faults.append(Fault(name, f"{value:g}", f"0 to {most:g}"))
    if faults:
        raise InputInvalid(TITLE, faults)


def _check_target(crop: NutritionCrop, target: float | None) -> None:
    allowed = "" if target is None else ph_target_faults(crop, target)
    if allowed:
        raise InputInvalid(TITLE, [Fault("ph_target", f"{target:g}", allowed)])


def _season_year(crop: NutritionCrop, block: BlockDefinition, on: date, latitude_deg: float) -> int:
    """This year's season while nitrogen may still be given, else the next."""
    last = last_nitrogen_day(
        crop, on.year, latitude_deg, own_day=_own_last_day(block, on.year, latitude_deg)
    )
    is_over = on > (date(on.year, 8, 31) if last is None else last.day)
    return on.year + 1 if is_over else on.year


def _age_years(
    block: BlockDefinition, request: PlanRequest, year: int, origins: list[tuple[str, str]]
) -> int:
    if request.age_years is not None:
        origins.append(("age", f"year {request.age_years}, given"))
        return request.age_years
    if np.isnan(block.planting_year):
        origins.append(("age", "full size: the farm file gives no planting year"))
        return FULL_SIZE_YEARS
    age = max(1, year - int(block.planting_year) + 1)
    origins.append(("age", f"year {age}, planted {int(block.planting_year)}"))
    return age


def _soil_facts(report: NutrientReport | None) -> SoilFacts | None:
    if report is None:
        return None
    test = report.test
    return SoilFacts(
        values=report.values,
        extractant=test.extractant,
        ph_method=test.ph_method,
        texture=test.texture or None,
    )


def _product(
    crop: NutritionCrop, request: PlanRequest, soil: NutrientReport | None
) -> NitrogenProduct | None:
    """As asked for; else ammonium sulfate where soil pH is to fall or is not known, urea below."""
    key = request.product_key
    if not key and crop.prefers_ammonium:
        ph = None if soil is None else soil.values.get("pH")
        key = "urea" if ph is not None and ph <= crop.ph.target else "ammonium-sulfate"
    if not key:
        return None
    product = PRODUCTS.get(key)
    if product is None or product.nitrogen_fraction <= 0.0:
        holding = [each.key for each in PRODUCTS.values() if each.nitrogen_fraction > 0.0]
        raise InputInvalid(TITLE, [Fault("product", key, f"one of {', '.join(holding)}")])
    return _nitrogen_product(product)


def _nitrogen_product(product: Product) -> NitrogenProduct:
    return NitrogenProduct(
        key=product.key,
        name=product.name,
        nitrogen_fraction=product.nitrogen_fraction,
        is_nitrate=product.nitrate_nitrogen_fraction > 0.0,
    )
