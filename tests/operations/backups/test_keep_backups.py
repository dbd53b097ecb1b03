"""Backups on schedule: once a day whoever looks, tried again after a failure, old ones removed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from service.database.session import UnitOfWorkFactory
from service.errors import StorageFailed
from service.operations.backups.keep_backups import (
    LEASE_S,
    LOOKS_BACK_DAYS,
    RETRY_AFTER,
    BackupRule,
    Keeper,
    Kept,
    backup_finding,
    keep_backups,
    last_backup_at,
    name_backup,
    surplus,
)
from service.records.backups import Contents, Manifest
from tests.scheduled_farms import FixedClock

AT = datetime(2026, 7, 14, 9, 0, tzinfo=UTC)
DAY = timedelta(days=1)
MINUTE = timedelta(minutes=1)


class Copies:
    """Makes folders in the place of backups."""

    def __init__(self) -> None:
        self.failure: Exception | None = None
        self.made: list[str] = []

    def __call__(self, to: Path, now: datetime) -> Manifest:
        if self.failure is not None:
            raise self.failure
        to.mkdir(parents=True)
        self.made.append(to.name)
        return Manifest(now, "1", "sqlite", "SQLite 3", "farm.db", 2_000_000, "", Contents("a", {}))


@pytest.fixture
def copies() -> Copies:
    return Copies()


@pytest.fixture
def clock() -> FixedClock:
    return FixedClock(AT)


@pytest.fixture
def keeper(
    open_unit: UnitOfWorkFactory, clock: FixedClock, copies: Copies, tmp_path: Path
) -> Keeper:
    rule = BackupRule(tmp_path / "backups", at_hour=9, daily_kept=2, weekly_kept=2)
    return Keeper("keeper-1", open_unit, clock, rule, copies)


def last_of(keeper: Keeper) -> datetime | None:
    with keeper.unit_of_work(write=False) as unit:
        return last_backup_at(unit, keeper.clock.now())


def test_a_day_has_one_backup_whoever_looks(
    keeper: Keeper, clock: FixedClock, copies: Copies
) -> None:
    other = Keeper("keeper-2", keeper.unit_of_work, clock, keeper.rule, copies)
    assert keep_backups(keeper) == Kept("20260714T090000Z, 2.0 MB, 0 rows")
    assert keep_backups(keeper) is None
    clock.time = AT + DAY - MINUTE
    assert keep_backups(other) is None
    clock.time = AT + DAY
    assert keep_backups(other) is not None
    assert copies.made == ["20260714T090000Z", "20260715T090000Z"]


def test_what_was_missed_is_made_once_and_late(
    keeper: Keeper, clock: FixedClock, copies: Copies
) -> None:
    clock.time = AT + 5 * DAY + timedelta(hours=13)
    keep_backups(keeper)
    assert keep_backups(keeper) is None
    assert copies.made == ["20260719T220000Z"]


def test_a_failure_is_said_and_tried_again(
    keeper: Keeper, clock: FixedClock, copies: Copies
) -> None:
    copies.failure = StorageFailed("the disk is full")
    assert keep_backups(keeper) == Kept(None, "the disk is full")
    assert last_of(keeper) is None
    copies.failure = None
    clock.time = AT + RETRY_AFTER - MINUTE
    assert keep_backups(keeper) is None
    clock.time = AT + RETRY_AFTER
    assert keep_backups(keeper) is not None
    assert last_of(keeper) == AT + RETRY_AFTER


def test_a_process_that_died_is_followed_by_another_and_what_it_left_goes(
    keeper: Keeper, clock: FixedClock, copies: Copies
) -> None:
    folder = keeper.rule.folder
    left = folder / f".{name_backup(AT)}.part"

    def die(to: Path, now: datetime) -> Manifest:
        left.mkdir(parents=True)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        keep_backups(Keeper("keeper-0", keeper.unit_of_work, clock, keeper.rule, die))
    clock.time = AT + timedelta(seconds=LEASE_S - 1)
    assert keep_backups(keeper) is None
    assert left.exists()
    clock.time = AT + timedelta(seconds=LEASE_S + 1)
    assert keep_backups(keeper) is not None
    assert not left.exists()


def test_old_backups_go_once_a_new_one_is_there_and_nothing_else_does(
    keeper: Keeper, clock: FixedClock, copies: Copies
) -> None:
    folder = keeper.rule.folder
    (folder / "photographs").mkdir(parents=True)
    (folder / "20260101T000000Z.txt").touch()
    for number in range(9):
        clock.time = AT + number * DAY  # from a Tuesday to the Wednesday of the week after
        assert keep_backups(keeper) is not None
    assert {each.name for each in folder.iterdir()} == {
        "photographs",
        "20260101T000000Z.txt",
        "20260719T090000Z",  # the last of its week
        "20260721T090000Z",
        "20260722T090000Z",
    }
    copies.failure = StorageFailed("the disk is full")
    clock.time = AT + 9 * DAY
    keep_backups(keeper)
    assert len(list(folder.iterdir())) == 5


def test_the_last_of_each_day_and_week_is_kept() -> None:
    names = [name_backup(AT + timedelta(hours=12 * half)) for half in range(60)]  # thirty days
    gone = surplus(names, daily_kept=3, weekly_kept=3)
    kept = [name for name in names if name not in gone]
    # 12 August is a Wednesday; the weeks before it end on 9 August and 2 August.
    assert kept == [
        "20260802T210000Z",
        "20260809T210000Z",
        "20260810T210000Z",
        "20260811T210000Z",
        "20260812T210000Z",
    ]
    assert surplus(names, daily_kept=100, weekly_kept=0) == names[:-1:2]


def test_the_newest_backup_always_stays() -> None:
    assert surplus(["20260714T090000Z"], daily_kept=0, weekly_kept=0) == []
    assert surplus(["notes", "..", ".20260714T090000Z.part"], daily_kept=0, weekly_kept=0) == []


def test_the_age_of_the_last_one_is_told(keeper: Keeper, clock: FixedClock) -> None:
    alarm = timedelta(hours=36)
    assert backup_finding(None, AT, alarm_after=None) is None
    found = backup_finding(None, AT, alarm_after=alarm)
    assert found == f"no backup has been made on schedule within {LOOKS_BACK_DAYS} days"
    keep_backups(keeper)
    assert last_of(keeper) == AT
    assert backup_finding(AT, AT + alarm, alarm_after=alarm) is None
    found = backup_finding(AT, AT + timedelta(hours=40), alarm_after=alarm)
    assert found == "the last backup is 40 hours old"
    clock.time = AT + (LOOKS_BACK_DAYS - 1) * DAY
    assert last_of(keeper) == AT
    clock.time += DAY
    assert last_of(keeper) is None
