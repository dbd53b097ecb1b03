"""Fertiliser that goes into the water: products, a season's need, and orders by block and day.

The evening run fits the orders of the coming day into its pulses
(:mod:`service.operations.evening.fit_injections`); an order for a day whose plan is out replaces
that plan. Nothing here opens anything.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.units import M2_PER_HECTARE
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Conflict, Fault, InputInvalid, NotFound
from service.operations.evening.fit_injections import order_advisories
from service.operations.evening.fit_one_injection import times_min
from service.operations.evening.replan_after import Replanning, replan_after
from service.operations.reading.block_pipes import expected_flow_l_per_h
from service.operations.reading.read_farms import local_day, today_at_block
from service.ports import Clock
from service.records.farms import BlockDefinition, LoadOutcome
from service.records.waterworks import FertigationOrder, WaterSample
from service.waterworks.caution import CHEMIGATION_CAUTIONS, Advisory
from service.waterworks.feeding_limits import Feeding, check_feeding
from service.waterworks.fertigation import Injector
from service.waterworks.fertiliser import (
    NUTRIENTS,
    PRODUCTS,
    DatedNeed,
    NutrientNeed,
    Product,
    StockSolution,
    inject,
    nitrate_caution,
    product_mass_kg,
    split_season,
    stock_solution,
)
from service.waterworks.injection_span import SHORTEST_INJECTION_MIN
from service.waterworks.line_saturation import element_mg_per_l, line_saturation
from service.waterworks.reached_ec import ec_advisory
from service.waterworks.water_analysis import (
    WaterAnalysis,
    analysis_from_readings,
    carbonate_water,
)

AMMONIUM_CROPS = ("blueberry",)
"""Crops that take up ammonium better than nitrate; common practice, no source."""
MOST_DAYS_LISTED = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class FertigationRequest:
    """A request to inject fertiliser; the block's own facts are filled in."""

    block_id: str
    day: date
    product_kg: tuple[tuple[str, float], ...]
    """Key of a product and its mass."""
    stock_l: float
    temperature_c: float
    injector_lowest_l_per_h: float
    injector_highest_l_per_h: float
    largest_added_min: int = 0
    fill_min: float | None = None
    travel_min: float | None = None
    last_nitrogen_day: date | None = None


@dataclass(frozen=True, slots=True)
class StoredOrder:
    """An order with the advisories that apply before its day."""

    order: FertigationOrder
    stock: StockSolution
    outcome: LoadOutcome
    advisories: tuple[Advisory, ...]
    new_version_count: int
    """Plans that were out and are replaced by it."""
    cautions: tuple[Advisory, ...] = CHEMIGATION_CAUTIONS


@dataclass(frozen=True, slots=True)
class SeasonPart:
    """The share of a season's need that one fertigation day gets."""

    need: DatedNeed
    product_kg: float
    """Of the product asked for, over the block."""
    advisories: tuple[Advisory, ...]
    """Of the season as a whole; with every part, so that none is shown without them."""
    cautions: tuple[Advisory, ...] = CHEMIGATION_CAUTIONS


def save_product(
    farm_id: str, product: Product, *, unit_of_work: UnitOfWorkFactory, clock: Clock
) -> LoadOutcome:
    """Store a farm's own product; the name of a generic product is refused."""
    if product.key in PRODUCTS:
        raise InputInvalid(
            f"product {product.key!r} cannot be stored",
            [Fault("key", product.key, f"a name other than {', '.join(PRODUCTS)}")],
        )
    with unit_of_work(write=True) as unit:
        farm_key = unit.blocks.farm_keys([farm_id])[farm_id]
        return unit.waterworks.save_product(farm_key, product, recorded_at=clock.now())


def generic_products() -> list[Product]:
    """The products that every farm may use."""
    return list(PRODUCTS.values())


def list_products(farm_id: str, *, unit_of_work: UnitOfWorkFactory) -> list[Product]:
    """The generic products, and those of a farm."""
    with unit_of_work(write=False) as unit:
        farm_key = unit.blocks.farm_keys([farm_id])[farm_id]
        return [*PRODUCTS.values(), *unit.waterworks.list_products(farm_key)]


def split_need(
    block_id: str,
    need: NutrientNeed,
    days: Sequence[date],
    *,
    nutrient: str,
    product_key: str,
    weights: Sequence[float] | None = None,
    last_nitrogen_day: date | None = None,
    on: date,
    unit_of_work: UnitOfWorkFactory,
) -> list[SeasonPart]:
    """A season's need over its days, and how much of a product carries the nutrient on each."""
    if nutrient not in NUTRIENTS:
        raise InputInvalid(
            "the season cannot be split",
            [Fault("nutrient", nutrient, f"one of {', '.join(NUTRIENTS)}")],
        )
    parts = split_season(need, days, weights=weights, last_nitrogen_day=last_nitrogen_day)
    with unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=on)
        product = _product(unit, block, product_key)
    area_ha = block.area_m2 / M2_PER_HECTARE
    masses_kg = [
        product_mass_kg(
            product, nutrient, area_ha * float(getattr(each.need, f"{nutrient}_kg_per_ha"))
        )
        for each in parts
    ]
    said = _season_advisories(block, product, parts, masses_kg)
    return [SeasonPart(each, mass_kg, said) for each, mass_kg in zip(parts, masses_kg, strict=True)]


def _season_advisories(
    block: BlockDefinition,
    product: Product,
    parts: Sequence[DatedNeed],
    masses_kg: Sequence[float],
) -> tuple[Advisory, ...]:
    """Amounts above what is common, and nitrate for a crop that wants ammonium."""
    feedings = [
        Feeding(part.day.isoformat(), ((product, mass_kg),))
        for part, mass_kg in zip(parts, masses_kg, strict=True)
    ]
    form = nitrate_caution(
        [(product, sum(masses_kg))], is_ammonium_preferred=block.crop_key in AMMONIUM_CROPS
    )
    return (*check_feeding(feedings, block.area_m2), *([] if form is None else [form]))


def order_fertigation(
    request: FertigationRequest, *, unit_of_work: UnitOfWorkFactory, replanning: Replanning
) -> StoredOrder:
    """Store an injection order for a day; the same order again changes nothing.

    A plan of that day that is out already is replaced, in the same transaction.

    Raises InputInvalid for a stock solution that does not stay clear, an impossible injector or
    day, and a block whose travel time is not known.
    """
    with unit_of_work(write=True) as unit:
        block = unit.blocks.get_block(request.block_id, day=request.day)
        block_key = unit.blocks.get_block_key(request.block_id)
        sample = _newest_sample(unit, block)
        analysis = None if sample is None else analysis_from_readings(sample.readings)
        order = FertigationOrder(
            block_id=block.block_id,
            day=request.day,
            product_kg=tuple(
                (_product(unit, block, key), mass_kg) for key, mass_kg in request.product_kg
            ),
            stock_l=request.stock_l,
            temperature_c=request.temperature_c,
            injector_lowest_l_per_h=request.injector_lowest_l_per_h,
            injector_highest_l_per_h=request.injector_highest_l_per_h,
            largest_added_min=request.largest_added_min,
            fill_min=request.fill_min,
            travel_min=request.travel_min,
            water_ec_ds_m=0.0 if analysis is None else analysis.ec_ds_m or 0.0,
            is_ammonium_preferred=block.crop_key in AMMONIUM_CROPS,
            last_nitrogen_day=request.last_nitrogen_day,
        )
        _check_order(order, block)
        amounts = check_feeding([Feeding(f"{order.day}", order.product_kg)], block.area_m2)
        stock = stock_solution(order.product_kg, order.stock_l, order.temperature_c)
        outcome = unit.waterworks.save_fertigation(
            block_key, order, recorded_at=replanning.clock.now()
        )
        new_version_count = _replaced(unit, block.block_id, order.day, replanning)
    said = (*amounts, *order_advisories(order), *_mixing_advisories(order, stock, block, analysis))
    added = _added_mg_per_l(order, block)
    too_salty = ec_advisory(added, order.water_ec_ds_m, block.crop_key)
    if too_salty is not None:
        said = (*said, too_salty)
    if sample is not None and analysis is not None:
        said = (*said, *_line_advisories(added, analysis, sample.temperature_c))
    return StoredOrder(order, stock, outcome, said, new_version_count)


def cancel_fertigation(
    block_id: str, day: date, *, unit_of_work: UnitOfWorkFactory, replanning: Replanning
) -> int:
    """Cancel an order; returns how many plans were replaced. Raises NotFound if there is none."""
    with unit_of_work(write=True) as unit:
        block_key = unit.blocks.get_block_key(block_id)
        if not unit.waterworks.remove_fertigation(block_key, day=day):
            raise NotFound(f"no injection is ordered for block {block_id} on {day}")
        return _replaced(unit, block_id, day, replanning)


def refuse_past_day(
    block_id: str, day: date, *, unit_of_work: UnitOfWorkFactory, clock: Clock
) -> None:
    """Raise Conflict for a day that has begun at the farm: no injection can be fitted into it.

    This check is for new orders; a past evening may be run again.
    """
    with unit_of_work(write=False) as unit:
        today = today_at_block(unit, block_id, clock.now())
    if day <= today:
        raise Conflict(
            f"{day} has begun; injections are ordered from {today + ONE_DAY} on",
            [Fault("day", f"{day}", f"{today + ONE_DAY} or a later day")],
        )


def _replaced(unit: UnitOfWork, block_id: str, day: date, replanning: Replanning) -> int:
    """Replan tomorrow if the order is for tomorrow; returns the number of new versions."""
    farm = unit.blocks.get_farm_of(block_id)
    today = local_day(replanning.clock.now(), farm.zone)
    if day != today + ONE_DAY:
        return 0
    return replan_after(unit, [farm.farm_id], touched_day=today, replanning=replanning)


def list_fertigations(
    block_id: str, *, first_day: date, last_day: date, unit_of_work: UnitOfWorkFactory
) -> list[FertigationOrder]:
    """Injection orders of a block in a span of at most 400 days."""
    if last_day < first_day or (last_day - first_day).days > MOST_DAYS_LISTED:
        raise InputInvalid(
            f"the span {first_day} to {last_day} cannot be read",
            [Fault("to", str(last_day), f"up to {MOST_DAYS_LISTED} days after the first day")],
        )
    with unit_of_work(write=False) as unit:
        block_key = unit.blocks.get_block_key(block_id)
        return unit.waterworks.list_fertigations(block_key, first_day=first_day, last_day=last_day)


def _check_order(order: FertigationOrder, block: BlockDefinition) -> None:
    faults = []
    if not order.product_kg:
        faults.append(Fault("product_kg", "nothing", "at least one product"))
    if order.largest_added_min < 0:
        faults.append(Fault("largest_added_min", f"{order.largest_added_min}", "0 min or more"))
    if faults:
        raise InputInvalid("this injection cannot be ordered", faults)
    times_min(order, block)
    Injector(order.injector_lowest_l_per_h, order.injector_highest_l_per_h)
    if not 0.0 <= order.injector_lowest_l_per_h < order.injector_highest_l_per_h < math.inf:
        found = f"{order.injector_lowest_l_per_h:g} to {order.injector_highest_l_per_h:g} L/h"
        raise InputInvalid(
            "this injection cannot be ordered",
            [Fault("injector", found, "a lowest rate of 0 or more, below the highest")],
        )


def _newest_sample(unit: UnitOfWork, block: BlockDefinition) -> WaterSample | None:
    """The newest analysis of the block's supply."""
    farm_key = unit.blocks.farm_keys([block.farm_id])[block.farm_id]
    table = unit.blocks.read_supply_table(np.array([farm_key], dtype=np.int64))
    key = dict(zip(table.supply_ids, table.keys.tolist(), strict=True)).get(block.supply_id)
    samples = [] if key is None else unit.waterworks.list_samples(key)
    return samples[0] if samples else None


def _added_mg_per_l(order: FertigationOrder, block: BlockDefinition) -> dict[str, float]:
    """What goes into the water at the fastest that the injector can."""
    minutes = max(SHORTEST_INJECTION_MIN, 60.0 * order.stock_l / order.injector_highest_l_per_h)
    return element_mg_per_l(order.product_kg, expected_flow_l_per_h(block)[0] * minutes / 60.0)


def _line_advisories(
    added: Mapping[str, float], analysis: WaterAnalysis, temperature_c: float
) -> tuple[Advisory, ...]:
    """What may fall out in the lines; nothing of a water whose carbonate chemistry is unknown."""
    if analysis.ph is None or not analysis.alkalinity_meq_per_l:
        return ()
    return line_saturation(carbonate_water(analysis, temperature_c), added).advisories


def _mixing_advisories(
    order: FertigationOrder,
    stock: StockSolution,
    block: BlockDefinition,
    analysis: WaterAnalysis | None,
) -> tuple[Advisory, ...]:
    """Advisories on how products, crop and water go together."""
    return inject(
        stock,
        order.stock_l,
        flow_l_per_h=expected_flow_l_per_h(block)[0],
        duration_min=SHORTEST_INJECTION_MIN,
        water_ec_ds_m=order.water_ec_ds_m,
        water_calcium_meq_per_l=None if analysis is None else analysis.calcium_meq_per_l,
        water_ph=None if analysis is None else analysis.ph,
        is_ammonium_preferred=order.is_ammonium_preferred,
    ).advisories


def _product(unit: UnitOfWork, block: BlockDefinition, product_key: str) -> Product:
    if product_key in PRODUCTS:
        return PRODUCTS[product_key]
    farm_key = unit.blocks.farm_keys([block.farm_id])[block.farm_id]
    own = {each.key: each for each in unit.waterworks.list_products(farm_key)}
    if product_key not in own:
        known = ", ".join([*PRODUCTS, *own])
        raise InputInvalid(
            f"fertiliser {product_key!r} is not known",
            [Fault("product", product_key, f"one of {known}; or enter it by its label")],
        )
    return own[product_key]
