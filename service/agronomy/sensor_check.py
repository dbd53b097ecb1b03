"""Whether a soil sensor still says what the soil is like, and what may be wrong with it.

In: its readings, and what the block's ledger led to expect of each from the readings before. Out:
from which reading on it is in doubt, and the likely cause. The last six readings count together, so
that one odd reading is not a fault. Limits are [CHOICE], set on invented seasons with real weather
so that at most one sound sensor in twenty is doubted in a season.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.agronomy.learned_multipliers import BlockSoil, LearnedPoints
from service.agronomy.learning_likelihood import SoilObservations
from service.agronomy.records import Days, Floats

CHECKED_COUNT = 6  # [CHOICE] readings that are looked at together
LARGEST_MEAN_SQUARE = 3.8  # [CHOICE] of their scores
LARGEST_MEAN_SCORE = 1.9  # [CHOICE] of either sign
STUCK_SHARE = 0.12  # [CHOICE] of the usual range of six readings
USUAL_RANGE = 0.03  # [m³ m⁻³] [CHOICE] where fewer than six readings came before
DRY_MARGIN = 0.04  # [m³ m⁻³] [CHOICE] below wilting point
WETTEST = 0.55  # [m³ m⁻³] [CHOICE] above the pore space of nearly all mineral soils
LARGEST_STEP = 0.15  # [m³ m⁻³] [CHOICE] between two readings without water
LOW_METER_RATIO = 0.75  # [CHOICE] metered over nominal water at which the water is suspected


class SensorState(enum.IntEnum):
    """What is thought of a sensor, as it is stored."""

    SOUND = 0
    STUCK = 1
    """The same value, whatever the water."""
    IN_AIR = 2
    """Drier than any soil: no contact, or out of the ground."""
    BROKEN = 3
    """Wetter than the pores of a soil can hold."""
    JUMPED = 4
    """Off by the same from one reading on: moved, or disturbed."""
    DRIFTING = 5
    """Off by more and more: salts, temperature, battery."""
    NOISY = 6
    """Off to both sides: a loose contact."""


@dataclass(frozen=True, slots=True)
class SensorVerdict:
    """What the check of one sensor found."""

    state: SensorState
    first_reading: int
    """Reading (number in the order of time) with which the doubt was complete; -1: none."""
    mean_score: float
    """Of the last six readings: how far the soil is off, wetter above 0; NaN with fewer."""


@dataclass(frozen=True, slots=True)
class ExpectedReadings:
    """What a block's ledger leads to expect of readings, arrays (readings,)."""

    volumetric_water: Floats
    spread: Floats
    """Standard deviation of a reading about it [m³ m⁻³]."""


def expected_readings(
    points: LearnedPoints, readings: SoilObservations, *, soil: BlockSoil
) -> ExpectedReadings:
    """What readings after those that the points were weighted by should be.

    Shapes: readings (readings,), of the sensors that the points know; result the same.
    Returns: ExpectedReadings [m³ m⁻³].
    Equation: weighted mean of FC - (FC - WP) F + b over the points; variance the weighted one, that
    of the offset, s_o² and tau².
    """
    missing = points.fraction[:, readings.column].astype(np.float64)
    water = soil.field_capacity - soil.water_range * missing
    water += points.agreement.offset_mean[:, readings.sensor] * readings.offset_loading
    mean = points.weight @ water
    variance = points.weight @ (water - mean) ** 2
    variance += readings.noise**2 + readings.model_error**2
    own = np.diag(points.agreement.offset_covariance)[readings.sensor]
    variance += own * readings.offset_loading**2
    return ExpectedReadings(mean, np.sqrt(variance))


def usual_range(volumetric_water: Floats) -> float:
    """How far six readings of a sensor usually lie apart.

    Shapes: (readings,), of the time in which it was sound.
    Returns: median of the ranges of six successive readings [m³ m⁻³]; 0.03 with fewer.
    Source: definition; the default is [CHOICE].
    >>> round(usual_range(np.array([0.20, 0.21, 0.22, 0.21, 0.20, 0.19, 0.20])), 3)
    0.03
    """
    if volumetric_water.size < CHECKED_COUNT:
        return USUAL_RANGE
    windows = np.lib.stride_tricks.sliding_window_view(volumetric_water, CHECKED_COUNT)
    return float(np.median(np.ptp(windows, axis=1)))


def check_sensor(
    volumetric_water: Floats,
    days: Days,
    expected: ExpectedReadings,
    *,
    soil: BlockSoil,
    usual_range: float,
    was_watered: NDArray[np.bool_],
) -> SensorVerdict:
    """Whether the readings of a sensor are still those of the soil.

    Shapes: all (readings,) in order of time, of the time to be checked.
    was_watered: whether rain or irrigation came since the reading before.
    Returns: SensorVerdict of the first doubt.
    Equation: over six readings, mean z² above 3.8 or mean z beyond 1.9, z the distance from what
    was expected over its spread; a range below 0.12 of the usual; a value below WP - 0.04 or above
    0.55, or a step of more than 0.15 without water, at once. [CHOICE]
    """
    score = (volumetric_water - expected.volumetric_water) / expected.spread
    step = np.abs(np.diff(volumetric_water, prepend=volumetric_water[:1]))
    for last in range(volumetric_water.size):
        state = _at_once(volumetric_water[last], step[last], soil, is_wet=bool(was_watered[last]))
        if state is SensorState.SOUND and last + 1 >= CHECKED_COUNT:
            rows = slice(last + 1 - CHECKED_COUNT, last + 1)
            if np.ptp(volumetric_water[rows]) < STUCK_SHARE * usual_range:
                state = SensorState.STUCK
            elif _is_off(score[rows]):
                state = _kind(score[: last + 1], days[: last + 1])
        if state is not SensorState.SOUND:
            return SensorVerdict(state, last, _mean_score(score[: last + 1]))
    return SensorVerdict(SensorState.SOUND, -1, _mean_score(score))


def state_by_value(volumetric_water: float, soil: BlockSoil) -> SensorState:
    """What one reading says of its sensor by itself.

    Shapes: scalar.
    Returns: SensorState, in air below WP - 0.04, broken above 0.55 [m³ m⁻³], else sound.
    Source: [CHOICE].
    >>> state_by_value(0.02, BlockSoil(0.23, 0.11)).name
    'IN_AIR'
    """
    if volumetric_water < soil.wilting_point - DRY_MARGIN:
        return SensorState.IN_AIR
    return SensorState.BROKEN if volumetric_water > WETTEST else SensorState.SOUND


def _at_once(value: float, step: float, soil: BlockSoil, *, is_wet: bool) -> SensorState:
    state = state_by_value(value, soil)
    if state is not SensorState.SOUND:
        return state
    if step > LARGEST_STEP and not is_wet:
        return SensorState.JUMPED
    return SensorState.SOUND


def _is_off(score: Floats) -> bool:
    is_scattered = float(np.mean(score * score)) > LARGEST_MEAN_SQUARE
    return is_scattered or abs(float(np.mean(score))) > LARGEST_MEAN_SCORE


def _mean_score(score: Floats) -> float:
    if score.size < CHECKED_COUNT:
        return float("nan")
    return float(np.mean(score[-CHECKED_COUNT:]))


def _kind(score: Floats, days: Days) -> SensorState:
    """The likeliest of a noise to both sides, a step and a slope, by least squares."""
    recent = score[-CHECKED_COUNT:]
    if abs(float(np.mean(recent))) < 0.5 * float(np.sqrt(np.mean(recent * recent))):
        return SensorState.NOISY
    since = (days - days[0]) / np.timedelta64(1, "D")
    slope = float(score @ since / max(1.0, float(since @ since)))
    sloped = float(np.sum((score - slope * since) ** 2))
    stepped = min(
        float(np.sum(score[:begin] ** 2) + np.sum((score[begin:] - score[begin:].mean()) ** 2))
        for begin in range(score.size)
    )
    return SensorState.DRIFTING if sloped < stepped else SensorState.JUMPED


def is_water_suspected(verdicts: list[SensorVerdict], metered_ratio: float) -> bool:
    """Whether the water is likelier at fault than the sensors of a block.

    Shapes: one verdict for each sensor.
    metered_ratio: metered over nominal water of the last runs; NaN without a meter.
    Returns: True where all of them, and more than none, are drier or all wetter than expected and
    the meter shows less than 0.75 of the water.
    Source: [CHOICE]; sensors fail one by one, a closed valve dries all of them.
    >>> dry = SensorVerdict(SensorState.JUMPED, 5, -2.5)
    >>> is_water_suspected([dry, dry], 0.5), is_water_suspected([dry, dry], 1.0)
    (True, False)
    """
    scores = [verdict.mean_score for verdict in verdicts]
    is_doubted = all(verdict.state is not SensorState.SOUND for verdict in verdicts)
    is_alike = all(score < 0.0 for score in scores) or all(score > 0.0 for score in scores)
    return bool(verdicts) and is_doubted and is_alike and metered_ratio < LOW_METER_RATIO
