"""Days of a site's weather as plans use them."""

from __future__ import annotations

from datetime import timedelta

import pytest

from service.agronomy.county_need import Basis
from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.weather.read_weather import (
    SiteWeatherDays,
    WeatherWish,
    read_weather_days,
)
from tests.api.invented_farm import FARM_ID, PLAN_DAY, TODAY


def read(service: Service, wish: WeatherWish) -> SiteWeatherDays:
    return read_weather_days(
        wish,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )


def test_days_do_not_depend_on_how_many_are_asked_for(own_service: Service) -> None:
    one = read(own_service, WeatherWish("home", FARM_ID, TODAY, TODAY))
    many = read(own_service, WeatherWish("home", FARM_ID))
    for name in ("tmax_c", "ea_kpa", "et0_mm", "climate_term"):
        assert one.weather.value(name, TODAY) == many.weather.value(name, TODAY) is not None
    assert one.rests_on == (Basis.MEASURED,)
    assert many.rests_on[many.weather.row_of(PLAN_DAY)] is Basis.FORECAST


def test_a_site_without_weather_has_days_of_which_nothing_is_known(own_service: Service) -> None:
    found = read(own_service, WeatherWish("hill", None, TODAY, PLAN_DAY))
    assert found.rests_on == (Basis.UNKNOWN, Basis.UNKNOWN)


def test_what_is_not_there_is_refused(own_service: Service) -> None:
    for wish in (WeatherWish("nowhere", None), WeatherWish("home", "nowhere")):
        with pytest.raises(NotFound):
            read(own_service, wish)
    with pytest.raises(InputInvalid, match="cannot be read"):
        read(own_service, WeatherWish("home", None, TODAY, TODAY - timedelta(days=1)))
