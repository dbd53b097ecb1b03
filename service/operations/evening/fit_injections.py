"""The injections ordered for a day fitted into its pulses, with what the plan says about them.

The evening run reads the orders for the coming day and fits them in. Pulses are joined or
lengthened only where windows, soil and supply allow it; otherwise the plan stays unchanged and says
why the injection does not fit. Nothing here opens a valve.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from service.agronomy.daily_plan import DailyPlan
from service.agronomy.injection_room import PlannedDay, changed_plan
from service.agronomy.records import Ints
from service.database.session import UnitOfWork
from service.errors import InputInvalid
from service.operations.evening.fit_one_injection import fit_injection, longest_run_min
from service.operations.reading.last_nitrogen import last_nitrogen_at
from service.pulses import Pulse
from service.records.farms import BlockDefinition
from service.records.plan_reasoning import StoredInjection
from service.records.waterworks import FertigationOrder
from service.waterworks.caution import CHEMIGATION_CAUTIONS, Advisory
from service.waterworks.fertigation import Fertigation
from service.waterworks.fertiliser import StockSolution

Replan = Callable[[int, int], Mapping[int, Sequence[Pulse]]]
"""The pulses of a supply's blocks, by row, if one of the blocks runs once for these minutes."""
LEAST_KEPT_SHARE = 0.9
"""Share of its minutes that each block of a supply keeps if a day is replanned for an injection."""
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
    """The day's plan with its injections fitted in, and what to say about each, by block row.

    ``on`` is the day planned. If pulses may no longer change (the day is under way), an injection
    must fit them as they are. An order that cannot be carried out never spoils the plan.
    """
    orders = unit.waterworks.read_fertigations(block_keys, day=on)
    definitions = (
        unit.blocks.read_definitions(np.array(list(orders), dtype=np.int64), day=on)
        if orders
        else {}
    )
    orders = {key: _dated(order, *definitions[key]) for key, order in orders.items()}
    row_of = {int(key): row for row, key in enumerate(block_keys)} if orders else {}
    injections: dict[int, StoredInjection] = {}
    plan = day.plan
    for row, order in sorted(
        ((row_of[key], order) for key, order in orders.items()), key=lambda pair: pair[0]
    ):
        try:
            block, _ = definitions[int(block_keys[row])]
            now = replace(day, plan=plan)
            is_free = bool(may_change[row])
            found, stock = fit_injection(now, row, order, block=block, may_change=is_free)
            if not found.plan.is_possible and is_free:
                replanned, again = _replanned_in_one_run(
                    now, row, order, block=block, replan=replan
                )
                if again is not None and again.plan.is_possible:
                    plan, found = replanned.plan, again
        except InputInvalid as error:
            texts = [error.message, *(str(fault) for fault in error.faults)]
            injections[row] = _refused(order, texts)
            continue
        injections[row] = _planned(order, found, stock)
        now = replace(day, plan=plan)
        after = found.plan.pulses
        if found.plan.is_possible and after != now.plan.schedule.pulses.of_block(row):
            plan = changed_plan(now, {row: after})
    return plan, injections


def _replanned_in_one_run(
    day: PlannedDay, row: int, order: FertigationOrder, *, block: BlockDefinition, replan: Replan
) -> tuple[PlannedDay, Fertigation | None]:
    """The supply's day replanned so that one run takes all the block's water and the injection.

    The day stays unchanged if the run would wet deeper than the roots, or if any block of the
    supply would run short or lose more than a tenth of its minutes to later days.
    """
    before = {
        each: sum(pulse.duration_min for pulse in day.plan.schedule.pulses.of_block(each))
        for each in np.flatnonzero(
            day.blocks.system.supply_index == day.blocks.system.supply_index[row]
        ).tolist()
    }
    total = before[row]
    if len(day.plan.schedule.pulses.of_block(row)) < 2 or total > longest_run_min(day, row):
        return day, None
    pulses = replan(row, total)
    after = {each: sum(pulse.duration_min for pulse in pulses[each]) for each in before}
    rescheduled = replace(day, plan=changed_plan(day, pulses))
    is_short = rescheduled.plan.shortfall_mm > day.plan.shortfall_mm + SHORTFALL_TOLERANCE_MM
    if (
        after[row] < total
        or len(pulses[row]) != 1
        or is_short[list(before)].any()
        or any(after[each] < LEAST_KEPT_SHARE * before[each] for each in before)
    ):
        return day, None
    waiting = sum(before.values()) - sum(after.values())
    found, _ = fit_injection(rescheduled, row, order, block=block, may_change=False)
    text = (
        f"The day of the supply was planned again so that one run of {after[row]} min holds the"
        f" injection, with no less water for this block; {max(0, waiting)} min of other blocks"
        " wait for later, and none runs short by it. A longer run wets deeper."
    )
    joined = replace(
        found.plan,
        merged_count=len(day.plan.schedule.pulses.of_block(row)),
        advisories=(Advisory("day-laid-anew", text), *found.plan.advisories),
    )
    return rescheduled, Fertigation(joined, found.injection)


def _dated(
    order: FertigationOrder, block: BlockDefinition, latitude_deg: float
) -> FertigationOrder:
    """The order with the block's last day for nitrogen, if it was stored without one."""
    if order.last_nitrogen_day is not None:
        return order
    last = last_nitrogen_at(block, latitude_deg, order.day)
    return order if last is None else replace(order, last_nitrogen_day=last.day)


def order_advisories(order: FertigationOrder) -> tuple[Advisory, ...]:
    """Warnings about an order that depend on its day."""
    nitrogen_kg = sum(mass_kg * each.nitrogen_fraction for each, mass_kg in order.product_kg)
    last = order.last_nitrogen_day
    if last is None or order.day <= last or nitrogen_kg <= 0.0:
        return ()
    text = (
        f"WARNING: {nitrogen_kg:.2f} kg of nitrogen on {order.day}, after {last}, the last day for"
        " nitrogen of this block. Late growth does not harden before frost."
    )
    return (Advisory("nitrogen-too-late", text),)


def _planned(order: FertigationOrder, found: Fertigation, stock: StockSolution) -> StoredInjection:
    """What a plan says about its injection."""
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
    """A hash of the order: it changes when anything in the order does."""
    return hashlib.sha256(repr(order).encode()).hexdigest()[:16]


def answers_other_orders(
    injections: Mapping[int, StoredInjection], order_keys: Sequence[str]
) -> NDArray[np.bool_]:
    """(blocks,) whether an order was placed, changed or cancelled since the plan in force."""
    return np.array(
        [
            (injections[row].order_key if row in injections else "") != before
            for row, before in enumerate(order_keys)
        ],
        dtype=np.bool_,
    )


def _known_only(amounts: Mapping[str, float]) -> dict[str, float]:
    return {name: round(amount, 4) for name, amount in amounts.items() if amount > 0.0}
