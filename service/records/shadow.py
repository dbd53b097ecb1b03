"""Days of the rule that weighs the forecast, on paper: what it would have given, and what came of
it, beside the evening rule on the same forecasts and weather.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import IntFlag

import numpy as np

from service.agronomy.records import Days, Floats, Ints
from service.agronomy.risk_attitude import COST_RATIOS, RiskAttitude
from service.agronomy.risk_guard import RiskGuard

COURSE_NUMBERS: tuple[str, ...] = ("net_mm", "drainage_mm", "lost_et_mm", "depletion_end_mm")
RULE, WEIGHED = "rule", "weighed"
COURSES: tuple[str, ...] = (RULE, WEIGHED)
"""The evening rule, and ``balanced``; both on paper, so that neither is favored by what was run."""
SHADOW_NUMBERS: tuple[str, ...] = tuple(
    f"{course}_{name}" for course in COURSES for name in COURSE_NUMBERS
)


class ShadowFlag(IntFlag):
    """What is known of a day besides its numbers."""

    RULE_SHORT = 1
    """It ends beyond readily available water under the evening rule."""
    WEIGHED_SHORT = 2
    DORMANT = 4
    """Outside the watering season."""


SHORT_FLAGS: Mapping[str, ShadowFlag] = {
    RULE: ShadowFlag.RULE_SHORT,
    WEIGHED: ShadowFlag.WEIGHED_SHORT,
}
KEPT_DAYS = 400
"""A growing season can be compared with the last one; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShadowRows:
    """Days as rows, one per (block, day), arrays (rows,)."""

    block_keys: Ints
    days: Days
    guards: Ints
    """Codes of :class:`service.agronomy.risk_guard.RiskGuard`."""
    flags: Ints
    """Bits of :class:`ShadowFlag`."""
    numbers: Mapping[str, Floats]
    """One array per name of ``SHADOW_NUMBERS``; of a day that is not over, the net depths alone."""

    def of_block(self, block_key: int) -> ShadowRows:
        """Those of one block."""
        return self._picked(np.flatnonzero(self.block_keys == block_key))

    def since(self, first_day: date) -> ShadowRows:
        """Those from a day on."""
        own = np.flatnonzero(self.days >= np.datetime64(first_day))
        return self._picked(own)

    def _picked(self, own: Ints) -> ShadowRows:
        return ShadowRows(
            block_keys=self.block_keys[own],
            days=self.days[own],
            guards=self.guards[own],
            flags=self.flags[own],
            numbers={name: values[own] for name, values in self.numbers.items()},
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RiskNotice:
    """A grower was told that a block will weigh the forecast."""

    told_on: date
    turns_on: date
    """Local days."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseSums:
    """What a rule came to over some days."""

    net_mm: float
    drainage_mm: float
    lost_et_mm: float
    short_day_count: int
    risk_cost_mm: float
    """Water, drainage and 40 times the lost transpiration, in millimeters of water."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShadowSums:
    """A block's days on paper, summed; days outside its watering season are left out."""

    first_day: date
    last_day: date
    day_count: int
    spread_day_count: int
    """Days on which the forecast had a spread."""
    weighed_day_count: int
    """Days on which no guard kept the evening rule."""
    rule: CourseSums
    weighed: CourseSums


def shadow_sums(rows: ShadowRows) -> ShadowSums | None:
    """The sums of one block's days that are over; None where there is none."""
    over = np.isfinite(rows.numbers[f"{RULE}_depletion_end_mm"])
    over &= np.isfinite(rows.numbers[f"{WEIGHED}_depletion_end_mm"])
    own = np.flatnonzero(over & ((rows.flags & int(ShadowFlag.DORMANT)) == 0))
    if not own.size:
        return None

    _, drainage_cost, stress_cost = COST_RATIOS[RiskAttitude.BALANCED]

    def sums(course: str) -> CourseSums:
        net, drainage, lost = (
            float(rows.numbers[f"{course}_{name}"][own].sum()) for name in COURSE_NUMBERS[:3]
        )
        return CourseSums(
            net_mm=net,
            drainage_mm=drainage,
            lost_et_mm=lost,
            short_day_count=int(np.count_nonzero(rows.flags[own] & int(SHORT_FLAGS[course]))),
            risk_cost_mm=net + drainage_cost * drainage + stress_cost * lost,
        )

    guards = rows.guards[own]
    return ShadowSums(
        first_day=rows.days[own].min().item(),
        last_day=rows.days[own].max().item(),
        day_count=own.size,
        spread_day_count=int(np.count_nonzero(guards != RiskGuard.NO_SPREAD)),
        weighed_day_count=int(np.count_nonzero(guards == RiskGuard.NONE)),
        rule=sums(RULE),
        weighed=sums(WEIGHED),
    )
