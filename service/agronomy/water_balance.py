"""One civil day of the root zone, and the loop over days.

In: depletion at the start of a day, what the zone can hold, the rain that enters, the crop's
water use and the net irrigation before and after sunrise. Out: a ledger in which every
millimetre is booked, in block millimetres. The order of the steps is part of the definition:
rain, irrigation before sunrise, then the crop's use and the pulses of the day in order of time.
FAO-56 (Allen et al. 1998) chapter 8, Eq. 84 to 88, in the order of its Example 38; the stress of
Eq. 84 follows the depletion through the day, where the book holds that of the morning. Water of the
day above field capacity is there for the day's use and drains after it.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Floats, Ints, PulseBatch

if TYPE_CHECKING:
    from service.agronomy.balance_kernel import DayBookings, DayTerms


@dataclass(frozen=True, slots=True)
class DayLedger:
    """What happened in the root zone, arrays (blocks,) for a day or (days, blocks) for many."""

    depletion_start_mm: Floats
    resize_mm: Floats
    """Change of depletion because the zone became smaller than what was missing from it, <= 0."""
    rain_entering_mm: Floats
    rain_drainage_mm: Floats
    early_net_mm: Floats
    """Net irrigation of the pulses that start before sunrise."""
    day_net_mm: Floats
    """Net irrigation of all other pulses of the day."""
    irrigation_drainage_mm: Floats
    crop_et_mm: Floats
    """Kc ET0, what the crop would use without stress."""
    stress_ratio: Floats
    """Mean Ks of the day, actual over unstressed ET; 1 without stress."""
    actual_crop_et_mm: Floats
    taw_mm: Floats
    raw_mm: Floats
    depletion_end_mm: Floats
    has_afternoon_stress: NDArray[np.bool_]
    """The day ends below its readily available water; False where that is not known."""

    @property
    def drainage_mm(self) -> Floats:
        """What leaves the zone below, of rain and of irrigation."""
        return self.rain_drainage_mm + self.irrigation_drainage_mm


@dataclass(frozen=True, slots=True)
class PulseTimes:
    """When the water of each day and block ran that did not start before sunrise.

    The net depth of the day is shared among its pulses by their length, and that of a pulse counts
    from its start [CHOICE], as in the room for it.
    """

    offset: Ints
    """(days x blocks + 1,) bounds of the pulses of each day and block, day by day."""
    start_min: Floats
    """(pulses,) minutes elapsed since local midnight."""
    duration_min: Floats
    sunrise_min: Floats
    """(days, blocks), or (blocks,) for one day."""
    sunset_min: Floats

    @classmethod
    def of_day(cls, pulses: PulseBatch, *, sunrise_min: Floats, sunset_min: Floats) -> PulseTimes:
        """Those of one day's pulses, which have their sun as arrays (blocks,)."""
        is_day = pulses.start_min >= np.repeat(sunrise_min, pulses.count())
        before = np.concatenate(([0], np.cumsum(is_day)))
        return cls(
            offset=before[pulses.offset],
            start_min=pulses.start_min[is_day].astype(np.float64),
            duration_min=pulses.duration_min[is_day].astype(np.float64),
            sunrise_min=sunrise_min,
            sunset_min=sunset_min,
        )


def step_day(
    depletion_start_mm: Floats,
    *,
    taw_mm: Floats,
    raw_mm: Floats,
    rain_entering_mm: Floats,
    crop_et_mm: Floats,
    early_net_mm: Floats,
    day_net_mm: Floats,
    times: PulseTimes | None = None,
) -> DayLedger:
    """Ledger of one civil day of every block.

    Shapes: all (blocks,); the names are those of :func:`step_days`.
    Returns: the ledger of the day, as the first row of :func:`step_days`.
    Equation: see there.
    >>> one = np.array([1.0])
    >>> ledger = step_day(30.0 * one, taw_mm=50.0 * one, raw_mm=20.0 * one,
    ...     rain_entering_mm=5.0 * one, crop_et_mm=6.0 * one, early_net_mm=0.0 * one,
    ...     day_net_mm=0.0 * one)
    >>> round(float(ledger.actual_crop_et_mm[0]), 4)  # 25 (1 - exp(-6 / 30))
    4.5317
    """
    ledger = step_days(
        depletion_start_mm,
        first_day_index=np.zeros(depletion_start_mm.shape, dtype=np.int64),
        taw_mm=taw_mm[np.newaxis],
        raw_mm=raw_mm[np.newaxis],
        rain_entering_mm=rain_entering_mm[np.newaxis],
        crop_et_mm=crop_et_mm[np.newaxis],
        early_net_mm=early_net_mm[np.newaxis],
        day_net_mm=day_net_mm[np.newaxis],
        times=times,
    )
    return DayLedger(**{field.name: getattr(ledger, field.name)[0] for field in fields(DayLedger)})


def step_days(
    depletion_start_mm: Floats,
    *,
    first_day_index: Ints,
    taw_mm: Floats,
    raw_mm: Floats,
    rain_entering_mm: Floats,
    crop_et_mm: Floats,
    early_net_mm: Floats,
    day_net_mm: Floats,
    times: PulseTimes | None = None,
) -> DayLedger:
    """Ledger of every block over a run of days.

    Shapes: depletion_start_mm and first_day_index (blocks,); the terms (days, blocks).
    first_day_index: row of the day a block joins on; it keeps its depletion until then.
    taw_mm, raw_mm: what the zone holds and gives that day [mm], 0 <= raw <= taw.
    crop_et_mm: Kc ET0; early_net_mm, day_net_mm: net irrigation before sunrise and after.
    times: when that of the day was given; evenly over the day's ET where None or none is listed.
    Returns: the ledger (days, blocks); rows before a block's first day are NaN (False where the
    field is a yes or no). A NaN input makes the rest of that block NaN.
    Equation: D = D + ETc_adj - rain - irrigation + drainage, 0 <= D <= TAW, each day starting where
    the one before ended; dD = Ks dE with Ks = min(1, (TAW - D) / (TAW - RAW)) of the moment, E the
    unstressed ET of the day by its half sine. FAO-56 Eq. 81-88. What is above field capacity at
    the end of the day drains.
    >>> day = np.full((2, 1), 4.0)
    >>> ledger = step_days(np.array([1.0]), first_day_index=np.array([0]), taw_mm=2.5 * day,
    ...     raw_mm=1.25 * day, rain_entering_mm=0.0 * day, crop_et_mm=day,
    ...     early_net_mm=0.0 * day, day_net_mm=0.0 * day)
    >>> ledger.depletion_end_mm[:, 0].round(4).tolist()  # 10 - 5 exp(-4 / 5)
    [5.0, 7.7534]
    """
    from service.agronomy.balance_kernel import DayBookings, DayTerms, book_days, pulse_shares

    shape = taw_mm.shape
    terms = (taw_mm, raw_mm, rain_entering_mm, crop_et_mm, early_net_mm, day_net_mm)
    # For the compiler a read-only array is of another type: it would compile the kernel once more.
    given = DayTerms(*(np.require(term, requirements=("C", "W")) for term in terms))
    found = DayBookings(*np.full((len(DayBookings._fields), *shape), np.nan))
    offset, shares, durations_min = np.zeros(taw_mm.size + 1, np.int64), np.empty(0), np.empty(0)
    if times is not None:
        offset, durations_min = times.offset, times.duration_min
        sun = (times.sunrise_min.ravel(), times.sunset_min.ravel())
        shares = pulse_shares(offset, times.start_min, *sun)
    start_mm = np.require(depletion_start_mm, requirements=("C", "W"))
    book_days(start_mm, first_day_index, given, offset, shares, durations_min, found)
    return _ledger(given, found, first_day_index <= np.arange(shape[0])[:, np.newaxis])


def with_use_elsewhere(
    ledger: DayLedger, *, crop_et_mm: Floats, elsewhere_et_mm: Floats
) -> DayLedger:
    """The ledger of a zone with the crop's whole use, where part of it came from other soil.

    Shapes: ledger, crop_et_mm and elsewhere_et_mm alike.
    crop_et_mm: Kc ET0; elsewhere_et_mm: the part of it that the zone was not asked for.
    Returns: DayLedger whose water use and stress are the crop's; depletion stays the zone's, so
    that D_end = D_start + use - use elsewhere - rain - irrigation + drainage.
    Equation: sums; Ks = actual over unstressed use.
    """
    if not np.any(elsewhere_et_mm > 0.0):
        return ledger
    actual_mm = ledger.actual_crop_et_mm + elsewhere_et_mm
    is_shared = elsewhere_et_mm > 0.0
    ratio = np.divide(actual_mm, crop_et_mm, out=ledger.stress_ratio.copy(), where=is_shared)
    return replace(
        ledger,
        crop_et_mm=np.where(np.isnan(ledger.crop_et_mm), np.nan, crop_et_mm),
        stress_ratio=ratio,
        actual_crop_et_mm=actual_mm,
    )


def _ledger(given: DayTerms, found: DayBookings, is_running: NDArray[np.bool_]) -> DayLedger:
    """The ledger of the days on which a block is kept, NaN before."""
    book = given._asdict() | found._asdict()
    if not is_running.all():
        book = {name: np.where(is_running, term, np.nan) for name, term in book.items()}
    return DayLedger(**book, has_afternoon_stress=book["depletion_end_mm"] > book["raw_mm"])
