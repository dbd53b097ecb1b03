"""What nobody reports: noticed once, for farms that want to be told, and nowhere else."""

from __future__ import annotations

from datetime import timedelta

import pytest

from service.bootstrap import Service
from service.operations.events.manage_subscriptions import SubscriptionDraft, put_subscription
from service.operations.schedule.watch_farms import (
    RUNS_LOOKED_BACK,
    SILENT_AFTER,
    WATCH_EVERY,
    Watch,
    watch_farms,
)
from tests.api.invented_farm import BLOCK_ID, FARM_ID
from tests.api.paired_controllers import SHED, SHED_CONTROLLER, pair
from tests.event_farm import EventFarm, event_farm
from tests.operations.waterworks.test_check_flow import store_season

URL = "https://office.example.org/"


@pytest.fixture
def farm(own_service: Service) -> EventFarm:
    return event_farm(own_service, URL)


def look(farm: EventFarm, watch: Watch | None = None) -> int:
    return watch_farms(
        Watch() if watch is None else watch,
        unit_of_work=farm.service.unit_of_work,
        clock=farm.clock,
    )


def noticed(farm: EventFarm) -> list[tuple[str, str]]:
    return [(each.kind.value, each.subject) for each in farm.deliveries()]


def want(farm: EventFarm, *kinds: str) -> None:
    draft = SubscriptionDraft(subscription_id="office", url=URL, kinds=kinds)
    with farm.service.unit_of_work(write=True) as unit:
        rules = farm.service.event_rules
        put_subscription(unit, FARM_ID, draft, rules=rules, now=farm.clock.now())


def test_weather_that_stays_out_is_told_once_for_each_outage(farm: EventFarm) -> None:
    want(farm, "weather.missing")
    assert look(farm) == 0
    farm.wait(days=4)
    assert look(farm) == 1
    farm.wait(days=1)
    assert look(farm) == 0
    assert noticed(farm) == [("weather.missing", "home")]


def test_a_controller_that_has_polled_before_and_stops_is_told_once(farm: EventFarm) -> None:
    want(farm, "controller.silent")
    pair(farm.service, FARM_ID, SHED_CONTROLLER)
    farm.wait(days=1)
    assert look(farm) == 0  # it has never polled: it may not be there yet
    polled_at = farm.clock.now()
    with farm.service.unit_of_work(write=True) as unit:
        unit.polls.note({SHED: polled_at, f"{FARM_ID}.unknown": polled_at})
    farm.clock.instant += SILENT_AFTER - timedelta(seconds=1)
    assert look(farm) == 0
    farm.wait(seconds=1)
    assert [look(farm), look(farm)] == [1, 0]
    with farm.service.unit_of_work(write=True) as unit:
        unit.polls.note({SHED: farm.clock.now()})
    farm.clock.instant += SILENT_AFTER
    assert look(farm) == 1
    assert noticed(farm) == [("controller.silent", SHED)] * 2


def test_a_controller_that_was_taken_away_is_not_missed(farm: EventFarm) -> None:
    want(farm, "controller.silent")
    pair(farm.service, FARM_ID, SHED_CONTROLLER)
    with farm.service.unit_of_work(write=True) as unit:
        unit.polls.note({SHED: farm.clock.now()})
    pair(farm.service, FARM_ID)
    farm.wait(days=1)
    assert look(farm) == 0


def test_a_fall_of_metered_flow_is_told_once(farm: EventFarm) -> None:
    want(farm, "flow.alarm")
    store_season(farm.service, level_after=0.8)
    assert [look(farm), look(farm)] == [1, 0]
    assert noticed(farm) == [("flow.alarm", BLOCK_ID)]


def test_steady_flow_and_runs_of_long_ago_are_not_looked_into(farm: EventFarm) -> None:
    want(farm, "flow.alarm")
    store_season(farm.service)
    assert look(farm) == 0
    store_season(farm.service, level_after=0.8)
    farm.clock.instant += RUNS_LOOKED_BACK + timedelta(days=1)
    assert look(farm) == 0


def test_a_process_looks_every_few_minutes(farm: EventFarm) -> None:
    want(farm, "weather.missing")
    farm.wait(days=3, hours=23)
    watch = Watch()
    look(farm, watch)
    first = watch.looked_at
    farm.clock.instant += WATCH_EVERY - timedelta(seconds=1)
    look(farm, watch)
    assert watch.looked_at == first
    farm.wait(seconds=1)
    look(farm, watch)
    assert watch.looked_at == farm.clock.now()


def test_what_is_not_asked_for_is_not_told(farm: EventFarm) -> None:
    want(farm, "plan.published")
    farm.wait(days=9)
    assert look(farm) == 0
