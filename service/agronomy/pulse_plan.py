"""From a need to pulses that never drain: what a block's day asks for and what comes out of it.

In: for one civil day the depletion at midnight, the day's crop ET, the net need and the rules of
each block's system (:class:`PulseDemand`). Out: pulses with a start and a length in whole minutes
(:class:`PulseSchedule`), placed by :func:`service.agronomy.supply.schedule_supplies`.

A pulse may start only if the room in the managed zone takes its whole net depth,
``room(t) = depletion at midnight + Ks ETc F(t) - net applied since midnight``, where F(t) is the
share of the day's ET that has passed and Ks is the stress coefficient at sunrise after the pulses
that start before it. Stress coefficient: Allen et al. 1998, FAO-56, Eq. 84. The course of ET over
the day, the order of the fallbacks and the limits are modelling choices of this project.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Floats, Ints, PulseBatch, WindowBatch


@dataclass(frozen=True, slots=True)
class PulseDemand:
    """What each block asks of one civil day, and the rules its pulses keep; arrays (blocks,).

    A block with a number that is not known (NaN) gets no pulses, and NaN depths in the schedule.
    """

    depletion_start_mm: Floats
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
    not_before_min: Ints
    """First minute at which a pulse may start; 0 for a whole day ahead."""
    applied_early_net_mm: Floats
    """Net depth already given that day by pulses that started before sunrise."""
    applied_day_net_mm: Floats
    """Net depth already given that day by pulses that started later."""
    windows: WindowBatch


class ShortfallCause(enum.IntEnum):
    """What cut a block's minutes most."""

    NONE = 0
    SOIL_STORE = 1
    WINDOWS = 2
    SUPPLY = 3
    DAILY_MAXIMUM = 4
    MINIMUM_PULSE = 5
    OUTAGE = 6


CAUSE_TEXT: dict[ShortfallCause, str] = {
    ShortfallCause.NONE: "nothing was cut",
    ShortfallCause.SOIL_STORE: "the root zone cannot take up more that day without draining",
    ShortfallCause.WINDOWS: "the allowed hours are too short",
    ShortfallCause.SUPPLY: "the water supply does not give more flow",
    ShortfallCause.DAILY_MAXIMUM: "the daily maximum of the block is reached",
    ShortfallCause.MINIMUM_PULSE: "what is left is less than the shortest useful pulse",
    ShortfallCause.OUTAGE: "a period without water takes part of the day",
}


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
    """Whole minutes that the need asks for, before anything cuts them."""
    used_off_ratio: Floats
    urgent_share: Floats
    """Common share of the urgent need on the block's supply."""
    rest_share: Floats
    """Common share of the rest of the need on the block's supply."""
    alone_share: Floats
    """Share of its need that the block could have if it were alone on its supply."""
    cause: Ints
    """A :class:`ShortfallCause` for each block."""
    event_peak_mm: Floats
    """Most that the day's pulses hold in the soil above what ET has taken since the first."""
    passes_event_limit: NDArray[np.bool_]


def et_share_by_minute(minute: Floats, *, sunrise_min: Floats, sunset_min: Floats) -> Floats:
    """Share of the day's crop ET that has passed by a minute of the day, F(t).

    Shapes: all arguments broadcast together; the result has their common shape.
    minute: minutes elapsed since local midnight.
    sunrise_min, sunset_min: of the same day, on the same clock [min]; where the sun does not set
    after it rises, the whole share passes at sunrise.
    Returns: share, 0 before sunrise and 1 after sunset; NaN wherever an input is NaN.
    Equation: (1 - cos(pi (t - sunrise) / daylength)) / 2. A modelling choice of this project; no
    published source.
    >>> noon = et_share_by_minute(np.float64(720), sunrise_min=np.float64(360),
    ...                           sunset_min=np.float64(1080))
    >>> float(np.round(noon, 12))
    0.5
    """
    day_length_min = sunset_min - sunrise_min
    has_day = day_length_min > 0
    passed = np.clip((minute - sunrise_min) / np.where(has_day, day_length_min, 1.0), 0.0, 1.0)
    share = np.where(has_day, (1.0 - np.cos(np.pi * passed)) / 2.0, minute >= sunrise_min)
    unknown = np.isnan(minute) | np.isnan(day_length_min)
    result: Floats = np.where(unknown, np.nan, share)
    return result
