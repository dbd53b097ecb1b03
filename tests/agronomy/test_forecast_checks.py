"""Units that change in an archive of forecasts are found, and weather is not taken for them."""

from __future__ import annotations

import numpy as np
import pytest

from service.agronomy.forecast_checks import UnitBreak, find_unit_break, missing_days
from service.agronomy.records import Floats

COUNT = 60
DAYS = np.datetime64("2026-06-01", "D") + np.arange(COUNT)
WARM = 28.0 + 4.0 * np.sin(np.arange(COUNT))
WET = np.where(np.arange(COUNT) % 4 == 0, 8.0, 0.0)


def found(
    issued_tmax_c: Floats = WARM, issued_rain_mm: Floats = WET, *, start: int = 0
) -> UnitBreak | None:
    return find_unit_break(
        DAYS[start:], issued_tmax_c[start:], WARM[start:], issued_rain_mm[start:], WET[start:]
    )


def errors(scale: float) -> Floats:
    return np.asarray(scale * np.random.default_rng(1).normal(size=COUNT))


def test_ordinary_errors_are_no_other_unit() -> None:
    assert found(WARM + errors(4.0), np.maximum(0.0, WET + errors(4.0))) is None


def test_a_place_always_warmer_than_its_model_is_no_other_unit() -> None:
    assert found(WARM - 6.0, WET * 3.0) is None


def test_one_heat_wave_that_was_missed_is_no_other_unit() -> None:
    missed = np.where((DAYS[20] < DAYS) & (DAYS[24] > DAYS), WARM - 14.0, WARM)
    assert found(missed) is None


@pytest.mark.parametrize("begins", [0, 25, 55])
def test_fahrenheit_in_the_place_of_celsius_is_found_on_its_first_day(begins: int) -> None:
    row = np.arange(COUNT)
    broken = found(np.where(row >= begins, WARM * 1.8 + 32.0, WARM))
    assert broken == UnitBreak("temperature", DAYS[begins])


@pytest.mark.parametrize("begins", [0, 24])
@pytest.mark.parametrize("factor", [25.4, 1.0 / 25.4])
def test_inches_for_millimetres_or_the_other_way_are_found_in_the_rain(
    begins: int, factor: float
) -> None:
    row = np.arange(COUNT)
    broken = found(issued_rain_mm=np.where(row >= begins, WET * factor, WET))
    assert broken is not None and broken.quantity == "rain"
    assert abs(int((broken.day - DAYS[begins]).astype(int))) <= 4


def test_rain_that_is_never_forecast_or_hardly_fell_says_nothing_of_units() -> None:
    assert found(issued_rain_mm=np.zeros(COUNT)) is None
    assert found(issued_rain_mm=WET * 25.4, start=COUNT - 8) is None


def test_pairs_that_are_not_known_are_left_out() -> None:
    gappy = np.where(np.arange(COUNT) % 3 == 0, np.nan, WARM * 1.8 + 32.0)
    broken = found(gappy, np.full(COUNT, np.nan))
    assert broken == UnitBreak("temperature", DAYS[1])
    assert found(np.full(COUNT, np.nan), np.full(COUNT, np.nan)) is None


def test_the_days_of_a_gap_are_named() -> None:
    kept = np.delete(DAYS, [3, 4, 9])
    assert missing_days(kept, DAYS[0], DAYS[-1]).tolist() == DAYS[[3, 4, 9]].tolist()
    assert missing_days(DAYS, DAYS[0], DAYS[-1]).size == 0
