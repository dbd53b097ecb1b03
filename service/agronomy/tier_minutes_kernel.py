"""Compiled minutes of a block as a share of its urgent need and of the rest, and back.

In: a block and its minutes, or a share. Out: the share, or minutes that whole pulses make up.
"""

from __future__ import annotations

from service.agronomy.list_schedule_kernel import BlockCourse
from service.agronomy.pulse_kernel import BlockDay, divisible_minutes, whole_minutes
from service.kernels import compiled


@compiled
def share_of(block: BlockDay, total_min: int) -> float:
    """Share of the urgent need that minutes meet, or 1 and the share of the other need."""
    depth_mm = total_min * block.net_rate_mm_per_min
    if depth_mm < block.urgent_need_mm:
        return depth_mm / block.urgent_need_mm
    other_mm = block.need_mm - block.urgent_need_mm
    if other_mm <= 0.0:
        return 2.0
    return 1.0 + min(1.0, (depth_mm - block.urgent_need_mm) / other_mm)


@compiled
def minutes_of(block: BlockDay, share: float) -> int:
    """Whole minutes for which ``share_of`` is the share, or just less."""
    depth_mm = min(1.0, share) * block.urgent_need_mm
    depth_mm += max(0.0, share - 1.0) * (block.need_mm - block.urgent_need_mm)
    return whole_minutes(depth_mm, block.net_rate_mm_per_min)


@compiled
def whole_need_min(block: BlockDay, share: float) -> float:
    """Minutes of the whole of that need of which a share is a part."""
    depth_mm = block.urgent_need_mm if share < 1.0 else block.need_mm - block.urgent_need_mm
    return depth_mm / block.net_rate_mm_per_min


@compiled
def next_total(block: BlockDay, course: BlockCourse, wanted_min: int) -> int:
    """The least minutes, not below some, that make whole pulses, or the block's own cap."""
    total_min = max(wanted_min, block.shortest_pulse_min)
    if divisible_minutes(total_min, block.shortest_pulse_min, block.longest_pulse_min) < total_min:
        total_min = -(-total_min // block.longest_pulse_min) * block.shortest_pulse_min
    return int(min(total_min, course.alone_min))
