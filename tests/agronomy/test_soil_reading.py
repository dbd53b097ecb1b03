"""Soil readings: the retention curve, the depletion behind a reading, and how far it counts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.soil_reading import (
    correction_mm,
    reading_depletion_mm,
    reading_weight,
    water_at_tension,
)

WATER = st.floats(0.01, 0.6)
DEPTH = st.floats(0.0, 200.0)


@pytest.mark.parametrize(
    ("tension_kpa", "expected"),
    [(0.0, 0.30), (10.0, 0.30), (33.0, 0.30), (1500.0, 0.14)],
)
def test_the_curve_meets_field_capacity_and_wilting_point(
    tension_kpa: float, expected: float
) -> None:
    # Saxton & Rawls 2006, Eq. 11 with A and B of Eq. 14 and 15 (from memory): theta is the water at
    # 33 kPa at 33 kPa, and that at 1500 kPa at 1500 kPa; wetter than that does not show.
    assert float(water_at_tension(tension_kpa, 0.30, 0.14)) == pytest.approx(expected)


def test_a_tension_between_the_two_by_hand() -> None:
    # B = ln(1500/33)/ln(0.28/0.14) = 5.5064; theta = 0.28 (33/200)^(1/5.5064) = 0.20186.
    assert float(water_at_tension(200.0, 0.28, 0.14)) == pytest.approx(0.20186, abs=5e-5)


@given(st.floats(33.0, 1500.0), st.floats(33.0, 1500.0))
def test_drier_soil_holds_less(first_kpa: float, second_kpa: float) -> None:
    low, high = sorted((first_kpa, second_kpa))
    assert water_at_tension(high, 0.3, 0.1) <= water_at_tension(low, 0.3, 0.1) + 1e-12


@given(WATER)
def test_the_depletion_of_a_reading_lies_within_the_zone(water: float) -> None:
    depletion = float(reading_depletion_mm(water, 0.3, 0.1, taw_mm=40.0))
    assert 0.0 <= depletion <= 40.0
    if 0.1 <= water <= 0.3:
        assert depletion == pytest.approx(40.0 * (0.3 - water) / 0.2)


@pytest.mark.parametrize(
    ("top_m", "bottom_m", "weight"),
    [(0.0, 0.5, 0.8), (0.0, 2.0, 0.8), (0.1, 0.2, 0.16), (0.4, 0.6, 0.16), (0.5, 0.7, 0.0)],
)
def test_a_reading_counts_by_the_share_of_the_roots_that_it_covers(
    top_m: float, bottom_m: float, weight: float
) -> None:
    assert float(reading_weight(top_m, bottom_m, 0.5)) == pytest.approx(weight)


@given(DEPTH, DEPTH, DEPTH, st.floats(0.0, 0.8))
def test_the_corrected_depletion_stays_within_the_zone(
    end_mm: float, compared_mm: float, read_mm: float, weight: float
) -> None:
    taw_mm = 200.0
    change = float(
        correction_mm(
            end_mm,
            compared_mm=compared_mm,
            depletion_reading_mm=read_mm,
            weight_fraction=weight,
            taw_mm=taw_mm,
        )
    )
    assert -1e-9 <= end_mm + change <= taw_mm + 1e-9
    if compared_mm == end_mm:
        assert end_mm + change == pytest.approx((1 - weight) * end_mm + weight * read_mm)


def test_what_is_not_known_stays_unknown() -> None:
    assert np.isnan(water_at_tension(np.nan, 0.3, 0.1))
    assert np.isnan(reading_depletion_mm(0.2, np.nan, 0.1, taw_mm=40.0))
