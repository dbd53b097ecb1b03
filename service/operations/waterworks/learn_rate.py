"""A block's rate by its meter: offered for coming plans, and used once somebody accepts it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Conflict, Fault
from service.operations.evening.replan_after import Replanning, replan_after
from service.operations.farms.measured_numbers import GIVEN, change_number
from service.operations.feedback.compare_meter import (
    SHORTEST_CHECK_MIN,
    block_meter,
    supply_flow_l_per_h,
)
from service.operations.reading.block_pipes import at_meter
from service.operations.reading.read_farms import today_at_block
from service.operations.waterworks.check_flow import emitters_of, flow_report, versions_as_compared
from service.ports import Clock
from service.records.farms import BlockDefinition
from service.records.metered_flow import MeteredFlow, stated_emitter_flow_l_per_h
from service.translations.catalogue import marked
from service.waterworks.learned_rate import LearnedRate, learned_rate

RATE_DAYS = 365
"""How far back runs count."""
FLOW_DECIMALS = 4
"""Of an emitter flow in L/h."""
TOO_FEW = marked("Fewer than five metered runs: too few to say what the emitters give.")
WITHIN_SPREAD = marked("The meter agrees with the emitter flow of the block, within its spread.")
CHANGED_FIRST = marked(
    "The flow has changed: look for the cause before its rate is used for plans."
)
BEYOND_SUPPLY = marked(
    "The meter shows more than the supply of the block gives as stated: no pulse could run. Correct"
    " the flow of the supply first."
)
OFFERED = marked("The meter shows another rate than the emitter flow of the block.")


@dataclass(frozen=True, slots=True)
class RateOffer:
    """What a block's meter says of its emitters, and whether plans could use it."""

    block_id: str
    rate: LearnedRate
    first_day: date | None
    """Day of the first run that it rests on; None without any."""
    last_day: date | None
    emitter_flow_l_per_h: float
    """That plans use now."""
    stated_l_per_h: float
    """That the farm's own file states."""
    offered_l_per_h: float | None
    """None: nothing is offered."""
    reason: str
    """Why, as text."""

    @property
    def is_offered(self) -> bool:
        """Whether there is a rate to accept."""
        return self.offered_l_per_h is not None

    @property
    def is_learned(self) -> bool:
        """Whether plans use another flow than the stated one."""
        return self.emitter_flow_l_per_h != self.stated_l_per_h


def get_rate_offer(block_id: str, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> RateOffer:
    """What a block's meter says of its emitters; raises NotFound."""
    with unit_of_work(write=False) as unit:
        today = today_at_block(unit, block_id, clock.now())
        return rate_offer(unit, unit.blocks.get_block(block_id, day=today), today=today)


def rate_offer(unit: UnitOfWork, block: BlockDefinition, *, today: date) -> RateOffer:
    """The same inside a transaction."""
    first_day = today - timedelta(days=RATE_DAYS)
    versions = versions_as_compared(unit, block, first_day, today)
    runs = unit.reports.read_metered(
        unit.blocks.get_block_key(block.block_id), first_day=_alike_since(versions, block)
    )
    meter = block_meter(unit, block, today=today)
    is_possible = [
        booked or meter.passable.holds(volume, minutes)
        for booked, volume, minutes in zip(
            runs.is_booked.tolist(), runs.volume_l.tolist(), runs.flowing_min.tolist(), strict=True
        )
    ]
    is_counted = np.array(is_possible, dtype=np.bool_) & (runs.flowing_min >= SHORTEST_CHECK_MIN)
    is_counted &= (runs.days <= np.datetime64(today)) & (runs.volume_l > 0.0)
    design_l_per_h = at_meter(block.flow_l_per_h, block)
    rate = learned_rate(
        60.0 * runs.volume_l[is_counted] / (runs.flowing_min[is_counted] * design_l_per_h)
    )
    days = runs.days[is_counted][-rate.run_count :] if rate.run_count else runs.days[:0]
    offered, reason = None, OFFERED
    if not rate.is_enough:
        reason = TOO_FEW
    elif not rate.is_clear:
        reason = WITHIN_SPREAD
    elif flow_report(unit, block.block_id, first_day, today).is_alarm:
        reason = CHANGED_FIRST
    elif rate.rate_ratio * block.flow_l_per_h > max(
        supply_flow_l_per_h(unit, block), block.flow_l_per_h
    ):
        reason = BEYOND_SUPPLY
    else:
        offered = round(rate.rate_ratio * block.emitter_flow_l_per_h, FLOW_DECIMALS)
    return RateOffer(
        block_id=block.block_id,
        rate=rate,
        first_day=days[0].item() if days.size else None,
        last_day=days[-1].item() if days.size else None,
        emitter_flow_l_per_h=block.emitter_flow_l_per_h,
        stated_l_per_h=stated_emitter_flow_l_per_h(block),
        offered_l_per_h=offered,
        reason=reason,
    )


def use_rate(
    unit: UnitOfWork, block_id: str, emitter_flow_l_per_h: float | None, *, replanning: Replanning
) -> tuple[RateOffer, int]:
    """Plan with another emitter flow from today on; returns what is offered then, and new plans.

    ``emitter_flow_l_per_h`` is the flow that was offered, or the one that the farm's file states,
    to go back to it; None for whatever is offered now. A flow that the block has already changes
    nothing. Raises NotFound, and Conflict for any other flow.
    """
    today = today_at_block(unit, block_id, replanning.clock.now())
    block = unit.blocks.get_block(block_id, day=today)
    offer = rate_offer(unit, block, today=today)
    wanted = offer.offered_l_per_h if emitter_flow_l_per_h is None else emitter_flow_l_per_h
    if wanted is not None and _is_same(wanted, block.emitter_flow_l_per_h):
        return offer, 0
    origin = _origin(offer, block, wanted, today=today)
    if origin is None or wanted is None:
        offered = offer.offered_l_per_h
        found = "nothing" if wanted is None else f"{wanted:g} L/h"
        allowed = offer.reason if offered is None else f"{offered:g} L/h"
        raise Conflict(
            f"block {block.block_id}: this emitter flow is not offered",
            [Fault("/emitter_flow_l_per_h", found, allowed)],
        )
    changed = change_number(
        unit,
        block,
        "emitter_flow_l_per_h",
        wanted,
        origin=origin,
        effective_day=today,
        clock=replanning.clock,
    )
    count = replan_after(unit, [block.farm_id], touched_day=None, replanning=replanning)
    return rate_offer(unit, changed, today=today), count


def _origin(
    offer: RateOffer, block: BlockDefinition, wanted_l_per_h: float | None, *, today: date
) -> str | None:
    """Where a flow comes from that may be used; None for one that may not."""
    offered, stated = offer.offered_l_per_h, offer.stated_l_per_h
    if wanted_l_per_h is None:
        return None
    if offered is not None and _is_same(wanted_l_per_h, offered):
        return str(
            MeteredFlow(
                run_count=offer.rate.run_count,
                first_day=offer.first_day or today,
                last_day=offer.last_day or today,
                before_l_per_h=block.emitter_flow_l_per_h,
                since=today,
                stated_l_per_h=stated,
            )
        )
    return GIVEN if _is_same(wanted_l_per_h, stated) else None


def _is_same(one_l_per_h: float, other_l_per_h: float) -> bool:
    return math.isclose(one_l_per_h, other_l_per_h, abs_tol=10.0**-FLOW_DECIMALS)


def _alike_since(versions: Sequence[tuple[date, BlockDefinition]], block: BlockDefinition) -> date:
    """First day from which the block had the emitters that it has now, learned flows aside."""
    since = versions[-1][0]
    for begin, version in reversed(versions):
        if emitters_of(version) != emitters_of(block):
            break
        since = begin
    return since
