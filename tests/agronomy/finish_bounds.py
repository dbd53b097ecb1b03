"""How early a supply could finish its day at best: lower bounds to hold a schedule against."""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np

from service.agronomy.pulse_kernel import BLOCK_DAY, chain_min, lay_pulses
from service.agronomy.pulse_plan import PulseDemand, PulseSchedule
from service.agronomy.records import Floats, Ints
from service.agronomy.window_kernel import window_start


@dataclass(frozen=True, slots=True)
class FinishBounds:
    """How early each supply could be done with its day at best, arrays (supplies,).

    Minutes of a supply without pulses are 0, its first opening is -1.
    """

    first_opening_min: Ints
    """First minute at which any of the supply's planned blocks may run."""
    area_min: Floats
    """Flow times minutes of all blocks over the supply's flow: a length of time."""
    exclusive_min: Ints
    """Minutes of the blocks that take more than half the flow, of which no two run together."""
    longest_block_min: Ints
    """Pulses and off times of the longest single block: a length of time."""
    latest_alone_finish_min: Ints
    """Latest of the minutes at which the blocks would finish if each were alone."""
    finish_min: Ints
    """Minute at which the last planned pulse ends."""

    def earliest_finish_min(self) -> Floats:
        """Minute before which no schedule of the same pulses can end, (supplies,)."""
        start_min = np.maximum(self.first_opening_min, 0)
        length_min = np.maximum(self.area_min, self.exclusive_min)
        length_min = np.maximum(length_min, self.longest_block_min)
        bound_min: Floats = np.maximum(start_min + length_min, self.latest_alone_finish_min)
        return bound_min


def finish_bounds(
    demand: PulseDemand, schedule: PulseSchedule, supply_flow_l_per_h: Floats
) -> FinishBounds:
    """How early each supply could have finished the planned pulses, and when it does finish.

    The largest of sum(flow x minutes) / supply flow, the minutes of blocks that take more than half
    the flow, the longest single block, and the latest of the blocks' earliest finishes alone. Lower
    bounds that follow from the constraints; no published source.
    """
    days = np.empty(demand.need_mm.shape[0], BLOCK_DAY)
    for field in fields(demand):
        if field.name != "windows":
            days[field.name] = getattr(demand, field.name)
    opens_min = np.ascontiguousarray(demand.windows.opens_min)
    closes_min = np.ascontiguousarray(demand.windows.closes_min)
    pulses = schedule.pulses
    supply_count = supply_flow_l_per_h.shape[0]
    bounds = FinishBounds(
        first_opening_min=np.full(supply_count, -1),
        area_min=np.zeros(supply_count),
        exclusive_min=np.zeros(supply_count, np.int64),
        longest_block_min=np.zeros(supply_count, np.int64),
        latest_alone_finish_min=np.zeros(supply_count, np.int64),
        finish_min=np.zeros(supply_count, np.int64),
    )

    def raise_to(of: Ints, supply: int, minute: int) -> None:
        of[supply] = max(of[supply], minute)

    for index, (begin, end) in enumerate(pairwise(pulses.offset.tolist())):
        if begin == end:
            continue
        supply = int(demand.supply_index[index])
        share_of_flow = float(demand.flow_l_per_h[index] / supply_flow_l_per_h[supply])
        duration_min = pulses.duration_min[begin:end]
        total_min, pulse_count = int(duration_min.sum()), end - begin
        off_ratio = float(schedule.used_off_ratio[index])
        bounds.area_min[supply] += total_min * share_of_flow
        if share_of_flow > 0.5:
            bounds.exclusive_min[supply] += total_min
        raise_to(bounds.finish_min, supply, int((pulses.start_min[begin:end] + duration_min).max()))
        chain = chain_min(total_min, pulse_count, off_ratio, int(demand.valve_gap_min[index]))
        raise_to(bounds.longest_block_min, supply, chain)
        _, alone_finish_min, _ = lay_pulses(
            days[index],
            opens_min[index],
            closes_min[index],
            total_min,
            pulse_count,
            off_ratio,
            np.empty(0, np.int64),
        )
        raise_to(bounds.latest_alone_finish_min, supply, alone_finish_min)
        opening_min = window_start(
            opens_min[index],
            closes_min[index],
            int(demand.not_before_min[index]),
            int(duration_min[0]),
            int(demand.start_within_min[index]),
        )
        if not 0 <= bounds.first_opening_min[supply] <= opening_min:
            bounds.first_opening_min[supply] = opening_min
    return bounds
