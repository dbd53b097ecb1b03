"""Compiled packing of whole blocks: one after another, all pulses of each into what is free.

In: the blocks of one supply and the pulses that each is to run. Out: their starts, or that they do
not fit.
"""

from __future__ import annotations

import numpy as np

from service.agronomy.flow_profile_kernel import add_flow, lay_in_gaps
from service.agronomy.list_schedule_kernel import SharedSupply
from service.agronomy.pulse_kernel import chain_min
from service.agronomy.records import Floats, Ints
from service.kernels import compiled

EXTRA_PULSES = 2  # more and shorter pulses that are tried where a block does not fit
PROMOTIONS = 8  # how often a block that does not fit goes to the front, where hours differ
FEW_PROMOTIONS = 2  # where they do not, or the blocks are many: order then matters little
MANY_BLOCKS = 30


@compiled
def by_tightness(supply: SharedSupply) -> Ints:
    """The blocks that have pulses, those first that fill most of their own hours."""
    order = np.empty_like(supply.members)
    tightness = np.empty(supply.members.shape[0])
    count = 0
    for block_index in supply.members:
        block = supply.days[block_index]
        course = supply.courses[block_index]
        if course.pulse_count == 0:
            continue
        open_min = 0
        for window in range(supply.opens_min.shape[1]):
            open_min += max(
                0, supply.closes_min[block_index, window] - supply.opens_min[block_index, window]
            )
        chain = chain_min(
            course.total_min, course.pulse_count, course.off_ratio, block.valve_gap_min
        )
        key = chain / max(1, open_min)
        place = count
        while place > 0 and (
            tightness[place - 1] < key
            or (
                tightness[place - 1] == key
                and supply.days[order[place - 1]].flow_l_per_h < block.flow_l_per_h
            )
        ):
            order[place] = order[place - 1]
            tightness[place] = tightness[place - 1]
            place -= 1
        order[place] = block_index
        tightness[place] = key
        count += 1
    return order[:count]


@compiled
def pack_whole(supply: SharedSupply, free_l_per_h: Floats, has_equal_windows: bool) -> bool:
    """Whether the blocks fit one after another, each with all its pulses in what is free.

    One that does not fit goes to the front and all begins again ("squeaky wheel optimisation",
    from memory).
    """
    order = by_tightness(supply)
    whole_l_per_h = free_l_per_h.copy()
    is_simple = has_equal_windows or order.shape[0] >= MANY_BLOCKS
    for _ in range(1 + min(order.shape[0], FEW_PROMOTIONS if is_simple else PROMOTIONS)):
        free_l_per_h[:] = whole_l_per_h
        failed = -1
        for place, block_index in enumerate(order):
            block = supply.days[block_index]
            course = supply.courses[block_index]
            own_starts_min = supply.starts_min[
                supply.slot_offset[block_index] : supply.slot_offset[block_index + 1]
            ]
            most = min(course.pulse_count + EXTRA_PULSES, own_starts_min.shape[0])
            most = min(most, block.most_pulse_count)
            is_laid = False
            for pulse_count in range(course.pulse_count, most + 1):
                is_laid = (
                    pulse_count * block.shortest_pulse_min <= course.total_min
                    and lay_in_gaps(
                        block,
                        supply.opens_min[block_index],
                        supply.closes_min[block_index],
                        free_l_per_h,
                        course.total_min,
                        pulse_count,
                        course.off_ratio,
                        own_starts_min,
                    )
                )
                if is_laid:
                    course.pulse_count = pulse_count
                    break
            if not is_laid:
                failed = place
                break
            add_flow(free_l_per_h, block, course, own_starts_min, -1.0)
        if failed < 0:
            return True
        front = order[failed]
        for place in range(failed, 0, -1):
            order[place] = order[place - 1]
        order[0] = front
    return False
