"""An emitter flow that was learned from the meter, as the origin of that number says it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from typing import Self

from service.records.farms import BlockDefinition

METERED_FLOW_ORIGIN = "by the meter:"
"""How the origin of such a flow begins."""
_READ = re.compile(
    rf"{METERED_FLOW_ORIGIN} median of (\d+) runs, (\S+) to (\S+); (\S+) L/h before (\S+); stated"
    r" (\S+) L/h"
)


@dataclass(frozen=True, slots=True)
class MeteredFlow:
    """Where an emitter flow comes from that was learned from the meter."""

    run_count: int
    first_day: date
    last_day: date
    before_l_per_h: float
    """The flow that it replaced."""
    since: date
    stated_l_per_h: float
    """The flow that the farm's own file states."""

    def __str__(self) -> str:
        """The origin as it is stored."""
        return (
            f"{METERED_FLOW_ORIGIN} median of {self.run_count} runs, {self.first_day} to"
            f" {self.last_day}; {self.before_l_per_h!r} L/h before {self.since}; stated"
            f" {self.stated_l_per_h!r} L/h"
        )

    @classmethod
    def read(cls, origin: str) -> Self | None:
        """The same from a stored origin; None for any other."""
        match = _READ.fullmatch(origin)
        if match is None:
            return None
        count, first, last, before, since, stated = match.groups()
        return cls(
            run_count=int(count),
            first_day=date.fromisoformat(first),
            last_day=date.fromisoformat(last),
            before_l_per_h=float(before),
            since=date.fromisoformat(since),
            stated_l_per_h=float(stated),
        )


def metered_flow(block: BlockDefinition) -> MeteredFlow | None:
    """How a block's emitter flow was learned from the meter; None where it is stated."""
    return MeteredFlow.read(block.origins.get("emitter_flow_l_per_h", ""))


def stated_emitter_flow_l_per_h(block: BlockDefinition) -> float:
    """Flow of one emitter as stated, at the pressure it is made for."""
    learned = metered_flow(block)
    return block.emitter_flow_l_per_h if learned is None else learned.stated_l_per_h
