"""A farm's day in the order in which people need it: states of blocks, the most urgent first."""

from __future__ import annotations

import enum
from collections.abc import Sequence

from service.agronomy import pulse_plan
from service.records.letters import BlockLine


class BlockState(enum.StrEnum):
    """What a block's day is about, in the order of urgency."""

    UNKNOWN = "unknown"
    """There is no plan."""
    SHORT = "short"
    """It gets less than it needs."""
    WATER = "water"
    """It runs as it needs."""
    PAUSED = "paused"
    """Somebody said: no water until then."""
    REST = "rest"
    """The soil holds enough, or the block is dormant."""


_ORDER = {state: place for place, state in enumerate(BlockState)}


def state_of(line: BlockLine) -> BlockState:
    """The state of a block on the day of its letter."""
    if line.status == "no-weather":
        return BlockState.UNKNOWN
    if line.pause is not None and not line.pulses:
        return BlockState.PAUSED
    if not line.is_dormant and waiting_mm(line) > 0.0:
        return BlockState.SHORT
    return BlockState.WATER if line.pulses else BlockState.REST


def waiting_mm(line: BlockLine) -> float:
    """Depth that the block needs and does not get that day; 0 where it is not worth a word."""
    return pulse_plan.waiting_mm(line.shortfall_mm, line.deferred_mm, line.cause, line.numbers)


def dryness(line: BlockLine) -> float | None:
    """Share of the readily available water that is missing by the evening; None: not known."""
    missing, most = line.numbers.get("planned_depletion_mm"), line.numbers.get("raw_mm")
    return None if missing is None or not most else max(missing, 0.0) / most


def most_urgent_first(lines: Sequence[BlockLine]) -> list[BlockLine]:
    """Blocks by state, within one the driest first."""
    return sorted(
        lines, key=lambda line: (_ORDER[state_of(line)], -(dryness(line) or 0.0), line.name)
    )
