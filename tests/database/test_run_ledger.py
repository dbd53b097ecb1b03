"""What every RunLedger does, whatever is behind it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import Engine

from service.database.run_ledger_store import ATTEMPT_LIMIT
from service.database.session import UnitOfWorkFactory
from service.errors import Conflict
from service.records.schedule import JobRun

KEY = "evening:orchard:2026-07-14"
DUE = datetime(2026, 7, 14, 23, 15, tzinfo=UTC)
LEASE_S = 30


def seconds(count: float) -> timedelta:
    return timedelta(seconds=count)


@dataclass(frozen=True)
class DueNow:
    """A run that may be claimed."""

    run_key: str
    job: str = "evening"
    due_at: datetime = DUE


def claim(
    open_unit: UnitOfWorkFactory, owner: str, now: datetime = DUE, run_key: str = KEY
) -> bool:
    with open_unit(write=True) as unit:
        return unit.runs.claim(
            run_key, job="evening", due_at=DUE, owner=owner, now=now, lease_s=LEASE_S
        )


def finish(open_unit: UnitOfWorkFactory, owner: str, now: datetime = DUE) -> None:
    with open_unit(write=True) as unit:
        unit.runs.finish(KEY, owner=owner, now=now, outcome="planned")


def give_back(open_unit: UnitOfWorkFactory, owner: str, retry_at: datetime) -> None:
    with open_unit(write=True) as unit:
        unit.runs.give_back(KEY, owner=owner, now=DUE, retry_at=retry_at)


def the_run(open_unit: UnitOfWorkFactory) -> JobRun:
    with open_unit(write=False) as unit:
        (run,) = unit.runs.list_runs(first_due_at=DUE)
    return run


def is_done(open_unit: UnitOfWorkFactory, now: datetime = DUE) -> bool:
    with open_unit(write=False) as unit:
        return unit.runs.list_done([KEY, "evening:orchard:2026-07-15"], now=now) == {KEY}


def test_a_run_is_taken_by_the_first_who_asks(open_unit: UnitOfWorkFactory) -> None:
    assert claim(open_unit, "first")
    assert not claim(open_unit, "second")
    assert not claim(open_unit, "first")
    assert the_run(open_unit) == JobRun(
        run_key=KEY,
        job="evening",
        due_at=DUE,
        state="claimed",
        owner="first",
        held_until=DUE + seconds(LEASE_S),
        attempt_count=1,
        changed_at=DUE,
        outcome=None,
    )


def test_runs_with_other_keys_are_free(open_unit: UnitOfWorkFactory) -> None:
    assert claim(open_unit, "first")
    assert claim(open_unit, "second", run_key="evening:orchard:2026-07-15")


def test_a_done_run_is_never_taken_again(open_unit: UnitOfWorkFactory) -> None:
    assert not is_done(open_unit)
    claim(open_unit, "first")
    assert not is_done(open_unit)
    finish(open_unit, "first")
    assert is_done(open_unit)
    assert not claim(open_unit, "second", DUE + timedelta(days=900))
    assert the_run(open_unit).outcome == "planned"


def test_the_run_of_a_dead_owner_is_free_when_its_lease_ends(open_unit: UnitOfWorkFactory) -> None:
    claim(open_unit, "dead")
    assert not claim(open_unit, "heir", DUE + seconds(LEASE_S - 0.001))
    assert claim(open_unit, "heir", DUE + seconds(LEASE_S))
    assert the_run(open_unit).attempt_count == 2


def test_a_renewed_lease_lasts_longer(open_unit: UnitOfWorkFactory) -> None:
    claim(open_unit, "first")
    with open_unit(write=True) as unit:
        assert unit.runs.renew_all([KEY], owner="first", now=DUE + seconds(20), lease_s=LEASE_S)
    assert not claim(open_unit, "second", DUE + seconds(49))
    assert claim(open_unit, "second", DUE + seconds(50))


def test_a_lost_run_can_be_neither_renewed_nor_finished_nor_given_back(
    open_unit: UnitOfWorkFactory,
) -> None:
    claim(open_unit, "slow")
    later = DUE + seconds(LEASE_S)
    claim(open_unit, "heir", later)
    with open_unit(write=True) as unit:
        assert not unit.runs.renew_all([KEY], owner="slow", now=later, lease_s=LEASE_S)
    with pytest.raises(Conflict, match="slow no longer holds it"):
        finish(open_unit, "slow", later)
    with pytest.raises(Conflict, match="slow no longer holds it"):
        give_back(open_unit, "slow", later)
    assert the_run(open_unit).owner == "heir"
    assert the_run(open_unit).state == "claimed"
    finish(open_unit, "heir", later)
    assert is_done(open_unit)


def test_a_lease_that_ended_but_was_not_taken_can_still_be_finished(
    open_unit: UnitOfWorkFactory,
) -> None:
    claim(open_unit, "slow")
    later = DUE + timedelta(hours=1)
    finish(open_unit, "slow", later)
    assert is_done(open_unit, later)


def test_a_run_given_back_is_free_from_the_time_it_says(open_unit: UnitOfWorkFactory) -> None:
    claim(open_unit, "first")
    retry_at = DUE + timedelta(minutes=15)
    give_back(open_unit, "first", retry_at)
    assert the_run(open_unit).state == "waiting"
    assert not claim(open_unit, "second", retry_at - seconds(1))
    assert claim(open_unit, "second", retry_at)


def test_a_run_that_always_fails_is_given_up(open_unit: UnitOfWorkFactory) -> None:
    attempts = 0
    while claim(open_unit, "first"):
        attempts += 1
        give_back(open_unit, "first", DUE)
    assert attempts == ATTEMPT_LIMIT
    assert not is_done(open_unit)


def test_a_claim_that_is_rolled_back_leaves_the_run_free(open_unit: UnitOfWorkFactory) -> None:
    with pytest.raises(KeyError), open_unit(write=True) as unit:
        assert unit.runs.claim(
            KEY, job="evening", due_at=DUE, owner="first", now=DUE, lease_s=LEASE_S
        )
        raise KeyError
    assert claim(open_unit, "second")


def test_what_was_done_while_the_clock_was_wrong_is_not_believed(
    open_unit: UnitOfWorkFactory,
) -> None:
    ahead = DUE + timedelta(days=1)
    assert claim(open_unit, "first", now=ahead)
    finish(open_unit, "first", now=ahead)
    assert not is_done(open_unit)
    assert claim(open_unit, "second")
    finish(open_unit, "second")
    assert is_done(open_unit)


def test_a_lease_from_the_future_holds_nothing(open_unit: UnitOfWorkFactory) -> None:
    assert claim(open_unit, "first", now=DUE + timedelta(days=1))
    assert claim(open_unit, "second")
    assert not claim(open_unit, "third")


def test_a_clock_a_little_ahead_is_believed(open_unit: UnitOfWorkFactory) -> None:
    ahead = DUE + timedelta(minutes=1)
    assert claim(open_unit, "first", now=ahead)
    finish(open_unit, "first", now=ahead)
    assert is_done(open_unit)
    assert not claim(open_unit, "second")


def test_many_keys_are_looked_up_at_once(open_unit: UnitOfWorkFactory) -> None:
    claim(open_unit, "first")
    finish(open_unit, "first")
    keys = [f"evening:farm-{number}:2026-07-14" for number in range(40_000)]
    with open_unit(write=False) as unit:
        assert unit.runs.list_done([*keys, KEY], now=DUE) == {KEY}
        assert unit.runs.list_done([], now=DUE) == set()


def test_runs_are_listed_by_due_time(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=True) as unit:
        for hour, key in ((3, "c"), (1, "b"), (2, "a"), (2, "d")):
            due_at = DUE + timedelta(hours=hour)
            unit.runs.claim(key, job="evening", due_at=due_at, owner="o", now=DUE, lease_s=1)
    with open_unit(write=False) as unit:
        found = unit.runs.list_runs(first_due_at=DUE + timedelta(hours=2))
    assert [run.run_key for run in found] == ["a", "d", "c"]


def test_the_last_tick_is_that_of_the_liveliest_scheduler(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=False) as unit:
        assert unit.runs.last_tick_at() is None
    with open_unit(write=True) as unit:
        unit.runs.note_tick(owner="dead", now=DUE)
        unit.runs.note_tick(owner="alive", now=DUE)
        unit.runs.note_tick(owner="alive", now=DUE + seconds(20))
    with open_unit(write=False) as unit:
        assert unit.runs.last_tick_at() == DUE + seconds(20)


def test_pruning_forgets_old_runs_that_are_done(open_unit: UnitOfWorkFactory) -> None:
    claim(open_unit, "first", run_key="evening:orchard:never-done")
    claim(open_unit, "first")
    finish(open_unit, "first")
    with open_unit(write=True) as unit:
        unit.runs.note_tick(owner="first", now=DUE)
        assert unit.runs.prune(before=DUE) == 0
        assert unit.runs.last_tick_at() == DUE
        assert unit.runs.prune(before=DUE + seconds(1)) == 1
        assert unit.runs.last_tick_at() is None
    assert the_run(open_unit).run_key == "evening:orchard:never-done"


def test_many_are_claimed_renewed_and_settled_in_one_go(open_unit: UnitOfWorkFactory) -> None:
    runs = [DueNow(f"evening:{farm}:2026-07-14") for farm in "cab"]
    keys = [run.run_key for run in runs]
    with open_unit(write=True, farm_keys=()) as unit:
        assert unit.runs.claim_all(runs[:1], owner="other", now=DUE, lease_s=LEASE_S) == {keys[0]}
        assert unit.runs.claim_all(runs, owner="own", now=DUE, lease_s=LEASE_S) == set(keys[1:])
        unit.runs.renew_all(keys, owner="own", now=DUE + seconds(20), lease_s=LEASE_S)
    later = DUE + seconds(LEASE_S)
    with open_unit(write=True, farm_keys=()) as unit:
        assert unit.runs.claim_all(runs, owner="heir", now=later, lease_s=LEASE_S) == {keys[0]}
        done = unit.runs.finish_all(keys[:2], owner="own", now=later, outcome="planned")
        assert done == {keys[1]}
        back = unit.runs.give_back_all(keys[2:], owner="own", now=later, retry_at=later)
        assert back == {keys[2]}
        assert unit.runs.claim_all(runs, owner="heir", now=later, lease_s=LEASE_S) == {keys[2]}


def test_a_server_has_a_clock_and_a_file_has_none(
    open_unit: UnitOfWorkFactory, engine: Engine
) -> None:
    with open_unit(write=True, farm_keys=()) as unit:
        first, second = unit.runs.server_time(), unit.runs.server_time()
    if engine.dialect.name == "sqlite":
        assert first is None
    else:
        assert first is not None and second is not None
        assert first.tzinfo is UTC and first < second
