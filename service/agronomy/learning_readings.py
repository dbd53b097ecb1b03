"""Soil readings of a season as what they say of the zone, each with what it can be off by.

In: stored readings, water contents or tensions, with the layer that each covers. Out: the
observations that points of a block's multipliers are weighted by. A sensor that covers little of
the roots says less of the zone. Noise of a reading 0.015 m³/m³, of a sensor's offset 0.020 (factory
calibrations of capacitance probes keep ±0.03); ln psi of a tension 0.25 and its offset 0.15.
[CHOICE]
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.agronomy.learned_multipliers import BlockSoil
from service.agronomy.learning_likelihood import (
    ASSUMED_RUN_DAYS,
    ASSUMED_RUN_FACTOR,
    MODEL_ERROR,
    SoilObservations,
)
from service.agronomy.records import Floats, Ints
from service.agronomy.soil_reading import (
    FIELD_CAPACITY_TENSION_KPA,
    LARGEST_WEIGHT_FRACTION,
    WILTING_POINT_TENSION_KPA,
    water_at_tension,
)

READING_NOISE = 0.015  # [m³ m⁻³]
OFFSET_SPREAD = 0.020  # [m³ m⁻³]
LOG_TENSION_NOISE = 0.25  # [-] of ln psi
LOG_TENSION_OFFSET = 0.15  # [-] of ln psi
TENSION_RANGE_KPA = (10.0, 200.0)  # granular matrix sensors; tensiometers end at 85
WET_FRACTION = 0.1  # [CHOICE] missing share below which a zone passes for full
SOAKING_MM = 5.0  # [CHOICE] of rain and irrigation in two days, after which a zone still drains


@dataclass(frozen=True, slots=True)
class SeasonReadings:
    """Readings of one block, arrays (readings,) in order of time."""

    column: Ints
    """Midnight with which it is compared: the day's start before noon, else its end."""
    volumetric_water: Floats
    tension_kpa: Floats
    """NaN for a water content."""
    weight_fraction: Floats
    """Of the root depth that its layer covers, at most 0.8."""
    sensor: Ints


def soil_observations(
    readings: SeasonReadings,
    *,
    soil: BlockSoil,
    entered_mm: Floats,
    is_assumed: NDArray[np.bool_],
) -> SoilObservations:
    """What readings say of the zone.

    Shapes: readings (readings,); entered_mm and is_assumed (days,).
    entered_mm: rain and net irrigation of each day; is_assumed: whether its runs are only planned
    ones that nobody reported.
    Returns: SoilObservations. Content above field capacity within two days of more than 5 mm, and
    tension under 10 kPa, only say that the zone is full; above 200 kPa, that it is drier than that.
    Equation: theta by :func:`service.agronomy.soil_reading.water_at_tension`; sd of theta = theta /
    B times that of ln psi, B = ln(1500 / 33) / ln(FC / WP); noise over the root of the share of the
    roots that is covered; the lasting error 1.5 times for 3 days after assumed runs. [CHOICE]
    """
    is_tension = np.isfinite(readings.tension_kpa)
    exponent = np.log(WILTING_POINT_TENSION_KPA / FIELD_CAPACITY_TENSION_KPA)
    exponent /= np.log(soil.field_capacity / soil.wilting_point)
    least_kpa, most_kpa = TENSION_RANGE_KPA
    fc, wp = soil.field_capacity, soil.wilting_point
    driest = float(water_at_tension(most_kpa, fc, wp))
    with np.errstate(invalid="ignore"):
        is_dry = readings.tension_kpa > most_kpa
        is_full = readings.tension_kpa < least_kpa
    recent_mm = entered_mm + np.concatenate(([0.0], entered_mm[:-1]))
    day = np.maximum(readings.column - 1, 0)
    is_full |= ~is_tension & (readings.volumetric_water > fc) & (recent_mm[day] > SOAKING_MM)
    water = np.where(is_full, fc - WET_FRACTION * soil.water_range, readings.volumetric_water)
    water = np.where(is_dry, driest, water)
    slope = water / exponent
    covered = np.clip(readings.weight_fraction / LARGEST_WEIGHT_FRACTION, 0.05, 1.0)
    noise = np.where(is_tension, LOG_TENSION_NOISE * slope, READING_NOISE) / np.sqrt(covered)
    after_assumed = is_assumed.copy()
    for later in range(1, ASSUMED_RUN_DAYS + 1):
        after_assumed[later:] |= is_assumed[:-later]
    sensor_count = int(readings.sensor.max(initial=-1)) + 1
    by_tension = np.zeros(sensor_count, dtype=np.bool_)
    by_tension[readings.sensor] = is_tension
    return SoilObservations(
        column=readings.column,
        volumetric_water=water,
        noise=noise,
        model_error=MODEL_ERROR * np.where(after_assumed[day], ASSUMED_RUN_FACTOR, 1.0),
        bound=np.select([is_full, is_dry], [1, 2], default=0).astype(np.int64),
        sensor=readings.sensor,
        offset_loading=np.where(is_tension, slope, 1.0),
        offset_spread=np.where(by_tension, LOG_TENSION_OFFSET, OFFSET_SPREAD),
    )
