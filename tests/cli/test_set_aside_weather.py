"""A forecast of 480 mm that nobody else has: what plan, mail, pages, API and commands say of it."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest

from service.agronomy.reasoning import PlanFlag
from service.api.app import create_app
from service.bootstrap import Service
from service.operations.reading.read_plans import get_plan
from service.operations.schedule.check_health import check_health
from tests.api.conftest import Client
from tests.api.invented_farm import BLOCK_ID, FARM_ID, PLAN_DAY, TODAY
from tests.cli.conftest import call, document
from tests.pages.conftest import Reader
from tests.stormy_station import plan_beside_a_storm


@pytest.fixture
def stormy(own_service: Service) -> Service:
    """The test farm, planned with a station that forecasts 480 mm for the day of the plan."""
    plan_beside_a_storm(own_service)
    return own_service


def test_the_plan_does_not_count_on_it_and_says_that_the_sources_differ(stormy: Service) -> None:
    view = get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=stormy.unit_of_work)
    assert PlanFlag.WEATHER_DOUBTFUL in PlanFlag(view.plan.reasoning.flags)
    rain_mm = view.plan.weather.value("rain_mm", PLAN_DAY)
    assert rain_mm is not None and rain_mm < 30.0


def test_commands_name_value_source_and_reason(stormy: Service) -> None:
    url = stormy.settings.database_url
    printed = re.sub(r"\s+", " ", call(url, "why", BLOCK_ID, "--units", "si").output)
    assert "rain_mm of station (forecast), 480.0 mm, was set aside: more rain than the" in printed
    (entry,) = document(call(url, "why", BLOCK_ID, "--json"))["set_aside"]
    assert (entry["source"], entry["value"], entry["reason"]) == ("station", 480.0, "cloudburst")


def test_the_check_finds_it_with_its_day(stormy: Service) -> None:
    health = check_health(
        unit_of_work=stormy.unit_of_work, clock=stormy.clock, source_order=stormy.source_order
    )
    (home,) = (site for site in health.sites if site.site_id == "home")
    assert (
        "rain_mm of station was set aside: more rain than the place ever had, and no gauge or"
        f" second source has it ({PLAN_DAY})"
    ) in home.findings


def test_the_page_of_the_weather_shows_it_in_both_languages(stormy: Service) -> None:
    reader = Reader(create_app(stormy))
    text = reader.text(f"/farms/{FARM_ID}/weather")
    assert "18.90 in" in text and "more rain than the place ever had" in text
    reader.send(f"/farms/{FARM_ID}/weather", "/reading", units="si", language="es")
    assert "480.0 mm" in reader.text(f"/farms/{FARM_ID}/weather").replace("480 mm", "480.0 mm")


def test_the_explanation_of_the_api_lists_it(stormy: Service) -> None:
    answer = Client(create_app(stormy)).json(f"/v1/blocks/{BLOCK_ID}/why")
    (entry,) = answer["set_aside"]
    assert entry["day"] == (TODAY + timedelta(days=1)).isoformat()
    assert (entry["reason"], entry["value"]) == ("cloudburst", 480.0)
