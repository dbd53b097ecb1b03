"""Fertiliser that goes into the water: products, and orders by block and day.

The evening run fits the orders of the coming day into its pulses
(:mod:`service.operations.evening.fit_injections`); an order for a day whose plan is out replaces
that plan. Nothing here opens anything.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from service.agronomy.civil_day import ONE_DAY
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Conflict, Fault, InputInvalid, NotFound
from service.nutrition.nutrient_dates import LastNitrogen
from service.operations.evening.fit_injections import order_advisories
from service.operations.evening.fit_one_injection import times_min
from service.operations.evening.replan_after import Replanning, replan_after
from service.operations.reading.block_pipes import expected_flow_l_per_h
from service.operations.reading.last_nitrogen import find_last_nitrogen
from service.operations.reading.read_farms import local_day, today_at_block
from service.ports import Clock
from service.records.audit import Subject
from service.records.farms import BlockDefinition, LoadOutcome
from service.records.waterworks import FertigationOrder, WaterSample
from service.waterworks.caution import CHEMIGATION_CAUTIONS, Advisory
from service.waterworks.feeding_limits import Feeding, check_feeding
from service.waterworks.fertigation import Injector
from service.waterworks.fertiliser import (
    PRODUCTS,
    Product,
    StockSolution,
    inject,
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
FALLS_OUT = frozenset({"calcium", "phosphorus"})
HARD_WATER_RULE = "phosphate-in-hard-water"
LINES_NOT_KNOWN = Advisory(
    "lines-not-known",
    "Whether this falls out in the lines is not known: no analysis of the water gives its pH and"
    " alkalinity. Have the water analyzed, or make a jar test.",
)


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
    """None: the block's own, or that of crop and place."""
    is_late_nitrogen_confirmed: bool = False
    """Nitrogen after the last day for it is meant."""


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
        known = {each.key: each for each in unit.waterworks.list_products(farm_key)}
        outcome = unit.waterworks.save_product(farm_key, product, recorded_at=clock.now())
        unit.audit.note(
            Subject.PRODUCT,
            product.key,
            farm_id=farm_id,
            before=known.get(product.key),
            after=product,
        )
        return outcome


def generic_products() -> list[Product]:
    """The products that every farm may use."""
    return list(PRODUCTS.values())


def list_products(farm_id: str, *, unit_of_work: UnitOfWorkFactory) -> list[Product]:
    """The generic products, and those of a farm."""
    with unit_of_work(write=False) as unit:
        farm_key = unit.blocks.farm_keys([farm_id])[farm_id]
        return [*PRODUCTS.values(), *unit.waterworks.list_products(farm_key)]


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
                (find_product(unit, block, key), mass_kg) for key, mass_kg in request.product_kg
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
        )
        _check_order(order, block)
        order = _with_last_nitrogen(unit, order, block, request)
        amounts = check_feeding(
            [Feeding(f"{order.day}", order.product_kg)],
            block.area_m2,
            others=_other_feedings(unit, block_key, order.day),
        )
        stock = stock_solution(order.product_kg, order.stock_l, order.temperature_c)
        before = _order_of(unit, block_key, order.day)
        outcome = unit.waterworks.save_fertigation(
            block_key, order, recorded_at=replanning.clock.now()
        )
        unit.audit.note(
            Subject.INJECTION, block.block_id, farm_id=block.farm_id, before=before, after=order
        )
        new_version_count = _replaced(unit, block.block_id, order.day, replanning)
    said = (*amounts, *order_advisories(order), *_mixing_advisories(order, stock, block, analysis))
    added = _added_mg_per_l(order, block)
    too_salty = ec_advisory(added, order.water_ec_ds_m, block.crop_key)
    if too_salty is not None:
        said = (*said, too_salty)
    said = _with_lines(said, _line_advisories(added, sample, analysis))
    return StoredOrder(order, stock, outcome, said, new_version_count)


def cancel_fertigation(
    block_id: str, day: date, *, unit_of_work: UnitOfWorkFactory, replanning: Replanning
) -> int:
    """Cancel an order; returns how many plans were replaced. Raises NotFound if there is none."""
    with unit_of_work(write=True) as unit:
        block_key = unit.blocks.get_block_key(block_id)
        before = _order_of(unit, block_key, day)
        if not unit.waterworks.remove_fertigation(block_key, day=day):
            raise NotFound(f"no injection is ordered for block {block_id} on {day}")
        farm_id = unit.blocks.get_farm_of(block_id).farm_id
        unit.audit.note(Subject.INJECTION, block_id, farm_id=farm_id, before=before)
        return _replaced(unit, block_id, day, replanning)


def _order_of(unit: UnitOfWork, block_key: int, day: date) -> FertigationOrder | None:
    return next(
        iter(unit.waterworks.list_fertigations(block_key, first_day=day, last_day=day)), None
    )


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


def _other_feedings(unit: UnitOfWork, block_key: int, day: date) -> list[Feeding]:
    """What the other orders of the calendar year bring, which counts in the season's sum."""
    orders = unit.waterworks.list_fertigations(
        block_key, first_day=date(day.year, 1, 1), last_day=date(day.year, 12, 31)
    )
    return [Feeding(f"{each.day}", each.product_kg) for each in orders if each.day != day]


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


def _with_last_nitrogen(
    unit: UnitOfWork, order: FertigationOrder, block: BlockDefinition, request: FertigationRequest
) -> FertigationOrder:
    """The order with its last day for nitrogen; refused after it, unless that is confirmed."""
    if request.last_nitrogen_day is not None:
        last: LastNitrogen | None = LastNitrogen(request.last_nitrogen_day, "given")
    else:
        last = find_last_nitrogen(unit, block, order.day)
    if last is None:
        return order
    dated = replace(order, last_nitrogen_day=last.day)
    if order_advisories(dated) and not request.is_late_nitrogen_confirmed:
        kg = sum(mass_kg * each.nitrogen_fraction for each, mass_kg in order.product_kg)
        allowed = (
            f"a day up to {last.day}, the last one for nitrogen ({last.origin}); or confirm that"
            " later nitrogen is meant"
        )
        raise InputInvalid(
            "nitrogen this late is only injected if you confirm it",
            [Fault("last_nitrogen_day", f"{kg:.2f} kg of nitrogen on {order.day}", allowed)],
        )
    return dated


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
    added: Mapping[str, float], sample: WaterSample | None, analysis: WaterAnalysis | None
) -> tuple[Advisory, ...]:
    """What may fall out in the lines, or that it is not known for want of an analysis."""
    alkalinity = None if analysis is None else analysis.alkalinity_meq_per_l
    if sample is None or analysis is None or analysis.ph is None or not alkalinity:
        return (LINES_NOT_KNOWN,) if FALLS_OUT & added.keys() else ()
    return line_saturation(carbonate_water(analysis, sample.temperature_c), added).advisories


def _with_lines(said: tuple[Advisory, ...], lines: tuple[Advisory, ...]) -> tuple[Advisory, ...]:
    """The advisories with those of the lines; a computed index replaces the rule for hard water."""
    is_computed = any(each.key == "phosphate-in-lines" for each in lines)
    kept = tuple(each for each in said if not (is_computed and each.key == HARD_WATER_RULE))
    return (*kept, *lines)


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


def find_product(unit: UnitOfWork, block: BlockDefinition, product_key: str) -> Product:
    """A generic product or one of the block's farm; raises InputInvalid for any other."""
    if product_key in PRODUCTS:
        return PRODUCTS[product_key]
    farm_key = unit.blocks.farm_keys([block.farm_id])[block.farm_id]
    own = {each.key: each for each in unit.waterworks.list_products(farm_key)}
    if product_key not in own:
        known = ", ".join([*PRODUCTS, *own])
        raise InputInvalid(
            f"fertilizer {product_key!r} is not known",
            [Fault("product", product_key, f"one of {known}; or enter it by its label")],
        )
    return own[product_key]
