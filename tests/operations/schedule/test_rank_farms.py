"""Farms side by side: what is wrong with each, the worst first, with as many queries for many."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import event
from sqlalchemy.engine import Engine

from service.agronomy.pulse_plan import ShortfallCause
from service.bootstrap import Service
from service.operations.schedule.rank_farms import is_short, rank_farms
from service.operations.schedule.watch_farms import SILENT_AFTER
from service.records.farms import FarmDefinition
from service.records.plan_reasoning import read_reasoning
from service.records.standing import FarmStanding, PlanNote
from tests.api.invented_farm import (
    FARM_ID,
    PLAN_DAY,
    RUN_AT,
    TODAY,
    FixedClock,
    load,
    plan_evening,
)
from tests.api.paired_controllers import SHED, SHED_CONTROLLER, pair
from tests.pages.conftest import farm_of_many


def ranked(
    service: Service, *, later: timedelta = timedelta(0), farm_ids: set[str] | None = None
) -> list[FarmStanding]:
    return rank_farms(
        farm_ids,
        unit_of_work=service.unit_of_work,
        clock=FixedClock(RUN_AT + later),
        sources=(),
        evening_lead_min=45,
    )


def standing(service: Service, farm_id: str = FARM_ID, **options: timedelta) -> FarmStanding:
    (found,) = ranked(service, farm_ids={farm_id}, **options)
    return found


def test_a_farm_that_is_planned_reported_and_fresh_needs_nobody(own_service: Service) -> None:
    found = standing(own_service)
    assert found.plan_day == PLAN_DAY and not found.is_overdue
    assert found.stale_sites == () and found.silent_controllers == ()


def test_a_farm_without_the_plan_that_is_due_is_overdue(own_service: Service) -> None:
    day = timedelta(days=1)
    assert standing(own_service, later=day + timedelta(hours=1)).is_overdue
    # The plan of the day itself is there until the next one is due.
    before_issue = standing(own_service, later=day - timedelta(hours=2))
    assert before_issue.plan_day == PLAN_DAY and not before_issue.is_overdue


def test_days_that_the_ledger_took_as_planned_are_not_reported(own_service: Service) -> None:
    assert standing(own_service).unreported_days_count == 0
    for ahead in (1, 2):
        assert plan_evening(own_service, on=TODAY + timedelta(days=ahead)) == []
    later = standing(own_service, later=timedelta(days=3))
    assert later.unreported_days_count >= 1
    long_after = standing(own_service, later=timedelta(days=20))
    assert long_after.unreported_days_count == 0


def test_weather_that_stays_out_is_named_with_its_last_measured_day(own_service: Service) -> None:
    ((place, day),) = standing(own_service, later=timedelta(days=4)).stale_sites
    assert place and day == TODAY


def test_a_controller_is_silent_after_it_has_polled_and_stopped(own_service: Service) -> None:
    pair(own_service, FARM_ID, SHED_CONTROLLER)
    assert standing(own_service).silent_controllers == ()
    with own_service.unit_of_work(write=True) as unit:
        unit.polls.note({SHED: RUN_AT})
    still = standing(own_service, later=SILENT_AFTER - timedelta(seconds=1))
    assert still.silent_controllers == ()
    silent = standing(own_service, later=SILENT_AFTER)
    assert silent.silent_controllers == ((SHED, RUN_AT),)


@pytest.mark.parametrize(
    ("status", "minutes", "cause", "missing", "expected"),
    [
        ("water", 60, ShortfallCause.SUPPLY, 2.0, True),
        ("water", 60, ShortfallCause.SUPPLY, 0.1, False),
        ("rest", 0, ShortfallCause.DORMANT, 2.0, False),
        ("rest", 0, ShortfallCause.OUTAGE, 2.0, False),
        ("water", 30, ShortfallCause.OUTAGE, 2.0, True),
        ("no-weather", 0, ShortfallCause.NONE, 0.0, False),
    ],
)
def test_a_block_is_short_by_its_limits_of_news_unless_it_is_paused_or_dormant(
    status: str, minutes: int, cause: ShortfallCause, missing: float, expected: bool
) -> None:
    reasoning = read_reasoning(f'{{"cause": {int(cause)}, "shortfall_mm": {missing}}}')
    assert is_short(PlanNote(1, PLAN_DAY, status, minutes, reasoning)) is expected


def invented(name: str, **troubles: object) -> FarmStanding:
    facts: dict[str, object] = {
        "block_count": 3,
        "plan_day": PLAN_DAY,
        "is_overdue": False,
        "short_count": 0,
        "without_weather_count": 0,
        "unreported_days_count": 0,
        "stale_sites": (),
        "silent_controllers": (),
        **troubles,
    }
    farm = FarmDefinition(farm_id=name, name=name, zone="UTC")
    return FarmStanding(farm=farm, **facts)  # type: ignore[arg-type]  # passed on


def test_the_gravest_counts_before_the_many() -> None:
    by_weight = [
        invented("overdue", is_overdue=True),
        invented("short", short_count=2),
        invented("unreported", unreported_days_count=7),
        invented("stale", stale_sites=(("A", None), ("B", None))),
        invented("silent", silent_controllers=(("C", RUN_AT),)),
        invented("fine"),
    ]
    assert sorted(by_weight, key=lambda each: each.urgency, reverse=True) == by_weight
    assert [each.needs_a_look for each in by_weight] == [True] * 5 + [False]


def test_more_farms_and_blocks_ask_no_query_more(own_service: Service) -> None:
    def count() -> int:
        asked: list[str] = []

        def note(*arguments: object) -> None:
            asked.append(str(arguments[2]))

        event.listen(Engine, "before_cursor_execute", note)
        try:
            assert ranked(own_service)
        finally:
            event.remove(Engine, "before_cursor_execute", note)
        return len(asked)

    before = count()
    for number in range(3):
        text = farm_of_many(4)
        load(own_service, text.replace('id = "many"', f'id = "many-{number}"'))
    assert len(ranked(own_service)) == 5
    assert count() == before
