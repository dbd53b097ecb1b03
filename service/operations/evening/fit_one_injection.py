"""One ordered injection in the pulses of its block: as they are, lengthened, or joined.

In: the day as it is planned for all blocks, and the order. Out: when the injector runs and in which
pulses, or why the injection does not fit. Nothing here opens a valve.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from service.agronomy.injection_room import PlannedDay, other_flow_l_per_h, pulse_fault
from service.agronomy.records import Floats
from service.errors import Fault, InputInvalid
from service.operations.reading.block_pipes import travel_times_min
from service.pulses import Pulse
from service.records.farms import BlockDefinition
from service.records.waterworks import FertigationOrder
from service.waterworks.caution import Advisory
from service.waterworks.fertigation import (
    AllowsPulse,
    Fertigation,
    InjectionPlan,
    Injector,
    plan_fertigation,
)
from service.waterworks.fertiliser import StockSolution, stock_solution


def fit_injection(
    day: PlannedDay,
    row: int,
    order: FertigationOrder,
    *,
    block: BlockDefinition,
    may_change: bool = True,
) -> tuple[Fertigation, StockSolution]:
    """One order in the pulses of its block; raises InputInvalid for impossible numbers.

    A changed pulse may be as long as the grower allows, but wets no deeper than the roots reach.
    """
    stock = stock_solution(order.product_kg, order.stock_l, order.temperature_c)
    fill_min, travel_min = times_min(order, block)
    room = _Room(
        day=day,
        row=row,
        order=order,
        stock=stock,
        fill_min=fill_min,
        travel_min=travel_min,
        pulses=day.plan.schedule.pulses.of_block(row),
        flow_l_per_h=other_flow_l_per_h(day, row),
        longest_pulse_min=longest_run_min(day, row),
    )
    found = room.fit(room.pulses, room.allows if may_change else _never, order.largest_added_min)
    if (not found.plan.is_possible or found.plan.added_min) and may_change:
        found = _joined(room) or found
    return _checked(room, found), stock


@dataclass(frozen=True, slots=True, kw_only=True)
class _Room:
    """What an injection must fit into: the block's pulses, and all that limits changing them."""

    day: PlannedDay
    row: int
    order: FertigationOrder
    stock: StockSolution
    fill_min: float
    travel_min: float
    pulses: tuple[Pulse, ...]
    flow_l_per_h: Floats
    """(minutes,) taken by the other blocks of the supply."""
    longest_pulse_min: float

    def fault(self, pulses: Sequence[Pulse]) -> str | None:
        """Why the block cannot run these pulses; None if it can."""
        return pulse_fault(self.day, self.row, pulses, self.flow_l_per_h)

    def allows(self, start_min: int, duration_min: int) -> bool:
        """Whether this joined or lengthened pulse is allowed."""
        return self.fault(_changed(self.pulses, start_min, duration_min)) is None

    def fit(
        self, pulses: Sequence[Pulse], allows_pulse: AllowsPulse, largest_added_min: int
    ) -> Fertigation:
        """The injection in these pulses, or in changed ones where that is allowed."""
        order = self.order
        return plan_fertigation(
            pulses,
            self.stock,
            order.stock_l,
            injector=Injector(order.injector_lowest_l_per_h, order.injector_highest_l_per_h),
            flow_l_per_h=float(self.day.blocks.system.flow_l_per_h[self.row]),
            fill_min=self.fill_min,
            travel_min=self.travel_min,
            longest_pulse_min=self.longest_pulse_min,
            largest_added_min=largest_added_min,
            allows_pulse=allows_pulse,
            water_ec_ds_m=order.water_ec_ds_m,
            is_ammonium_preferred=order.is_ammonium_preferred,
        )


def _joined(room: _Room) -> Fertigation | None:
    """The injection in pulses joined at the time of the last one; None if that does not help.

    By then the soil has had time to make room.
    """
    for joined_count, arranged in _joined_late(room.pulses, room.longest_pulse_min):
        if room.fault(arranged) is not None:
            continue
        late = room.fit(arranged, _never, 0)
        if late.plan.is_possible:
            return _with_advisory(late, joined_count, len(room.pulses), len(arranged))
    return None


def _checked(room: _Room, found: Fertigation) -> Fertigation:
    """The injection as found, or refused if the day does not allow all its pulses together."""
    if not found.plan.is_possible or found.plan.pulses == room.pulses:
        return found
    fault = room.fault(found.plan.pulses)
    if fault is None:
        return found
    refused = InjectionPlan(
        is_possible=False,
        pulses=room.pulses,
        spans=(),
        merged_count=0,
        added_min=0,
        advisories=(Advisory("day-does-not-allow", f"It does not fit: {fault}."),),
        cautions=found.plan.cautions,
    )
    return Fertigation(refused, None)


def longest_run_min(day: PlannedDay, row: int) -> float:
    """The longest run: as long as the grower allows, but wetting no deeper than the roots reach."""
    rate = float(day.plan.net_rate_mm_per_min[row])
    to_roots_min = float(day.plan.limits.event_limit_mm[row]) / rate if rate > 0.0 else math.inf
    return max(
        float(day.plan.limits.longest_pulse_min[row]),
        math.floor(min(float(day.blocks.system.grower_longest_pulse_min[row]), to_roots_min)),
    )


def _never(_start_min: int, _duration_min: int) -> bool:
    return False


def _joined_late(pulses: Sequence[Pulse], longest_min: float) -> Iterator[tuple[int, list[Pulse]]]:
    """The day with neighbouring pulses joined at the time of the last one; the fewest first."""
    for count in range(2, len(pulses) + 1):
        for first in range(len(pulses) - count, -1, -1):
            last = first + count - 1
            water = sum(pulse.duration_min for pulse in pulses[first : last + 1])
            start = pulses[last].start_min
            if last + 1 < len(pulses):
                start = min(start, pulses[last + 1].start_min - water)
            if water <= longest_min and start >= pulses[first].start_min:
                yield count, [*pulses[:first], Pulse(start, water), *pulses[last + 1 :]]


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


def _changed(pulses: Sequence[Pulse], start_min: int, duration_min: int) -> list[Pulse]:
    """The day with one pulse joined from its neighbours, or lengthened."""
    first = next(place for place, pulse in enumerate(pulses) if pulse.start_min == start_min)
    water = 0
    last = first
    for place in range(first, len(pulses)):
        water += pulses[place].duration_min
        if water == duration_min:
            last = place
            break
        if pulses[place].start_min < start_min + duration_min:
            last = place
    return [*pulses[:first], Pulse(start_min, duration_min), *pulses[last + 1 :]]


def times_min(order: FertigationOrder, block: BlockDefinition) -> tuple[float, float]:
    """Fill and travel time, as ordered, or else from the block's pipes."""
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
