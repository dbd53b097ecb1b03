"""From a need to pulses that never drain: what a block asks for on a day and what it gets.

In: for one civil day the depletion at midnight, the day's crop ET, the net need and the rules of
each block's system (:class:`PulseDemand`). Out: pulses with a start and a length in whole minutes
(:class:`PulseSchedule`), placed by :func:`service.agronomy.supply.schedule_supplies`.

A pulse may start only if the room in the managed zone takes its whole net depth,
``room(t) = depletion at midnight + ET until t - net applied since midnight``. Until t the crop
takes ETc F(t), F the share of the day's ET that has passed, and less of it while the depletion of
the moment is beyond RAW; a pulse counts whole from its start. Stress coefficient: Allen et al.
1998, FAO-56, Eq. 84. The course of ET over the day, the order of the fallbacks and the limits are
modelling choices of this project.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Floats, Ints, PulseBatch, SystemBatch, WindowBatch
from service.unit_sizes import MINUTES_PER_DAY


@dataclass(frozen=True, slots=True)
class PulseDemand:
    """What each block needs on one civil day, and the rules for its pulses; arrays (blocks,).

    A block with a number that is not known (NaN) gets no pulses, and NaN depths in the schedule.
    """

    depletion_after_rain_mm: Floats
    """Depletion at midnight less the rain credited to the day."""
    crop_et_mm: Floats
    """Kc ET0 of the day, without stress."""
    taw_mm: Floats
    raw_mm: Floats
    need_mm: Floats
    """Net depth asked for; 0 where none."""
    urgent_need_mm: Floats
    """The part without which the block would end the day beyond RAW; at most the need."""
    sunrise_min: Floats
    """Minutes elapsed since local midnight."""
    sunset_min: Floats
    net_rate_mm_per_min: Floats
    """Net depth that reaches the managed zone per minute of running."""
    shortest_pulse_min: Ints
    longest_pulse_min: Ints
    daily_maximum_min: Ints
    off_ratio: Floats
    valve_gap_min: Ints
    """The block's flow stays taken this long after each pulse."""
    flow_l_per_h: Floats
    event_limit_mm: Floats
    """Net depth that one event may hold in the soil before a warning is due."""
    supply_index: Ints
    """Row of the block's supply in the supply arrays."""
    most_pulse_count: Ints
    """The daily maximum is no more than so many pulses of the longest length."""
    not_before_min: Ints
    """First minute at which a pulse may start; 0 for a whole day ahead."""
    applied_early_net_mm: Floats
    """Net depth already given that day by pulses that started before sunrise."""
    applied_day_net_mm: Floats
    """Net depth already given that day by pulses that started later."""
    start_within_min: Ints
    """A pulse starts no later than so long after its window opens; ``ANY_START_MIN``: at any
    minute."""
    priority: Ints
    """Rank on a short supply: the smallest number first, equal numbers in equal shares."""
    windows: WindowBatch


ANY_START_MIN = 2 * MINUTES_PER_DAY
"""[min] Longer than any window: no limit to where in it a pulse starts."""


class ShortfallCause(enum.IntEnum):
    """What reduced a block's minutes most."""

    NONE = 0
    SOIL_STORE = 1
    WINDOWS = 2
    SUPPLY = 3
    DAILY_MAXIMUM = 4
    MINIMUM_PULSE = 5
    OUTAGE = 6
    FREEZE_HOLD = 7
    """Hours expected near freezing are closed."""
    DORMANT = 8
    """The day is outside the watering season of the block."""
    TIMER = 9
    """What a timer runs is what somebody has set on it."""
    PULSE_COUNT = 10
    VISITS = 11
    """A valve turned by hand is opened only while somebody is there."""


CAUSE_TEXT: dict[ShortfallCause, str] = {
    ShortfallCause.NONE: "nothing was cut",
    ShortfallCause.SOIL_STORE: "the root zone cannot take up more that day without draining",
    ShortfallCause.WINDOWS: "the allowed hours are too short",
    ShortfallCause.SUPPLY: "the supply has no more flow to give in the allowed hours",
    ShortfallCause.DAILY_MAXIMUM: "the daily maximum of the block is reached",
    ShortfallCause.MINIMUM_PULSE: "what is left is less than the shortest useful pulse",
    ShortfallCause.TIMER: "the timer runs only what somebody has set on it",
    ShortfallCause.OUTAGE: "a no-water period takes part of the day",
    ShortfallCause.FREEZE_HOLD: "no water is given in hours expected near freezing",
    ShortfallCause.DORMANT: "the block is dormant, outside its watering season",
    ShortfallCause.PULSE_COUNT: "the block may have no more pulses that day",
    ShortfallCause.VISITS: "the valve is opened by hand, and nobody is there at other hours",
}


NEWS_SHARE = 0.1
"""[CHOICE] Share of the need from which water that has to wait is worth a sentence."""
NEWS_DEPTH_MM = 0.5
"""[CHOICE] Depth from which it is; less is the remainder of whole minutes."""


def is_news(depth_mm: float, numbers: Mapping[str, float | None]) -> bool:
    """Whether water that is left out is news to a grower, not the remainder of whole minutes.

    Shapes: one plan, with its need and the block's limits of news. Without a need the depth alone
    decides; a limit that is not there is the default.
    Returns: true from the block's share of the need and its depth on.
    Source: both limits are choices of this service.
    >>> [is_news(depth_mm, {"need_mm": need_mm}) for depth_mm, need_mm in ((0.3, 2.0), (0.7, 12.0))]
    [False, False]
    >>> is_news(0.7, {"need_mm": 6.0}), is_news(0.7, {}), is_news(0.7, {"news_depth_mm": 1.0})
    (True, True, False)
    """
    share, depth = numbers.get("news_fraction"), numbers.get("news_depth_mm")
    need_mm = numbers.get("need_mm") or 0.0
    return depth_mm >= max(
        NEWS_DEPTH_MM if depth is None else depth,
        (NEWS_SHARE if share is None else share) * need_mm,
    )


HARMLESS_CAUSES = frozenset(
    {
        ShortfallCause.NONE,
        ShortfallCause.SOIL_STORE,
        ShortfallCause.MINIMUM_PULSE,
        ShortfallCause.DORMANT,
    }
)
"""Causes for which water that waits is no loss: the zone is full, or the rest is too little."""


def waiting_mm(
    shortfall_mm: float,
    deferred_mm: float,
    cause: int,
    numbers: Mapping[str, float | None],
) -> float:
    """Depth that a block needs and does not get that day; 0 where it is not worth a word.

    Shapes: one plan; cause is one of ShortfallCause, numbers as for :func:`is_news`.
    Returns: depth of the block [mm].
    Source: a rule of this service.
    >>> [waiting_mm(0.0, 2.0, cause, {}) for cause in (ShortfallCause.SUPPLY, ShortfallCause.NONE)]
    [2.0, 0.0]
    """
    if is_news(shortfall_mm, numbers):
        return shortfall_mm
    if cause not in HARMLESS_CAUSES and is_news(deferred_mm, numbers):
        return deferred_mm
    return 0.0


@dataclass(frozen=True, slots=True)
class PulseSchedule:
    """The pulses of one civil day and what they amount to; arrays (blocks,)."""

    pulses: PulseBatch
    planned_min: Ints
    planned_net_mm: Floats
    early_net_mm: Floats
    """Planned net depth of the pulses that start before sunrise."""
    day_net_mm: Floats
    """Planned net depth of all other pulses."""
    wanted_min: Ints
    """Whole minutes that the need requires, before any limit reduces them."""
    used_off_ratio: Floats
    urgent_share: Floats
    """Share of its urgent need that the supply let the block have; 1 where it did not limit it."""
    rest_share: Floats
    """The same of the rest of its need."""
    alone_share: Floats
    """Share of its need that the block could have if it were alone on its supply."""
    cause: Ints
    """A :class:`ShortfallCause` for each block."""
    event_peak_mm: Floats
    """Most that the day's pulses hold in the soil above what ET has taken since the first."""
    passes_event_limit: NDArray[np.bool_]

    def limited_in_pulses(self, demand: PulseDemand, system: SystemBatch) -> PulseSchedule:
        """The same with what limits the pulses named as cause: their number, or visits."""
        is_limited = demand.daily_maximum_min < np.floor(system.daily_maximum_min)
        is_counted = is_limited & (self.cause == ShortfallCause.DAILY_MAXIMUM)
        is_by_hand = demand.start_within_min < ANY_START_MIN
        cause = np.where(is_counted, ShortfallCause.PULSE_COUNT, self.cause)
        is_closed = is_by_hand & (cause == ShortfallCause.WINDOWS)
        return replace(self, cause=np.where(is_closed, ShortfallCause.VISITS, cause))
