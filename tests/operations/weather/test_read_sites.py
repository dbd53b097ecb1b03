"""Sites with the weather that is stored for them: of one farm, or of the region."""

from __future__ import annotations

from datetime import timedelta

from service.bootstrap import Service
from service.operations.weather.read_sites import (
    WeatherSpan,
    list_counties,
    list_sites,
    list_sites_of_one_farm,
)
from tests.api.invented_farm import FARM_ID, FIRST_DAY, PLAN_DAY, TODAY, load


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


COUNTIES = """
[[site]]
id = "home"
latitude = 35.91
longitude = -79.22
elevation = "510 ft"
zone = "America/New_York"
[[county]]
code = "X02"
name = "Birch (invented)"
site = "home"

[[county]]
code = "X01"
name = "Alder (invented)"
site = "home"
"""


def test_counties_are_listed_by_name_with_their_site(own_service: Service) -> None:
    assert list_counties(unit_of_work=own_service.unit_of_work) == ()
    load(own_service, COUNTIES)
    found = list_counties(unit_of_work=own_service.unit_of_work)
    assert [(each.name, each.county_code, each.site.site_id) for each in found] == [
        ("Alder (invented)", "X01", "home"),
        ("Birch (invented)", "X02", "home"),
    ]


def test_a_site_is_one_farms_own_until_a_county_draws_on_it(own_service: Service) -> None:
    def own() -> list[str]:
        found = list_sites_of_one_farm(FARM_ID, unit_of_work=own_service.unit_of_work)
        return [site.site_id for site in found]

    assert own() == ["home"]
    load(own_service, COUNTIES)
    assert own() == []
