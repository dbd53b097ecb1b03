"""Where the safe depth is not the better rule, and what decides there instead.

In: the safe depth of each block, its evening rule and what is known of the last days. Out: the
guard that holds, and the need that goes into the pulses. Hindcasts of ten and more seasons showed
that a system that hardly keeps up, and a store of less than a day, lose more to thirst by waiting
than they save; there the evening rule of trigger and rain room stays.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Floats, Ints, SystemBatch
from service.agronomy.risk_attitude import RiskAttitude
from service.agronomy.safe_depth import FILL_SHARE, SafeDepth
from service.agronomy.watering_rules import WaterNeed

KEEPS_UP_RATIO = 1.3
"""[CHOICE] A day's capacity over a high day's use, from which a system can make good a dry day."""
STORE_DAYS = 1.0
"""[CHOICE] Days of tomorrow's mean use that RAW must hold for the safe depth to be the better."""


class RiskGuard(IntEnum):
    """Why a block follows the evening rule although its grower chose to weigh the risk."""

    NONE = 0
    NO_SPREAD = 1
    """The forecast has no members."""
    SHORTFALL = 2
    """The block ran short in the last two days: no rain is counted on."""
    AGRONOMY = 3
    """The day's water has another task: leaching or an injection."""
    KEEP_UP = 4
    """The system hardly keeps up: rain is counted on as far as nine members in ten bring it."""
    SMALL_STORE = 5
    """The root zone holds less than a day's use."""


def risk_guards(
    depth: SafeDepth,
    *,
    later_day_mm: Floats,
    was_short: NDArray[np.bool_],
    has_other_task: NDArray[np.bool_],
) -> Ints:
    """The guard that holds for each block.

    Shapes: all (blocks,).
    later_day_mm: net depth that a day can add; was_short: the block ran short of readily available
    water in the last two days; has_other_task: the day's water must also leach or inject.
    Returns: :class:`RiskGuard`; the first of its list that applies.
    Equation: keep up: X < 1.3 x the use that one member day in ten passes; small store:
    RAW < 1.0 x tomorrow's mean use. Both factors are [CHOICE], set by hindcasts.
    """
    holds = {
        RiskGuard.NO_SPREAD: ~depth.has_members,
        RiskGuard.SHORTFALL: was_short,
        RiskGuard.AGRONOMY: has_other_task,
        RiskGuard.KEEP_UP: later_day_mm < KEEPS_UP_RATIO * depth.highest_crop_et_mm,
        RiskGuard.SMALL_STORE: depth.raw_mm < STORE_DAYS * depth.mean_crop_et_mm,
    }
    guard: Ints = np.select(list(holds.values()), [int(each) for each in holds], RiskGuard.NONE)
    return guard.astype(np.int64)


def guarded_credit_mm(classic_mm: Floats, depth: SafeDepth, guard: Ints) -> Floats:
    """Rain that the evening rule counts on under a guard.

    Shapes: all (blocks,).
    classic_mm: what it counts on without one.
    Returns: depth [mm]: none after a shortfall, what nine members in ten bring where the system
    hardly keeps up, else the rule's own.
    Source: [CHOICE], set by hindcasts.
    """
    credit_mm = np.where(guard == RiskGuard.SHORTFALL, 0.0 * classic_mm, classic_mm)
    return np.where(guard == RiskGuard.KEEP_UP, depth.dry_credit_mm, credit_mm)


def is_weighed(attitude: Ints, guard: Ints) -> NDArray[np.bool_]:
    """Blocks that the safe depth decides.

    Shapes: (blocks,).
    Returns: true where the grower chose to weigh the risk and no guard holds.
    >>> is_weighed(np.array([0, 2, 2]), np.array([0, 0, 4])).tolist()
    [False, True, False]
    """
    decides: NDArray[np.bool_] = (attitude != RiskAttitude.CLASSIC) & (guard == RiskGuard.NONE)
    return decides


@dataclass(frozen=True, slots=True)
class WeighedRisk:
    """What a forecast with a spread changes in the plans of blocks, arrays (blocks,)."""

    attitude: Ints
    """:class:`RiskAttitude`"""
    guard: Ints
    """:class:`RiskGuard`"""
    depth: SafeDepth
    smallest_mm: Floats
    """Net depth of the shortest pulse; a need that is there is never less."""

    @property
    def is_weighed(self) -> NDArray[np.bool_]:
        """(blocks,) the safe depth decides."""
        return is_weighed(self.attitude, self.guard)

    def rule_credit_mm(self, rule_mm: Floats) -> Floats:
        """(blocks,) rain that the evening rule counts on, given what it counts on by itself."""
        guarded_mm = guarded_credit_mm(rule_mm, self.depth, self.guard)
        return np.where(self.attitude == RiskAttitude.CLASSIC, rule_mm, guarded_mm)

    def credit_mm(self, rule_mm: Floats) -> Floats:
        """(blocks,) rain that the plan counts on, given what the rule does."""
        return np.where(self.is_weighed, self.depth.rain_credit_mm, rule_mm)

    def need(self, rule: WaterNeed) -> WaterNeed:
        """The need that goes into the pulses: the safe depth where it decides, else the rule's.

        The room at midnight and the depletion without water are those of the members, and what must
        be given is urgent.
        """
        depth, weighed = self.depth, self.is_weighed
        need_mm = np.where(
            depth.need_mm > 0.0, np.maximum(depth.need_mm, self.smallest_mm), depth.need_mm
        )
        return replace(
            rule,
            depletion_after_rain_mm=np.where(
                weighed, depth.wet_depletion_mm, rule.depletion_after_rain_mm
            ),
            planned_depletion_mm=np.where(
                weighed, depth.planned_depletion_mm, rule.planned_depletion_mm
            ),
            # A later day may call for water although tomorrow's depletion does not.
            trigger_mm=np.where(
                weighed,
                np.where(
                    depth.must_mm > 0.0,
                    np.minimum(depth.raw_mm, depth.planned_depletion_mm),
                    depth.raw_mm,
                ),
                rule.trigger_mm,
            ),
            need_mm=np.where(weighed, need_mm, rule.need_mm),
            urgent_need_mm=np.where(weighed, depth.must_mm, rule.urgent_need_mm),
        )

    def rules_ahead(self, system: SystemBatch) -> SystemBatch:
        """Trigger and rain room that come to the same in weather without a spread.

        What passes RAW is given, and half of what fits besides: from a depletion of RAW on, down to
        midway between RAW and the rain room.
        """
        midway = 1.0 - FILL_SHARE * (1.0 - system.rain_room_fraction)
        weighed = self.is_weighed
        return replace(
            system,
            trigger_fraction=np.where(weighed, 1.0, system.trigger_fraction),
            rain_room_fraction=np.where(weighed, midway, system.rain_room_fraction),
        )

    def of_blocks(self, rows: Ints) -> WeighedRisk:
        """The same of some blocks (row numbers)."""
        depth = {part.name: getattr(self.depth, part.name)[..., rows] for part in fields(SafeDepth)}
        return WeighedRisk(
            attitude=self.attitude[rows],
            guard=self.guard[rows],
            depth=SafeDepth(**depth),
            smallest_mm=self.smallest_mm[rows],
        )
