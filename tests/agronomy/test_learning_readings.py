"""What single readings say of the zone: values, bounds and how far they can be off."""

from __future__ import annotations

import numpy as np
import pytest

from service.agronomy.learned_multipliers import BlockSoil
from service.agronomy.learning_likelihood import MODEL_ERROR, SoilObservations
from service.agronomy.learning_readings import SeasonReadings, soil_observations

SOIL = BlockSoil(0.23, 0.11)


def observe(
    water: list[float],
    tension: list[float],
    *,
    entered_mm: float = 0.0,
    weight: float = 0.8,
    assumed: tuple[int, ...] = (),
) -> SoilObservations:
    count = len(water)
    is_assumed = np.zeros(20, dtype=np.bool_)
    is_assumed[list(assumed)] = True
    readings = SeasonReadings(
        column=np.arange(1, count + 1),
        volumetric_water=np.array(water),
        tension_kpa=np.array(tension),
        weight_fraction=np.full(count, weight),
        sensor=np.zeros(count, dtype=np.int64),
    )
    return soil_observations(
        readings, soil=SOIL, entered_mm=np.full(20, entered_mm), is_assumed=is_assumed
    )


def test_a_water_content_is_a_value_with_the_noise_of_a_probe() -> None:
    found = observe([0.20], [np.nan])
    assert (found.bound[0], found.volumetric_water[0]) == (0, 0.20)
    assert found.noise[0] == pytest.approx(0.015)
    assert found.offset_spread.tolist() == [0.020]


def test_a_layer_over_a_quarter_of_the_roots_has_twice_the_noise() -> None:
    assert observe([0.20], [np.nan], weight=0.2).noise[0] == pytest.approx(0.030)


def test_a_tension_has_the_noise_of_its_curve() -> None:
    # B = ln(1500 / 33) / ln(0.23 / 0.11) = 5.17; at 100 kPa theta is 0.1856.
    found = observe([0.1856], [100.0])
    assert found.bound[0] == 0
    assert found.noise[0] == pytest.approx(0.25 * 0.1856 / 5.17, rel=0.01)
    assert found.offset_spread.tolist() == [0.15]


def test_readings_beyond_what_a_sensor_can_tell_are_bounds() -> None:
    assert observe([0.23], [5.0]).bound[0] == 1
    assert observe([0.12], [400.0]).bound[0] == 2


def test_water_above_field_capacity_is_a_bound_only_after_a_soaking() -> None:
    assert observe([0.26], [np.nan], entered_mm=6.0).bound[0] == 1
    assert observe([0.26], [np.nan], entered_mm=1.0).bound[0] == 0


def test_three_days_after_runs_that_nobody_reported_the_ledger_is_less_sure() -> None:
    found = observe([0.2] * 6, [np.nan] * 6, assumed=(1,))
    assert found.model_error / MODEL_ERROR == pytest.approx([1.0, 1.5, 1.5, 1.5, 1.5, 1.0])
