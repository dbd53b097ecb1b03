"""A long outage: plans go on from what the place itself has known, and say so."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.reasoning import PlanFlag
from service.agronomy.weather_flags import FieldFlag
from service.bootstrap import Service
from service.operations.evening.gather_weather import GatheredWeather, gather_weather
from service.operations.reading.read_plans import get_plan
from tests.api.invented_farm import (
    BLOCK_ID,
    PLAN_DAY,
    RUN_AT,
    TODAY,
    FixedClock,
    plan_evening,
)
from tests.operations.evening.test_earlier_weeks import bring_years

DAYS_DARK = 25
"""Longer than recent days, the days around and the last forecast can bridge."""
LATER = TODAY + timedelta(days=DAYS_DARK)


@pytest.fixture
def dark(own_service: Service) -> Service:
    """A service that has had no weather for so long."""
    clock = own_service.clock
    assert isinstance(clock, FixedClock)
    clock.instant = RUN_AT + timedelta(days=DAYS_DARK)
    return own_service


def gather(service: Service, *, days_back: int = 38) -> GatheredWeather:
    with service.unit_of_work(write=False) as unit:
        key = unit.blocks.get_site_key("home")
        return gather_weather(
            unit,
            unit.blocks.read_site_table(np.array([key], dtype=np.int64)),
            on=LATER,
            now=service.clock.now(),
            first_day=LATER - timedelta(days=days_back),
            last_day=LATER + timedelta(days=7),
            source_order={},
        )


def test_an_evening_in_a_long_outage_has_plans_that_say_what_they_rest_on(dark: Service) -> None:
    assert not plan_evening(dark, on=LATER)
    plan = get_plan(BLOCK_ID, day=LATER + ONE_DAY, unit_of_work=dark.unit_of_work).plan
    assert plan.status != "no-weather"
    assert plan.reasoning.flags & PlanFlag.REFERENCE_ET_FILLED


def test_without_earlier_years_the_last_days_are_scaled_by_the_sun(dark: Service) -> None:
    weather = gather(dark).weather
    assert weather.et0_flags[-1, 0] & FieldFlag.SCALED_BY_SUN
    assert not weather.et0_flags[-1, 0] & FieldFlag.MISSING
    last_known_mm = weather.computed_et0_mm[np.isfinite(weather.computed_et0_mm[:, 0]), 0]
    # August has less sun than July at 36° N, and by less than a fifth.
    assert 0.8 * last_known_mm.mean() < weather.days.et0_mm[-1, 0] < last_known_mm.mean()


def test_earlier_years_of_the_place_go_before_that(dark: Service) -> None:
    tomorrow = -7
    by_sun_mm = gather(dark).weather.days.et0_mm[tomorrow, 0]
    bring_years(dark, [0.0], warmer_c=-9.0, of=LATER + ONE_DAY)
    weather = gather(dark).weather
    assert weather.et0_flags[tomorrow, 0] & FieldFlag.NORMAL_OF_EARLIER_YEARS
    assert weather.days.et0_mm[tomorrow, 0] < by_sun_mm - 0.1


def test_an_outage_longer_than_the_days_at_hand_looks_further_back(dark: Service) -> None:
    weather = gather(dark, days_back=10).weather
    assert not np.isfinite(weather.computed_et0_mm).any()
    assert np.isfinite(weather.days.et0_mm).all()


def test_days_before_a_place_had_any_weather_stay_unknown(dark: Service) -> None:
    weather = gather(dark, days_back=150).weather
    assert np.isnan(weather.days.et0_mm[0, 0])


def test_the_days_of_the_plan_are_those_before_an_outage_too(own_service: Service) -> None:
    assert not plan_evening(own_service)
    plan = get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=own_service.unit_of_work).plan
    assert not plan.reasoning.flags & PlanFlag.REFERENCE_ET_FILLED
