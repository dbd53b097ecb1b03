"""Sites with the weather that is stored for them: of one farm, or of the region."""

from __future__ import annotations

from datetime import timedelta

from service.bootstrap import Service
from service.operations.weather.read_sites import WeatherSpan, list_sites
from tests.api.invented_farm import FARM_ID, FIRST_DAY, PLAN_DAY, TODAY


def test_a_farm_has_the_sites_it_uses_with_each_kind_of_weather(own_service: Service) -> None:
    (home,) = list_sites(FARM_ID, unit_of_work=own_service.unit_of_work, clock=own_service.clock)
    assert home.site.site_id == "home"
    assert home.spans == (
        WeatherSpan("forecast", PLAN_DAY, TODAY + timedelta(days=7)),
        WeatherSpan("observed", FIRST_DAY, TODAY),
    )
    assert home.freshness.last_measured_day == TODAY
    assert home.freshness.forecast_until_day == TODAY + timedelta(days=7)


def test_a_farm_that_is_still_to_come_has_no_sites(own_service: Service) -> None:
    found = list_sites(
        "coming-farm", unit_of_work=own_service.unit_of_work, clock=own_service.clock
    )
    assert found == []


def test_the_region_has_all_by_id_also_without_weather(own_service: Service) -> None:
    found = list_sites(None, unit_of_work=own_service.unit_of_work, clock=own_service.clock)
    assert [each.site.site_id for each in found] == ["hill", "home"]
    assert found[0].spans == ()
