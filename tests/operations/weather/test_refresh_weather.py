"""Weather over the wire into plans: the whole service against the loopback fakes. All invented."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
import stamina
from numpy.typing import NDArray
from sqlalchemy.engine import URL

from service.agronomy.reasoning import PlanFlag
from service.bootstrap import Service, open_service
from service.operations.evening.run_day import DayRun, run_day
from service.operations.farms.manage_farms import load_bundle
from service.operations.reading.read_balance import read_balance
from service.operations.reading.read_plans import get_plan
from service.operations.schedule.check_health import check_health
from service.records.plans import PublishedPlan
from service.records.weather import SourceProblem
from service.settings import Settings
from service.weather_sources.http import ATTEMPT_LIMIT
from tests.factories import make_block, make_bundle, make_site
from tests.scheduled_farms import FixedClock
from tests.weather_sources.fake_providers import NAMED_FAULTS, FakeProviders, invented_weather

EVENING = datetime(2026, 7, 7, 22, 30, tzinfo=UTC)
ON = date(2026, 7, 7)
SITE = make_site(zone="America/Chicago", longitude_deg=-90.2, latitude_deg=33.0)


@pytest.fixture(autouse=True)
def no_waits_between_attempts() -> Iterator[None]:
    stamina.set_testing(True, attempts=ATTEMPT_LIMIT, cap=True)
    yield
    stamina.set_testing(False)


@pytest.fixture(scope="module")
def running_providers() -> Iterator[FakeProviders]:
    with FakeProviders() as providers:
        yield providers


@pytest.fixture
def providers(running_providers: FakeProviders) -> FakeProviders:
    running_providers.clear()
    running_providers.now = EVENING
    running_providers.weather = invented_weather
    return running_providers


@pytest.fixture
def clock() -> FixedClock:
    return FixedClock(EVENING)


@pytest.fixture
def service(database_url: URL, providers: FakeProviders, clock: FixedClock) -> Iterator[Service]:
    made = open_service(
        Settings(
            database_url=database_url.render_as_string(hide_password=False),
            weather_services=("open-meteo", "nasa-power", "nws-grid"),
            weather_contact="operator@example.org",
            open_meteo_base_url=providers.base_url,
            nasa_power_base_url=providers.base_url,
            nws_base_url=providers.base_url,
        ),
        clock=clock,
    )
    load_bundle(
        make_bundle(make_block(balance_start=ON - timedelta(days=14)), sites=[SITE]),
        effective_day=ON,
        unit_of_work=made.unit_of_work,
        clock=clock,
    )
    yield made
    made.close()


def refresh(service: Service, *names: str) -> list[SourceProblem]:
    with service.unit_of_work(write=False) as unit:
        keys = unit.blocks.read_site_table().keys
    return [
        problem
        for name in names
        for problem in service.refreshers[name](keys, now=service.clock.now())
    ]


def evening(service: Service, on: date = ON, **options: Any) -> DayRun:
    run = run_day(
        on,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
        **options,
    )
    assert run.failures == []
    return run


def plan_of(service: Service, day: date) -> PublishedPlan:
    return get_plan("brook.north", day=day, unit_of_work=service.unit_of_work).plan


def flags_of(plan: PublishedPlan) -> PlanFlag:
    return plan.reasoning.flags


def test_weather_arrives_and_a_plan_says_where_each_number_came_from(service: Service) -> None:
    assert refresh(service, "open-meteo") == []
    evening(service)
    plan = plan_of(service, ON + timedelta(days=1))
    assert plan.status in {"water", "rest"}
    assert PlanFlag.FORECAST_MISSING not in flags_of(plan)
    origins = plan.weather.origins
    assert {origin.source for origin in origins} == {"open-meteo"}
    assert {origin.kind for origin in origins} == {"analysis", "forecast"}
    assert plan.weather.field_notes["tmax_c"]["2026-07-06"]["hours_present"] == 24


def test_the_same_news_again_changes_nothing(service: Service) -> None:
    refresh(service, "open-meteo")
    evening(service)
    refresh(service, "open-meteo")
    assert evening(service).new_version_count == 0


@pytest.mark.parametrize("fault", sorted(NAMED_FAULTS.keys() - {"drip"}))
def test_whatever_a_provider_does_wrong_the_evening_runs_on_what_is_there(
    service: Service, providers: FakeProviders, clock: FixedClock, fault: str
) -> None:
    refresh(service, "open-meteo")
    evening(service)
    providers.order("", NAMED_FAULTS[fault])
    clock.time = providers.now = EVENING + timedelta(hours=23)
    problems = refresh(service, "open-meteo", "nws-grid")
    assert {problem.source for problem in problems} == {"open-meteo", "nws-grid"}
    evening(service, ON + timedelta(days=1))
    plan = plan_of(service, ON + timedelta(days=2))
    assert plan.status in {"water", "rest"}
    assert PlanFlag.FORECAST_MISSING not in flags_of(plan)


def test_it_is_said_of_which_sites_nothing_came(service: Service, providers: FakeProviders) -> None:
    assert not any(problem.gave_nothing for problem in refresh(service, "open-meteo"))
    providers.order("", NAMED_FAULTS["502-html"])
    problems = refresh(service, "open-meteo")
    assert problems and all(problem.gave_nothing for problem in problems)


def test_an_old_forecast_is_labelled_and_after_two_days_not_used(
    service: Service, clock: FixedClock
) -> None:
    refresh(service, "open-meteo")
    labels = []
    for days in range(4):
        clock.time = EVENING + timedelta(days=days, hours=1)
        on = ON + timedelta(days=days)
        evening(service, on)
        labels.append(flags_of(plan_of(service, on + timedelta(days=1))))
    assert PlanFlag.FORECAST_OLD not in labels[0] and PlanFlag.FORECAST_MISSING not in labels[0]
    assert PlanFlag.FORECAST_OLD in labels[1]
    for label in labels[2:]:
        assert PlanFlag.FORECAST_MISSING in label


def test_one_site_without_weather_does_not_stop_the_others(
    service: Service, clock: FixedClock
) -> None:
    far = make_site("far", zone="America/Chicago", longitude_deg=-90.2, latitude_deg=33.0)
    load_bundle(
        make_bundle(make_block(), make_block("lonely", site_id="far"), sites=[SITE, far]),
        effective_day=ON,
        unit_of_work=service.unit_of_work,
        clock=clock,
    )
    with service.unit_of_work(write=False) as unit:
        key = unit.blocks.get_site_key(SITE.site_id)
    service.refreshers["open-meteo"](np.array([key]), now=clock.now())
    assert evening(service).without_weather_count == 1
    assert plan_of(service, ON + timedelta(days=1)).status in {"water", "rest"}


def test_days_off_are_caught_up_with(
    service: Service, providers: FakeProviders, clock: FixedClock
) -> None:
    refresh(service, "open-meteo")
    clock.time = providers.now = EVENING + timedelta(days=9)
    refresh(service, "open-meteo")
    with service.unit_of_work(write=False) as unit:
        key = unit.blocks.get_site_key(SITE.site_id)
        rows = unit.weather.read_rows(
            np.array([key]), first_day=ON, last_day=ON + timedelta(days=8)
        )
    analysed = [
        day for day, kind in zip(rows.days.tolist(), rows.kinds, strict=True) if kind == "analysis"
    ]
    assert analysed == [ON + timedelta(days=back) for back in range(9)]


def test_late_observations_reopen_the_ledger_and_supersede_the_plan(
    service: Service, providers: FakeProviders, clock: FixedClock
) -> None:
    refresh(service, "open-meteo")
    evening(service)
    first = plan_of(service, ON + timedelta(days=1))
    providers.weather = warmer(6.0)
    clock.time = EVENING + timedelta(minutes=30)
    refresh(service, "open-meteo")
    evening(service)
    second = plan_of(service, ON + timedelta(days=1))
    assert second.version == first.version + 1
    assert number(second, "depletion_midnight_mm") > number(first, "depletion_midnight_mm")


def number(plan: PublishedPlan, name: str) -> float:
    value = plan.reasoning.quantities[name]
    assert isinstance(value, float)
    return value


def warmer(
    by_c: float,
) -> Callable[[float, float, NDArray[np.int64]], Mapping[str, NDArray[np.float64]]]:
    def weather(
        latitude: float, longitude: float, hours: NDArray[np.int64]
    ) -> Mapping[str, NDArray[np.float64]]:
        values = dict(invented_weather(latitude, longitude, hours))
        return {**values, "temperature_2m": values["temperature_2m"] + by_c}

    return weather


def test_past_days_of_one_source_and_coming_days_of_another_make_a_plan(service: Service) -> None:
    refresh(service, "nasa-power", "nws-grid")
    evening(service)
    plan = plan_of(service, ON + timedelta(days=1))
    assert plan.status in {"water", "rest"}
    origins = plan.weather.origins
    assert {origin.source for origin in origins} == {"nws-grid"}
    ledger = read_balance(
        "brook.north",
        first_day=ON - timedelta(days=14),
        last_day=ON,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    ).rows
    # The satellite service is some days late: its days are observed, the last ones are not yet.
    assert ledger.is_observed[0]
    assert not ledger.is_observed[-1]


def test_no_site_sends_no_request(service: Service, providers: FakeProviders) -> None:
    assert service.refreshers["open-meteo"](np.array([], dtype=np.int64), now=EVENING) == ()
    assert providers.requests == []


def test_the_origin_of_each_field_is_kept_with_the_sources_notes(
    service: Service,
) -> None:
    refresh(service, "nws-grid")
    evening(service)
    plan = plan_of(service, ON + timedelta(days=1))
    origins = {each.name: each for each in plan.weather.field_origins(plan.day)}
    assert origins["tmax_c"].origin.source == "nws-grid"
    assert origins["tmax_c"].origin.kind == "forecast"
    assert origins["rs_mj_m2"].estimated_from is not None
    assert origins["tmax_c"].estimated_from is None
    assert origins["tmax_c"].origin.fetched_at == EVENING


def test_the_health_check_says_where_yesterday_and_tomorrow_come_from(service: Service) -> None:
    refresh(service, "open-meteo", "nws-grid")
    health = check_health(
        unit_of_work=service.unit_of_work, clock=service.clock, source_order=service.source_order
    )
    (site,) = health.sites
    (yesterday,) = site.sources["yesterday"]
    assert yesterday.startswith("open-meteo analysis of 2026-07-07")
    assert "rain_mm" in site.sources["yesterday"][yesterday]
    assert all("forecast" in origin for origin in site.sources["tomorrow"])
