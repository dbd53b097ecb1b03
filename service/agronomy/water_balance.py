"""One civil day of the root zone, and the loop over days.

In: depletion at the start of a day, what the zone can hold, the rain that enters, the crop's
water use and the net irrigation before and after sunrise. Out: a ledger in which every
millimetre is booked, in block millimetres. The order of the steps is part of the definition:
rain, irrigation before sunrise, stress, then irrigation of the day together with the crop's use.
FAO-56 (Allen et al. 1998) chapter 8, Eq. 84 to 86, in the order of its Example 38.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Floats, Ints

SMALLEST_SPAN_MM = 1e-300  # only prevents division by zero for a zone that holds no water


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
    """Ks, 1 without stress."""
    actual_crop_et_mm: Floats
    taw_mm: Floats
    raw_mm: Floats
    depletion_end_mm: Floats
    has_afternoon_stress: NDArray[np.bool_]
    """The day ends below its readily available water; False where that is not known."""


_FOUND = (
    "depletion_start_mm",
    "resize_mm",
    "rain_drainage_mm",
    "irrigation_drainage_mm",
    "stress_ratio",
    "actual_crop_et_mm",
    "depletion_end_mm",
)
"""Fields of a ledger that the step works out; the others, except the flag, are inputs."""


def step_day(
    depletion_start_mm: Floats,
    *,
    taw_mm: Floats,
    raw_mm: Floats,
    rain_entering_mm: Floats,
    crop_et_mm: Floats,
    early_net_mm: Floats,
    day_net_mm: Floats,
) -> DayLedger:
    """Ledger of one civil day of every block.

    Shapes: all (blocks,).
    taw_mm, raw_mm: what the zone holds and gives that day [mm], 0 <= raw <= taw.
    crop_et_mm: Kc ET0; early_net_mm, day_net_mm: net irrigation before sunrise and after.
    Returns: the ledger; a block with a NaN input has a NaN end, other blocks are not touched.
    Equation: D = D + ETc_adj - rain - irrigation + drainage, 0 <= D <= TAW, with ETc_adj = min(Ks
    ETc, TAW - D + day irrigation), Ks = min(1, (TAW - D) / (TAW - RAW)). FAO-56 Eq. 81-86.
    >>> one = np.array([1.0])
    >>> ledger = step_day(30.0 * one, taw_mm=50.0 * one, raw_mm=20.0 * one,
    ...     rain_entering_mm=5.0 * one, crop_et_mm=6.0 * one, early_net_mm=0.0 * one,
    ...     day_net_mm=2.0 * one)
    >>> float(ledger.actual_crop_et_mm[0]), float(ledger.depletion_end_mm[0])
    (5.0, 28.0)
    """
    depletion = np.minimum(depletion_start_mm, taw_mm)
    resize_mm = depletion - depletion_start_mm

    after_rain = depletion - rain_entering_mm
    rain_drainage_mm = np.maximum(0.0, -after_rain)

    after_early = np.maximum(0.0, after_rain) - early_net_mm
    early_drainage_mm = np.maximum(0.0, -after_early)
    depletion = np.maximum(0.0, after_early)

    reserve_mm = taw_mm - depletion
    # At or above RAW the quotient is 1 or more. A zone that holds nothing has no span to divide by.
    span_mm = np.maximum(taw_mm - raw_mm, SMALLEST_SPAN_MM)
    stress_ratio = np.minimum(1.0, reserve_mm / span_mm)

    actual_mm = np.minimum(stress_ratio * crop_et_mm, reserve_mm + day_net_mm)
    after_day = depletion + actual_mm - day_net_mm
    # The bound by TAW holds already, except for rounding in the last bit.
    depletion_end_mm = np.minimum(np.maximum(0.0, after_day), taw_mm)
    return DayLedger(
        depletion_start_mm=depletion_start_mm,
        resize_mm=resize_mm,
        rain_entering_mm=rain_entering_mm,
        rain_drainage_mm=rain_drainage_mm,
        early_net_mm=early_net_mm,
        day_net_mm=day_net_mm,
        irrigation_drainage_mm=early_drainage_mm + np.maximum(0.0, -after_day),
        crop_et_mm=crop_et_mm,
        stress_ratio=stress_ratio,
        actual_crop_et_mm=actual_mm,
        taw_mm=taw_mm,
        raw_mm=raw_mm,
        depletion_end_mm=depletion_end_mm,
        has_afternoon_stress=depletion_end_mm > raw_mm,
    )


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
) -> DayLedger:
    """Ledger of every block over a run of days.

    Shapes: depletion_start_mm and first_day_index (blocks,); the rest (days, blocks).
    first_day_index: row of the day a block joins on; it keeps its depletion until then.
    taw_mm, raw_mm: what the zone holds and gives [mm]; crop_et_mm: Kc ET0.
    Returns: the ledger (days, blocks); rows before a block's first day are NaN (False where the
    field is a yes or no). A NaN input makes the rest of that block NaN.
    Equation: ``step_day``, each day starting where the one before ended.
    >>> day = np.full((2, 1), 4.0)
    >>> ledger = step_days(np.array([1.0]), first_day_index=np.array([0]), taw_mm=10.0 * day,
    ...     raw_mm=5.0 * day, rain_entering_mm=0.0 * day, crop_et_mm=day, early_net_mm=0.0 * day,
    ...     day_net_mm=0.0 * day)
    >>> ledger.depletion_end_mm[:, 0].tolist()
    [5.0, 9.0]
    """
    shape = rain_entering_mm.shape
    is_running = first_day_index <= np.arange(shape[0])[:, np.newaxis]
    given = {
        "taw_mm": taw_mm,
        "raw_mm": raw_mm,
        "rain_entering_mm": rain_entering_mm,
        "crop_et_mm": crop_et_mm,
        "early_net_mm": early_net_mm,
        "day_net_mm": day_net_mm,
    }
    found = {name: np.empty(shape) for name in _FOUND}
    depletion_mm = depletion_start_mm
    for day in range(shape[0]):
        ledger = step_day(depletion_mm, **{name: term[day] for name, term in given.items()})
        for name, rows in found.items():
            rows[day] = getattr(ledger, name)
        depletion_mm = np.where(is_running[day], ledger.depletion_end_mm, depletion_mm)
    book = given | found
    if not is_running.all():
        book = {name: np.where(is_running, term, np.nan) for name, term in book.items()}
    return DayLedger(**book, has_afternoon_stress=book["depletion_end_mm"] > book["raw_mm"])
