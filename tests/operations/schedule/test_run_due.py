"""Doing what is due: claimed once, settled once, and repeated without trace where it must be."""

from __future__ import annotations

import threading
from collections.abc import Callable, Collection, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import Engine

from service.agronomy.records import Ints
from service.agronomy.replanning import NOTICE_MIN
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.database.weather_archive import WeatherArchive
from service.errors import StorageAway
from service.operations.evening.run_day import DayRun, FarmFailure, run_day
from service.operations.schedule import do_jobs as module
from service.operations.schedule import run_due as run_due_module
from service.operations.schedule.duties import LEASE_S, Duties
from service.operations.schedule.run_due import RETRY_AFTER, DueOutcome, is_work_due, run_due
from service.records.schedule import JobRun
from service.records.weather import SourceProblem, StoredPayload
from tests.patience import PATIENCE_S
from tests.scheduled_farms import FixedClock, MadeUpService, plan_versions, store_farms

ZONE = "America/New_York"
DAY = date(2026, 7, 14)
DUE = datetime(2026, 7, 14, 22, 15, tzinfo=UTC)  # 18:15 EDT
MORNING = datetime(2026, 7, 15, 10, 0, tzinfo=UTC)
ONE_DAY = timedelta(days=1)
FARMS = ("farm-00000", "farm-00001", "farm-00002")
EVENINGS = [f"evening:{farm}:2026-07-14" for farm in FARMS]


class Killed(BaseException):
    """What a checkpoint raises in place of a kill: nothing in the service catches it."""


def at(checkpoint: str, act: Callable[[], object]) -> Callable[[str], None]:
    """Does something the first time that a checkpoint is passed."""
    passed: list[str] = []

    def look(name: str) -> None:
        if name == checkpoint and not passed:
            passed.append(name)
            act()

    return look


def killed() -> None:
    raise Killed


@pytest.fixture
def clock() -> FixedClock:
    return FixedClock(DUE)


@pytest.fixture
def duties(open_unit: UnitOfWorkFactory, clock: FixedClock) -> Duties:
    """What a scheduler works with, three farms among it."""
    store_farms(open_unit, farm_count=3, zones=[ZONE], today=DAY)
    with open_unit(write=False) as unit:
        keys = unit.blocks.read_site_table().keys
    MadeUpService(open_unit)(keys, now=DUE)
    return Duties(owner="first", unit_of_work=open_unit, clock=clock, source_order={"made-up": 1})


def runs(open_unit: UnitOfWorkFactory, job: str) -> dict[str, JobRun]:
    with open_unit(write=False) as unit:
        found = unit.runs.list_runs(first_due_at=datetime(2000, 1, 1, tzinfo=UTC))
    return {run.run_key: run for run in found if run.job == job}


def outcomes(open_unit: UnitOfWorkFactory, job: str) -> dict[str, str | None]:
    return {key: run.outcome for key, run in runs(open_unit, job).items()}


def only_prune(keys: Sequence[str]) -> bool:
    return all(key.startswith("prune:") for key in keys)


def test_evenings_are_planned_and_done(
    duties: Duties, open_unit: UnitOfWorkFactory, engine: Engine
) -> None:
    done = run_due(duties)
    assert outcomes(open_unit, "evening") == dict.fromkeys(EVENINGS, "planned")
    assert sorted(key for key in done.finished if not key.startswith("prune")) == EVENINGS
    assert plan_versions(engine) == [(f"{farm}.block-0", DAY + ONE_DAY, 1) for farm in FARMS]


def test_what_is_done_is_left_alone(duties: Duties, engine: Engine) -> None:
    run_due(duties)
    before = plan_versions(engine)
    again = run_due(replace(duties, owner="second"))
    assert (again.finished, again.passed_by) == ({}, [])
    assert plan_versions(engine) == before


def test_an_evening_skipped_while_the_clock_was_a_day_ahead_is_made_when_it_is_right_again(
    duties: Duties, clock: FixedClock, open_unit: UnitOfWorkFactory, engine: Engine
) -> None:
    clock.time = DUE - ONE_DAY
    run_due(duties)  # the evening before, so that the next one has dates to cover
    clock.time = DUE + ONE_DAY
    run_due(duties)
    assert outcomes(open_unit, "evening")[EVENINGS[0]] == "covered"
    clock.time = DUE
    run_due(duties)
    done = outcomes(open_unit, "evening")
    assert {key: done[key] for key in EVENINGS} == dict.fromkeys(EVENINGS, "planned")
    assert (f"{FARMS[0]}.block-0", DAY + ONE_DAY, 1) in plan_versions(engine)
    clock.time = DUE + ONE_DAY + timedelta(minutes=10)
    tomorrow = [key.replace("07-14", "07-15") for key in EVENINGS]
    run_due(duties)
    assert set(run_due(duties).finished).isdisjoint(tomorrow)
    done = outcomes(open_unit, "evening")
    assert {key: done[key] for key in tomorrow} == dict.fromkeys(tomorrow, "planned")


def test_farms_due_together_are_planned_by_one_call(
    duties: Duties, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls: list[Sequence[str]] = []

    def counted(on: date, *, farm_ids: Sequence[str], **others: object) -> DayRun:
        calls.append(farm_ids)
        return run_day(on, farm_ids=farm_ids, **others)  # type: ignore[arg-type]  # handed through

    monkeypatch.setattr(module, "run_day", counted)
    run_due(duties)
    (together,) = calls
    assert sorted(together) == list(FARMS)


def test_two_schedulers_at_once_do_each_run_once(duties: Duties, engine: Engine) -> None:
    other = replace(duties, owner="second")
    seen = []
    first = run_due(
        replace(duties, checkpoint=at("evening claimed", lambda: seen.append(run_due(other))))
    )
    (second,) = seen
    assert set(EVENINGS) <= set(first.finished)
    assert only_prune(list(second.finished))
    assert second.passed_by == EVENINGS
    assert {version for _, _, version in plan_versions(engine)} == {1}


def test_the_work_of_a_dead_scheduler_is_taken_over_when_its_lease_ends(
    duties: Duties, clock: FixedClock, open_unit: UnitOfWorkFactory
) -> None:
    with pytest.raises(Killed):
        run_due(replace(duties, checkpoint=at("evening claimed", killed)))
    heir = replace(duties, owner="heir")
    clock.time += timedelta(seconds=LEASE_S - 1)
    assert run_due(heir).passed_by == EVENINGS
    clock.time += timedelta(seconds=1)
    assert set(run_due(heir).finished) == set(EVENINGS)
    assert {run.attempt_count for run in runs(open_unit, "evening").values()} == {2}


def test_plans_made_before_a_death_get_no_second_version(
    duties: Duties, clock: FixedClock, open_unit: UnitOfWorkFactory, engine: Engine
) -> None:
    with pytest.raises(Killed):
        run_due(replace(duties, checkpoint=at("evening planned", killed)))
    made = plan_versions(engine)
    assert len(made) == len(FARMS)
    assert outcomes(open_unit, "evening") == dict.fromkeys(EVENINGS, None)
    clock.time += timedelta(seconds=LEASE_S)
    run_due(replace(duties, owner="heir"))
    assert outcomes(open_unit, "evening") == dict.fromkeys(EVENINGS, "planned")
    assert plan_versions(engine) == made


def test_a_death_while_settling_settles_nothing(
    duties: Duties, clock: FixedClock, open_unit: UnitOfWorkFactory
) -> None:
    with pytest.raises(Killed):
        run_due(replace(duties, checkpoint=at("evening settled", killed)))
    assert outcomes(open_unit, "evening") == dict.fromkeys(EVENINGS, "planned")


def test_a_farm_that_fails_is_tried_again_and_does_not_stop_the_others(
    duties: Duties,
    clock: FixedClock,
    open_unit: UnitOfWorkFactory,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def fail_one(on: date, **others: object) -> DayRun:
        done = run_day(on, **others)  # type: ignore[arg-type]  # handed through
        done.failures.append(FarmFailure(FARMS[1], "made up"))
        return done

    with monkeypatch.context() as patch:
        patch.setattr(module, "run_day", fail_one)
        first = run_due(duties)
    assert first.given_back == {EVENINGS[1]: "made up"}
    assert {EVENINGS[0], EVENINGS[2]} <= set(first.finished)
    assert runs(open_unit, "evening")[EVENINGS[1]].held_until == DUE + RETRY_AFTER
    assert run_due(duties).passed_by == [EVENINGS[1]]
    clock.time += RETRY_AFTER
    assert list(run_due(duties).finished) == [EVENINGS[1]]


@pytest.mark.parametrize("unit_number", [1, 3, 5, 8])
def test_evenings_that_lost_their_database_are_made_at_the_next_tick(
    duties: Duties,
    clock: FixedClock,
    open_unit: UnitOfWorkFactory,
    engine: Engine,
    unit_number: int,
) -> None:
    # A server that is restarted ends what is under way, and the next units find it again.
    lost: list[int] = []

    def open_or_lose(*, write: bool, farm_keys: Collection[int] | None = None) -> UnitOfWork:
        if is_planning:
            lost.append(len(lost) + 1)
            if lost[-1] == unit_number:
                raise StorageAway("made up")
        return open_unit(write=write, farm_keys=farm_keys)

    is_planning: list[bool] = []
    restarted = replace(
        duties,
        unit_of_work=open_or_lose,
        checkpoint=at("evening claimed", lambda: is_planning.append(True)),
    )
    with suppress(StorageAway):  # the settling may be what was lost
        run_due(restarted)
    assert len(lost) >= unit_number
    clock.time += timedelta(seconds=LEASE_S)
    run_due(duties)
    assert outcomes(open_unit, "evening") == dict.fromkeys(EVENINGS, "planned")
    assert plan_versions(engine) == [(f"{farm}.block-0", DAY + ONE_DAY, 1) for farm in FARMS]


def test_whatever_goes_wrong_is_given_back_and_not_raised(
    duties: Duties, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> DayRun:
        raise ZeroDivisionError("made up")

    monkeypatch.setattr(module, "run_day", broken)
    given_back = run_due(duties).given_back
    assert given_back == dict.fromkeys(EVENINGS, "ZeroDivisionError: made up")


def test_after_days_off_missed_evenings_are_covered_by_the_latest(
    duties: Duties, clock: FixedClock, open_unit: UnitOfWorkFactory, engine: Engine
) -> None:
    watching = replace(duties, refreshers={"made-up": MadeUpService(open_unit)})
    run_due(watching)
    clock.time += 4 * ONE_DAY
    run_due(watching)
    found = outcomes(open_unit, "evening")
    assert len(found) == 5 * len(FARMS)
    for farm in FARMS:
        by_day = [found[f"evening:{farm}:2026-07-{day}"] for day in range(14, 19)]
        assert by_day == ["planned", "covered", "covered", "covered", "planned"]
    days = {day for _, day, _ in plan_versions(engine)}
    assert days == {DAY + ONE_DAY, DAY + 5 * ONE_DAY}
    with open_unit(write=False) as unit:
        ledger = unit.ledger.read_rows(
            unit.blocks.get_block_key("farm-00000.block-0"),
            first_day=DAY,
            last_day=DAY + 4 * ONE_DAY,
        )
    assert ledger.days.size == 5  # the missed days are in the balance


def test_a_plan_that_comes_late_has_no_pulse_in_the_past(
    duties: Duties, clock: FixedClock, open_unit: UnitOfWorkFactory
) -> None:
    clock.time = datetime(2026, 7, 15, 11, 0, tzinfo=UTC)  # 07:00 EDT on the day of the plan
    run_due(duties)
    assert set(outcomes(open_unit, "evening").values()) == {"planned late"}
    with open_unit(write=False) as unit:
        plans = unit.plans.list_plans(day=DAY + ONE_DAY)
    starts = [start_min for plan in plans for start_min, _ in plan.pulses]
    assert min(starts) >= 7 * 60 + NOTICE_MIN


def test_a_plan_that_may_be_under_way_is_not_changed(
    duties: Duties, clock: FixedClock, open_unit: UnitOfWorkFactory, engine: Engine
) -> None:
    with pytest.raises(Killed):
        run_due(replace(duties, checkpoint=at("evening planned", killed)))
    made = plan_versions(engine)
    clock.time = MORNING
    run_due(duties)
    assert set(outcomes(open_unit, "evening").values()) == {"ledger"}
    assert plan_versions(engine) == made


def test_a_repair_takes_in_late_weather_and_leaves_the_plans_alone(
    duties: Duties, clock: FixedClock, open_unit: UnitOfWorkFactory, engine: Engine
) -> None:
    run_due(duties)
    made = plan_versions(engine)
    clock.time = MORNING
    done = run_due(replace(duties, refreshers={"made-up": MadeUpService(open_unit)}))
    assert dict.fromkeys((f"repair:{farm}:2026-07-14" for farm in FARMS), "repaired") == {
        key: outcome for key, outcome in done.finished.items() if key.startswith("repair")
    }
    assert plan_versions(engine) == made
    with open_unit(write=False) as unit:
        key = unit.blocks.get_block_key("farm-00000.block-0")
        row = unit.ledger.read_rows(key, first_day=DAY, last_day=DAY)
    assert row.is_observed.tolist() == [True]


# --- weather -----------------------------------------------------------------------------------


class Refresher:
    """A weather service that answers with the problems it is given."""

    def __init__(self, *problems: SourceProblem) -> None:
        self.problems = problems
        self.asked: list[list[int]] = []

    def __call__(self, site_keys: Ints, *, now: datetime) -> Sequence[SourceProblem]:
        self.asked.append(site_keys.tolist())
        return self.problems


def problem(
    site_id: str | None, retry_at: datetime | None = None, *, gave_nothing: bool = True
) -> SourceProblem:
    return SourceProblem(
        source="made-up",
        site_id=site_id,
        reason="http-502",
        message="down",
        retry_at=retry_at,
        gave_nothing=gave_nothing,
    )


def test_weather_is_fetched_for_all_sites_and_then_plans_are_made(
    duties: Duties, open_unit: UnitOfWorkFactory
) -> None:
    refresher = Refresher()
    done = run_due(replace(duties, refreshers={"made-up": refresher}))
    with open_unit(write=False) as unit:
        keys = unit.blocks.read_site_table().keys.tolist()
    assert refresher.asked == [keys]
    assert list(done.finished)[:2] == [
        "weather:made-up:2026-07-14T18",
        "weather:made-up:2026-07-14T21",
    ]
    assert set(EVENINGS) <= set(done.finished)


def test_a_source_that_gives_nothing_is_asked_again_and_plans_are_made_all_the_same(
    duties: Duties, clock: FixedClock, open_unit: UnitOfWorkFactory
) -> None:
    later = DUE + timedelta(hours=1)
    down = replace(duties, refreshers={"made-up": Refresher(problem(None, later))})
    done = run_due(down)
    assert "down" in done.given_back["weather:made-up:2026-07-14T18"]
    assert set(EVENINGS) <= set(done.finished)
    up = replace(duties, refreshers={"made-up": Refresher()})
    clock.time = later - timedelta(seconds=1)
    assert run_due(up).finished == {}
    clock.time = later
    assert "weather:made-up:2026-07-14T18" in run_due(up).finished


def test_a_source_that_failed_at_every_site_is_asked_again_and_says_so(
    duties: Duties, clock: FixedClock, open_unit: UnitOfWorkFactory
) -> None:
    with open_unit(write=False) as unit:
        sites = unit.blocks.read_site_table()
    names = [site.site_id for site in sites.definitions]
    refresher = Refresher(*(problem(name) for name in names))
    down = replace(duties, refreshers={"made-up": refresher})
    assert "down" in run_due(down).given_back["weather:made-up:2026-07-14T18"]
    clock.time = DUE + RETRY_AFTER
    assert "weather:made-up:2026-07-14T18" in run_due(down).given_back
    assert refresher.asked == [sites.keys.tolist()] * 2
    refresher.problems = ()
    clock.time += RETRY_AFTER
    assert "weather:made-up:2026-07-14T18" in run_due(down).finished
    assert outcomes(open_unit, "weather")["weather:made-up:2026-07-14T18"] == "refreshed"


def test_only_the_sites_that_failed_are_asked_for_again(
    duties: Duties, clock: FixedClock, open_unit: UnitOfWorkFactory
) -> None:
    refresher = Refresher(problem("site-001"))
    watched = replace(duties, refreshers={"made-up": refresher})
    reason = run_due(watched).given_back["weather:made-up:2026-07-14T18"]
    assert "1 of" in reason
    refresher.problems = ()
    clock.time = DUE + RETRY_AFTER
    assert "weather:made-up:2026-07-14T18" in run_due(watched).finished
    with open_unit(write=False) as unit:
        key = unit.blocks.get_site_key("site-001")
    assert refresher.asked[1:] == [[key]]


def test_a_later_turn_asks_for_all_sites_though_one_still_failed(
    duties: Duties, clock: FixedClock
) -> None:
    refresher = Refresher(problem("site-001"))
    watched = replace(duties, refreshers={"made-up": refresher})
    run_due(watched)
    clock.time = DUE + timedelta(hours=6)
    run_due(watched)
    assert len(refresher.asked[-1]) == len(refresher.asked[0]) > 1


def test_gaps_in_what_came_are_no_failure(duties: Duties, open_unit: UnitOfWorkFactory) -> None:
    partial = problem("site-001", gave_nothing=False)
    run_due(replace(duties, refreshers={"made-up": Refresher(partial)}))
    assert outcomes(open_unit, "weather")["weather:made-up:2026-07-14T18"] == "refreshed"


def test_a_service_without_sites_asks_nobody(
    open_unit: UnitOfWorkFactory, clock: FixedClock
) -> None:
    refresher = Refresher()
    run_due(
        Duties(
            owner="first",
            unit_of_work=open_unit,
            clock=clock,
            source_order={},
            refreshers={"made-up": refresher},
        )
    )
    assert refresher.asked == []
    assert outcomes(open_unit, "weather") == {"weather:made-up:2026-07-14T18": "refreshed"}


# --- leases ------------------------------------------------------------------------------------


def test_a_lease_is_renewed_while_the_work_lasts(
    duties: Duties, clock: FixedClock, open_unit: UnitOfWorkFactory
) -> None:
    renewed = threading.Event()
    key = "weather:made-up:2026-07-14T18"

    class CountingClock:
        """Tells when the heartbeat has looked at it for a second beat."""

        def __init__(self) -> None:
            self.looks = 0

        def now(self) -> datetime:
            if threading.current_thread().name == "heartbeat":
                self.looks += 1
                if self.looks > 6:  # a tick and two runs in each beat
                    renewed.set()
            return clock.time

    def slow(site_keys: Ints, *, now: datetime) -> Sequence[SourceProblem]:
        clock.time += timedelta(seconds=LEASE_S - 1)
        assert renewed.wait(timeout=PATIENCE_S)
        held_until.append(runs(open_unit, "weather")[key].held_until)
        return ()

    held_until: list[datetime] = []
    run_due(replace(duties, clock=CountingClock(), refreshers={"made-up": slow}, heartbeat_s=0.01))
    assert held_until == [DUE + timedelta(seconds=LEASE_S - 1 + LEASE_S)]


def test_a_scheduler_that_lost_the_lease_does_not_settle(
    duties: Duties, clock: FixedClock, open_unit: UnitOfWorkFactory, engine: Engine
) -> None:
    heirs = []

    def overslept() -> None:
        clock.time += timedelta(seconds=LEASE_S)
        heirs.append(run_due(replace(duties, owner="heir")))

    slow = run_due(replace(duties, checkpoint=at("evening planned", overslept)))
    assert sorted(slow.lost) == EVENINGS
    assert set(EVENINGS) <= set(heirs[0].finished)
    assert {run.owner for run in runs(open_unit, "evening").values()} == {"heir"}
    assert {version for _, _, version in plan_versions(engine)} == {1}


def test_a_scheduler_told_to_stop_begins_nothing_more(
    duties: Duties, open_unit: UnitOfWorkFactory
) -> None:
    settled: list[bool] = []
    done = run_due(
        replace(
            duties,
            refreshers={"made-up": Refresher()},
            checkpoint=lambda name: settled.append(name == "weather settled"),
            should_stop=lambda: any(settled),
        )
    )
    assert {key.partition(":")[0] for key in done.finished} == {"weather"}
    assert outcomes(open_unit, "evening") == {}


# --- the rest ----------------------------------------------------------------------------------


def test_every_look_is_noted_for_the_watchdog(
    duties: Duties, clock: FixedClock, open_unit: UnitOfWorkFactory
) -> None:
    for minutes in (0, 1):
        clock.time = DUE + timedelta(minutes=minutes)
        run_due(duties)
        with open_unit(write=False) as unit:
            assert unit.runs.last_tick_at() == clock.time


def test_pruning_deletes_payloads_older_than_a_month(
    duties: Duties, open_unit: UnitOfWorkFactory
) -> None:
    def payload(name: str, age: timedelta) -> StoredPayload:
        return StoredPayload(
            url_digest=name,
            source="made-up",
            url=f"https://weather.example.org/{name}",
            fetched_at=DUE - age,
            etag=None,
            last_modified=None,
            expires_at=None,
            body_digest=name,
            body=b"",
        )

    with open_unit(write=True) as unit:
        unit.payloads.save(payload("old", timedelta(days=30, seconds=1)))
        unit.payloads.save(payload("young", timedelta(days=30)))
    run_due(duties)
    assert outcomes(open_unit, "prune") == {"prune:2026-07-14": "deleted 1 payloads and 0 runs"}
    with open_unit(write=False) as unit:
        assert unit.payloads.find("old") is None
        assert unit.payloads.find("young") is not None


def test_news_that_changes_the_minutes_supersedes_plans_that_are_out(
    duties: Duties, open_unit: UnitOfWorkFactory, clock: FixedClock, engine: Engine
) -> None:
    service = MadeUpService(open_unit)
    watched = replace(duties, refreshers={"made-up": service})
    run_due(watched)
    before = plan_versions(engine)
    service.more_rain_mm = 40.0
    clock.time = datetime(2026, 7, 15, 0, 5, tzinfo=UTC)  # 20:05 EDT, after the next slot
    done = run_due(watched)
    after = plan_versions(engine)
    news = [version for version in after if version not in before]
    assert news
    assert {version for _, _, version in news} == {2}
    assert any("superseded" in outcome for outcome in done.finished.values())
    clock.time += timedelta(hours=6)
    run_due(watched)
    assert plan_versions(engine) == after


def test_news_that_hardly_changes_the_minutes_leaves_the_plans(
    duties: Duties, open_unit: UnitOfWorkFactory, clock: FixedClock, engine: Engine
) -> None:
    service = MadeUpService(open_unit)
    watched = replace(duties, refreshers={"made-up": service})
    run_due(watched)
    before = plan_versions(engine)
    service.more_rain_mm = 0.02
    clock.time = datetime(2026, 7, 15, 0, 5, tzinfo=UTC)
    run_due(watched)
    assert plan_versions(engine) == before


def test_work_is_due_until_it_is_done_and_again_when_a_retry_is(
    duties: Duties, clock: FixedClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert is_work_due(duties)

    def fail(*_: object, **__: object) -> DayRun:
        raise OSError("out of luck")

    monkeypatch.setattr(module, "run_day", fail)
    assert run_due(duties).given_back
    assert not is_work_due(duties)
    clock.time += RETRY_AFTER
    assert is_work_due(duties)
    monkeypatch.undo()
    run_due(duties)
    assert not is_work_due(duties)


def test_work_that_another_holds_is_not_due(
    duties: Duties, clock: FixedClock, open_unit: UnitOfWorkFactory
) -> None:
    run_due(duties)
    clock.time += timedelta(days=1)

    def look(_: str) -> None:
        seen.append(is_work_due(replace(duties, owner="another")))

    seen: list[bool] = []
    run_due(replace(duties, checkpoint=at("evening claimed", lambda: look(""))))
    assert seen == [True]  # what is pruned daily is claimed after the evenings
    assert not is_work_due(duties)
    with open_unit(write=False) as unit:
        assert unit.runs.last_tick_at() == clock.time


def test_what_a_clock_that_was_ahead_had_done_is_due_once_it_is_right_again(
    duties: Duties, clock: FixedClock
) -> None:
    clock.time += timedelta(hours=2)
    run_due(duties)
    assert not is_work_due(duties)
    clock.time -= timedelta(hours=2)
    assert is_work_due(duties)
    run_due(duties)
    assert not is_work_due(duties)


# --- several at once ---------------------------------------------------------------------------


def test_two_schedulers_plan_different_farms_at_the_same_time(
    duties: Duties, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The first holds its farm until the second is in the middle of another; a file has one writer.
    monkeypatch.setattr(run_due_module, "FARMS_AT_A_TIME", 1)
    is_inside, is_seen = threading.Event(), threading.Event()

    def publish(unit: UnitOfWork, farm_keys: Ints, **_more: object) -> None:
        is_inside.set()
        assert engine.dialect.name == "sqlite" or is_seen.wait(PATIENCE_S)

    def open_seen(*, write: bool, farm_keys: Collection[int] | None = None) -> UnitOfWork:
        unit = duties.unit_of_work(write=write, farm_keys=farm_keys)
        return _Seen(unit, is_seen.set) if farm_keys else unit  # type: ignore[return-value]  # opens and closes as it does

    first = replace(duties, after_publish=publish)
    second = replace(duties, owner="second", unit_of_work=open_seen)
    outcomes_of: list[DueOutcome] = []
    thread = threading.Thread(target=lambda: outcomes_of.append(run_due(first)))
    thread.start()
    assert is_inside.wait(PATIENCE_S)
    outcomes_of.append(run_due(second))
    thread.join()
    finished = [key for each in outcomes_of for key in each.finished if key.startswith("evening")]
    assert sorted(finished) == EVENINGS
    assert all(not each.given_back and not each.lost for each in outcomes_of)
    assert plan_versions(engine) == [(f"{farm}.block-0", DAY + ONE_DAY, 1) for farm in FARMS]


class _Seen:
    """A unit of work that tells when it is open."""

    def __init__(self, unit: UnitOfWork, tell: Callable[[], None]) -> None:
        self._unit, self._tell = unit, tell

    def __enter__(self) -> UnitOfWork:
        unit = self._unit.__enter__()
        self._tell()
        return unit

    def __exit__(self, *how: Any) -> None:
        self._unit.__exit__(*how)


def test_leases_are_held_by_the_clock_that_all_share(duties: Duties, clock: FixedClock) -> None:
    shared = replace(duties, shared_clock=lambda _unit: DUE)
    with pytest.raises(Killed):
        run_due(replace(shared, checkpoint=at("evening claimed", killed)))
    clock.time += timedelta(seconds=10 * LEASE_S)  # the clock of the second machine is ahead
    assert run_due(replace(shared, owner="second")).passed_by == EVENINGS


def test_evenings_wait_for_weather_that_another_scheduler_is_fetching(
    duties: Duties, clock: FixedClock
) -> None:
    fetching = replace(duties, refreshers={"made-up": Refresher()})
    other = replace(fetching, owner="second", fetches_seen={})
    seen: list[DueOutcome] = []
    due: list[bool] = []

    def look() -> None:
        seen.append(run_due(other))
        due.append(is_work_due(other))

    done = run_due(replace(fetching, checkpoint=at("weather fetched", look)))
    assert not set(EVENINGS) & set(seen[0].finished) and due == [False]
    assert set(EVENINGS) <= set(done.finished)


def test_evenings_wait_no_longer_than_ten_minutes_for_it(duties: Duties, clock: FixedClock) -> None:
    fetching = replace(duties, refreshers={"made-up": Refresher()})
    other = replace(fetching, owner="second", fetches_seen={})
    outcomes_of: list[DueOutcome] = []

    def wait() -> None:
        # The first scheduler renews its lease all the time.
        with duties.unit_of_work(write=True, farm_keys=()) as unit:
            held = unit.runs.list_held(
                ["weather:made-up:2026-07-14T18"], owner="second", now=clock.now()
            )
            assert held
            unit.runs.renew_all(list(held), owner="first", now=clock.now(), lease_s=3600)
        outcomes_of.append(run_due(other))
        clock.time += run_due_module.EVENINGS_WAIT
        outcomes_of.append(run_due(other))

    run_due(replace(fetching, checkpoint=at("weather fetched", wait)))
    first, second = (set(each.finished) for each in outcomes_of)
    assert not set(EVENINGS) & first
    assert set(EVENINGS) <= second


def test_farms_that_share_their_weather_are_claimed_together(
    duties: Duties, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(run_due_module, "FARMS_AT_A_TIME", 2)
    places = dict(zip(FARMS, (2, 1, 2), strict=True))
    monkeypatch.setattr(WeatherArchive, "list_first_places", lambda _archive: places)
    calls: list[list[str]] = []

    def noted(on: date, *, farm_ids: Sequence[str], **_others: object) -> DayRun:
        calls.append(list(farm_ids))
        return DayRun(on=on)

    monkeypatch.setattr(module, "run_day", noted)
    run_due(duties)
    assert calls == [[FARMS[1], FARMS[0]], [FARMS[2]]]
