"""Members made from a chance of rain and an amount."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import gammaincinv  # type: ignore[import-untyped]  # comes with pyet

from service.agronomy.rain_members import (
    PlainForecast,
    members_of_forecast,
    rain_chance,
    unit_rain,
)
from service.agronomy.weather_members import MemberOrigin

DAYS = np.arange("2026-07-01", "2026-07-08", dtype="datetime64[D]")


def forecast(chance: float, amount_mm: float, site_count: int = 1) -> PlainForecast:
    shape = (site_count, DAYS.size)
    return PlainForecast(
        days=DAYS,
        rain_mm=np.full(shape, amount_mm),
        rain_probability_fraction=np.full(shape, chance),
        is_expected_amount=np.zeros(shape, dtype=np.bool_),
        et0_mm=np.full(shape, 5.0),
        seeds=np.arange(site_count),
    )


@pytest.mark.parametrize("chance_pct", [1, 10, 37, 50, 90, 100])
def test_amounts_are_the_quantiles_of_the_gamma_distribution(chance_pct: int) -> None:
    """Held against scipy's inverse of the incomplete gamma function."""
    chance, shape = chance_pct / 100, 0.55 + 0.7 * chance_pct / 100
    share = (np.arange(31) + 0.5) / 31
    wet = share > 1 - chance
    expected = np.zeros(31)
    expected[wet] = gammaincinv(shape, (share[wet] - (1 - chance)) / chance) / shape
    assert unit_rain(chance_pct, 31) == pytest.approx(expected, rel=1e-9, abs=1e-12)


def test_the_share_of_wet_members_is_the_chance_of_rain() -> None:
    for chance in (0.0, 0.1, 0.3, 0.5, 0.8, 1.0):
        members = members_of_forecast(forecast(chance, 4.0))
        share = (members.rain_mm[0] > 0.0).mean(axis=0)
        assert np.abs(share - chance).max() <= 0.5 / 31 + 1e-9


def test_the_same_forecast_gives_the_same_members_and_each_site_another_order() -> None:
    once, again = (members_of_forecast(forecast(0.6, 4.0, 2)) for _ in range(2))
    assert np.array_equal(once.rain_mm, again.rain_mm)
    assert np.array_equal(once.et0_mm, again.et0_mm)
    assert not np.array_equal(once.rain_mm[0], once.rain_mm[1])
    assert np.array_equal(np.sort(once.rain_mm[0], axis=0), np.sort(once.rain_mm[1], axis=0))


def test_a_site_has_its_own_members_whoever_else_is_asked_about() -> None:
    many = members_of_forecast(forecast(0.6, 4.0, 5))
    alone = forecast(0.6, 4.0)
    assert np.array_equal(
        members_of_forecast(replace(alone, seeds=np.array([3]))).rain_mm[0], many.rain_mm[3]
    )


def test_reference_et_spreads_with_the_lead_about_its_forecast() -> None:
    members = members_of_forecast(forecast(0.3, 4.0))
    spread = np.log(members.et0_mm[0]).std(axis=0)
    assert (np.diff(spread) > 0.0).all()
    assert spread[0] == pytest.approx(0.10, abs=0.01)
    assert members.et0_mm[0].mean(axis=0) == pytest.approx(5.0, rel=0.01)


def test_an_expected_amount_is_divided_by_its_chance() -> None:
    """Offices that give chance times amount: 2 mm at 40 % is rain of 5 mm, two days in five."""
    plain = forecast(0.4, 2.0)
    expected = replace(plain, is_expected_amount=np.ones((1, DAYS.size), dtype=np.bool_))
    mean_mm = members_of_forecast(expected).rain_mm[0].mean(axis=0)
    assert mean_mm == pytest.approx(2.0, rel=0.12)
    assert members_of_forecast(plain).rain_mm[0].mean(axis=0) == pytest.approx(0.8, rel=0.12)


def test_a_high_chance_with_no_amount_is_rain_all_the_same() -> None:
    """Chance and amount come from different runs: 80 % with 0 mm is common."""
    rain_mm = members_of_forecast(forecast(0.8, 0.0)).rain_mm[0]
    assert (rain_mm > 0.0).mean() == pytest.approx(0.8, abs=0.02)
    assert rain_mm.max() > 3.0


def test_an_amount_without_a_chance_stands_for_one_that_fades_with_the_lead() -> None:
    chance = rain_chance(np.array([[0.0, 0.0, 0.0], [9.0, 9.0, np.nan]]), np.full((2, 3), np.nan))
    assert chance[0].tolist() == pytest.approx([0.10, 0.12, 0.14])
    assert chance[1, :2].tolist() == pytest.approx([0.85, 0.795])
    assert np.isnan(chance[1, 2])


def test_a_site_without_a_forecast_of_every_needed_day_has_no_members() -> None:
    gap = forecast(0.5, 4.0, 3)
    gap.rain_mm[0, 2] = np.nan
    gap.et0_mm[1, 6] = np.nan
    members = members_of_forecast(gap)
    assert members.origin.tolist() == [
        MemberOrigin.NONE,
        MemberOrigin.PROBABILITY,
        MemberOrigin.PROBABILITY,
    ]
    assert members.count().tolist() == [0, 31, 31]
    assert np.isnan(members.rain_mm[0]).all()
    assert np.isfinite(members.rain_mm[1, :, :6]).all()
    assert np.isnan(members.rain_mm[1, :, 6]).all()
