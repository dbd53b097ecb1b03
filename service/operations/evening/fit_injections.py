"""Where the ordered injections of a day fit into its pulses, and what the plan says of them.

The evening run reads the orders of the coming day and fits them in: pulses are joined or lengthened
only where windows, soil and supply allow it, else the plan stays as it was and says why the
injection does not fit. Nothing here opens anything.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from service.agronomy.daily_plan import DailyPlan
from service.agronomy.injection_room import (
    PlannedDay,
    changed_plan,
    other_flow_l_per_h,
    pulse_fault,
)
from service.agronomy.records import Ints
from service.database.session import UnitOfWork
from service.errors import Fault, InputInvalid
from service.operations.reading.block_pipes import travel_times_min
from service.records.farms import BlockDefinition
from service.records.plan_reasoning import StoredInjection
from service.records.waterworks import FertigationOrder
from service.waterworks.caution import CHEMIGATION_CAUTIONS, Advisory
from service.waterworks.fertigation import (
    Fertigation,
    InjectionPlan,
    Injector,
    RunPulse,
    plan_fertigation,
)
from service.waterworks.fertiliser import StockSolution, stock_solution

Replan = Callable[[int, int], dict[int, list[tuple[int, int]]]]
"""The pulses of all blocks on a block's supply, by row, if that block's water runs in one piece of
so many minutes."""
LEAST_KEPT_SHARE = 0.9
"""Of its minutes that each block of a supply keeps on a day laid anew for an injection."""
SHORTFALL_TOLERANCE_MM = 0.01


# --- the evening ---------------------------------------------------------------------------------


def fit_injections(
    unit: UnitOfWork,
    day: PlannedDay,
    block_keys: Ints,
    *,
    on: date,
    may_change: NDArray[np.bool_],
    replan: Replan,
) -> tuple[DailyPlan, dict[int, StoredInjection]]:
    """The day's plan with its injections fitted in, and what to say of each, by row of the block.

    ``on`` is the day planned. Where pulses may not change any more (the day is under way) an
    injection must fit them as they are. An order that cannot be carried out never spoils the plan.
    """
    orders = unit.waterworks.read_fertigations(block_keys, day=on)
    row_of = {int(key): row for row, key in enumerate(block_keys)} if orders else {}
    injections: dict[int, StoredInjection] = {}
    plan = day.plan
    for row, order in sorted(
        ((row_of[key], order) for key, order in orders.items()), key=lambda pair: pair[0]
    ):
        try:
            block = unit.blocks.get_block(order.block_id, day=on)
            now = replace(day, plan=plan)
            is_free = bool(may_change[row])
            found, stock = fit_injection(now, row, order, block=block, may_change=is_free)
            if not found.plan.is_possible and is_free:
                laid, anew = _laid_anew(now, row, order, block=block, replan=replan)
                if anew is not None and anew.plan.is_possible:
                    plan, found = laid.plan, anew
        except InputInvalid as error:
            texts = [error.message, *(str(fault) for fault in error.faults)]
            injections[row] = _refused(order, texts)
            continue
        injections[row] = _planned(order, found, stock)
        now = replace(day, plan=plan)
        before = [(pulse.start_min, pulse.duration_min) for pulse in _pulses(now, row)]
        after = [(pulse.start_min, pulse.duration_min) for pulse in found.plan.pulses]
        if found.plan.is_possible and after != before:
            plan = changed_plan(now, {row: after})
    return plan, injections


def _laid_anew(
    day: PlannedDay, row: int, order: FertigationOrder, *, block: BlockDefinition, replan: Replan
) -> tuple[PlannedDay, Fertigation | None]:
    """The supply's day laid anew with one run of all the block's water, and the injection in it.

    Nothing comes of it where the run would wet deeper than the roots, or where any block of the
    supply would run short by it, or lose more than a tenth of its minutes to later days.
    """
    before = {
        each: sum(pulse.duration_min for pulse in _pulses(day, each))
        for each in np.flatnonzero(
            day.blocks.system.supply_index == day.blocks.system.supply_index[row]
        ).tolist()
    }
    total = before[row]
    if len(_pulses(day, row)) < 2 or total > _longest_run_min(day, row):
        return day, None
    pulses = replan(row, total)
    after = {each: sum(length for _, length in pulses[each]) for each in before}
    laid = replace(day, plan=changed_plan(day, pulses))
    is_short = laid.plan.shortfall_mm > day.plan.shortfall_mm + SHORTFALL_TOLERANCE_MM
    if (
        after[row] < total
        or len(pulses[row]) != 1
        or is_short[list(before)].any()
        or any(after[each] < LEAST_KEPT_SHARE * before[each] for each in before)
    ):
        return day, None
    waiting = sum(before.values()) - sum(after.values())
    found, _ = fit_injection(laid, row, order, block=block, may_change=False)
    text = (
        f"The day of the supply was laid anew so that one run of {after[row]} min holds the"
        f" injection, with no less water for this block; {max(0, waiting)} min of other blocks"
        " wait for later, and none runs short by it. A longer run wets deeper."
    )
    joined = replace(
        found.plan,
        merged_count=len(_pulses(day, row)),
        advisories=(Advisory("day-laid-anew", text), *found.plan.advisories),
    )
    return laid, Fertigation(joined, found.injection)


def _longest_run_min(day: PlannedDay, row: int) -> float:
    """As long as the grower allows, but no deeper than the roots reach."""
    rate = float(day.plan.net_rate_mm_per_min[row])
    to_roots_min = float(day.plan.limits.event_limit_mm[row]) / rate if rate > 0.0 else math.inf
    return max(
        float(day.plan.limits.longest_pulse_min[row]),
        math.floor(min(float(day.blocks.system.longest_pulse_min[row]), to_roots_min)),
    )


def fit_injection(
    day: PlannedDay,
    row: int,
    order: FertigationOrder,
    *,
    block: BlockDefinition,
    may_change: bool = True,
) -> tuple[Fertigation, StockSolution]:
    """One order in the pulses of its block; raises InputInvalid for numbers that cannot be.

    A changed pulse may be as long as the grower allows, but wets no deeper than the roots reach.
    """
    stock = stock_solution(order.product_kg, order.stock_l, order.temperature_c)
    fill_min, travel_min = times_min(order, block)
    pulses = _pulses(day, row)
    others = other_flow_l_per_h(day, row)
    longest_min = _longest_run_min(day, row)

    def allows(start_min: int, duration_min: int) -> bool:
        if not may_change:
            return False
        return pulse_fault(day, row, _changed(pulses, start_min, duration_min), others) is None

    def fit(
        arranged: Sequence[RunPulse], allows_pulse: Callable[[int, int], bool], added_min: int
    ) -> Fertigation:
        return plan_fertigation(
            arranged,
            stock,
            order.stock_l,
            injector=Injector(order.injector_lowest_l_per_h, order.injector_highest_l_per_h),
            flow_l_per_h=float(day.blocks.system.flow_l_per_h[row]),
            fill_min=fill_min,
            travel_min=travel_min,
            longest_pulse_min=longest_min,
            largest_added_min=added_min,
            allows_pulse=allows_pulse,
            water_ec_ds_m=order.water_ec_ds_m,
            is_ammonium_preferred=order.is_ammonium_preferred,
        )

    found = fit(pulses, allows, order.largest_added_min)
    if (not found.plan.is_possible or found.plan.added_min) and may_change:
        # Joined where the last of them stood, the soil has had time to make room.
        for joined, arranged in _joined_late(pulses, longest_min):
            trial = [(pulse.start_min, pulse.duration_min) for pulse in arranged]
            if pulse_fault(day, row, trial, others) is not None:
                continue
            late = fit(arranged, _never, 0)
            if late.plan.is_possible:
                found = _with_advisory(late, joined, len(pulses), len(arranged))
                break
    if found.plan.is_possible and found.plan.pulses != tuple(pulses):
        chosen = [(pulse.start_min, pulse.duration_min) for pulse in found.plan.pulses]
        fault = pulse_fault(day, row, chosen, others)
        if fault is not None:
            refused = InjectionPlan(
                is_possible=False,
                pulses=tuple(pulses),
                spans=(),
                merged_count=0,
                added_min=0,
                advisories=(Advisory("day-does-not-allow", f"It does not fit: {fault}."),),
                cautions=found.plan.cautions,
            )
            return Fertigation(refused, None), stock
    return found, stock


def _never(_start_min: int, _duration_min: int) -> bool:
    return False


def _joined_late(
    pulses: Sequence[RunPulse], longest_min: float
) -> Iterator[tuple[int, list[RunPulse]]]:
    """The day with one run of neighbours joined to a pulse at the last one's place; few first."""
    for count in range(2, len(pulses) + 1):
        for first in range(len(pulses) - count, -1, -1):
            last = first + count - 1
            water = sum(pulse.duration_min for pulse in pulses[first : last + 1])
            start = pulses[last].start_min
            if last + 1 < len(pulses):
                start = min(start, pulses[last + 1].start_min - water)
            if water <= longest_min and start >= pulses[first].start_min:
                yield count, [*pulses[:first], RunPulse(start, water), *pulses[last + 1 :]]


def _with_advisory(found: Fertigation, joined: int, before: int, after: int) -> Fertigation:
    text = (
        f"{joined} pulses were joined to one, where the last of them stood, for the injection"
        f" ({before} pulses became {after}), with the same water. Longer pulses wet deeper."
    )
    plan = replace(
        found.plan,
        merged_count=joined,
        advisories=(Advisory("pulses-joined", text), *found.plan.advisories),
    )
    return Fertigation(plan, found.injection)


def _pulses(day: PlannedDay, row: int) -> list[RunPulse]:
    pulses = day.plan.schedule.pulses
    own = slice(pulses.offset[row], pulses.offset[row + 1])
    return [
        RunPulse(start, length)
        for start, length in zip(
            pulses.start_min[own].tolist(), pulses.duration_min[own].tolist(), strict=True
        )
    ]


def _changed(
    pulses: Sequence[RunPulse], start_min: int, duration_min: int
) -> list[tuple[int, int]]:
    """The day with one pulse joined from its neighbours, or lengthened."""
    trial = [(pulse.start_min, pulse.duration_min) for pulse in pulses]
    first = next(place for place, pulse in enumerate(trial) if pulse[0] == start_min)
    water = 0
    last = first
    for place in range(first, len(trial)):
        water += trial[place][1]
        if water == duration_min:
            last = place
            break
        if trial[place][0] < start_min + duration_min:
            last = place
    return [*trial[:first], (start_min, duration_min), *trial[last + 1 :]]


def times_min(order: FertigationOrder, block: BlockDefinition) -> tuple[float, float]:
    """Filling and travel, as ordered or else from the block's pipes."""
    if order.travel_min is not None:
        fill_min = order.travel_min if order.fill_min is None else order.fill_min
        return max(fill_min, block.fill_time_min), order.travel_min
    if block.layout is None:
        raise InputInvalid(
            f"the travel time of water in block {block.block_id} is not known",
            [
                Fault(
                    "travel_min",
                    "nothing, and no [block.hydraulics] in the farm file",
                    "minutes from the injector to the last emitter, timed in the field with dye, or"
                    " the block's pipes in the farm file",
                )
            ],
        )
    return travel_times_min(block)


def order_advisories(order: FertigationOrder) -> tuple[Advisory, ...]:
    """What must be said of an order because of its day."""
    nitrogen_kg = sum(mass_kg * each.nitrogen_fraction for each, mass_kg in order.product_kg)
    last = order.last_nitrogen_day
    if last is None or order.day <= last or nitrogen_kg <= 0.0:
        return ()
    text = (
        f"WARNING: {nitrogen_kg:.2f} kg of nitrogen on {order.day}, after {last}, the last day for"
        " nitrogen that was set for this crop and place."
    )
    return (Advisory("nitrogen-too-late", text),)


def _planned(order: FertigationOrder, found: Fertigation, stock: StockSolution) -> StoredInjection:
    """What a plan says of its injection."""
    injection = found.injection
    texts = [each.text for each in order_advisories(order)]
    texts += [each.text for each in found.plan.advisories]
    if injection is None or not found.plan.is_possible:
        return _refused(order, texts)
    texts += [each.text for each in injection.advisories]
    return StoredInjection(
        order_key=order_key(order),
        is_possible=True,
        products=_products(order),
        stock_l=order.stock_l,
        spans=tuple((span.start_min, span.end_min) for span in found.plan.spans),
        injector_l_per_h=round(injection.injector_l_per_h, 3),
        dilution_ratio=round(injection.dilution_ratio, 1),
        ec_rise_ds_m=round(injection.ec_rise_ds_m, 3),
        nutrient_kg=_known_only(injection.nutrient_kg),
        nutrient_mg_per_l=_known_only(injection.nutrient_mg_per_l),
        merged_count=found.plan.merged_count,
        added_min=found.plan.added_min,
        saturation_share=stock.saturation_share,
        advisories=tuple(texts),
        cautions=tuple(each.text for each in found.plan.cautions),
    )


def _refused(order: FertigationOrder, texts: Sequence[str]) -> StoredInjection:
    return StoredInjection(
        order_key=order_key(order),
        is_possible=False,
        products=_products(order),
        stock_l=order.stock_l,
        spans=(),
        advisories=tuple(texts),
        cautions=tuple(each.text for each in CHEMIGATION_CAUTIONS),
    )


def _products(order: FertigationOrder) -> tuple[tuple[str, float], ...]:
    return tuple((product.name, mass_kg) for product, mass_kg in order.product_kg)


def order_key(order: FertigationOrder) -> str:
    """The same for the same order and another for any other, whatever in it differs."""
    return hashlib.sha256(repr(order).encode()).hexdigest()[:16]


def answers_other_orders(
    injections: Mapping[int, StoredInjection], order_keys: Sequence[str]
) -> NDArray[np.bool_]:
    """(blocks,) an injection was ordered, changed or cancelled since the plan in force was made."""
    return np.array(
        [
            (injections[row].order_key if row in injections else "") != before
            for row, before in enumerate(order_keys)
        ],
        dtype=np.bool_,
    )


def _known_only(amounts: Mapping[str, float]) -> dict[str, float]:
    return {name: round(amount, 4) for name, amount in amounts.items() if amount > 0.0}
