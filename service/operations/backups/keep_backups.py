"""Makes the day's backup when it is due, and removes those that have served their time.

Any number of schedulers may look: the run ledger gives the day's backup to one of them, under the
key ``backup:{date}``. The others know from it how old the last one is, wherever its folder is. One
that fails is tried again later, by anybody; a process that dies leaves it to others after
``LEASE_S``.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Final

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Conflict, RillwrightError
from service.ports import Clock
from service.records.backups import Manifest

BACKUP: Final = "backup"
LEASE_S: Final = 7_200
"""Longer than a backup takes, so that none is begun twice; our own choice."""
RETRY_AFTER: Final = timedelta(minutes=15)
LOOKS_BACK_DAYS: Final = 31
_NAME: Final = re.compile(r"\d{8}T\d{6}Z")
_UNFINISHED: Final = re.compile(r"\.\d{8}T\d{6}Z\.part")


@dataclass(frozen=True, slots=True)
class BackupRule:
    """When backups are made, where, and how many are kept."""

    folder: Path
    at_hour: int
    """Hour of the UTC day from which the day's backup is due."""
    daily_kept: int
    """The last of each of so many days is kept, days without one not counted."""
    weekly_kept: int
    """The last of each of so many weeks likewise; weeks begin on Monday, UTC."""


@dataclass(frozen=True, slots=True)
class Keeper:
    """What a process that keeps backups works with."""

    owner: str
    """Its name, unique among those that share the database."""
    unit_of_work: UnitOfWorkFactory
    clock: Clock
    rule: BackupRule
    make: Callable[[Path, datetime], Manifest]
    """Makes a backup in a new folder, of the instant given; raises InputInvalid, StorageFailed."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What was done about a backup that was due."""

    outcome: str | None
    """What was made; None: nothing."""
    reason: str = ""
    """Why not."""


def keep_backups(keeper: Keeper) -> Kept | None:
    """Make the backup that is due and remove old ones; None if there is nothing to do."""
    now = keeper.clock.now()
    day, due_at = _latest_due(now, keeper.rule)
    run_key = _key(day)
    with keeper.unit_of_work(write=False) as unit:
        if unit.runs.list_kept([run_key], now=now):
            return None
    with keeper.unit_of_work(write=True) as unit:
        if not unit.runs.claim(
            run_key, job=BACKUP, due_at=due_at, owner=keeper.owner, now=now, lease_s=LEASE_S
        ):
            return None
    kept = _make(keeper, now)
    now = keeper.clock.now()
    try:
        with keeper.unit_of_work(write=True) as unit:
            if kept.outcome is None:
                retry_at = now + RETRY_AFTER
                unit.runs.give_back(run_key, owner=keeper.owner, now=now, retry_at=retry_at)
            else:
                unit.runs.finish(run_key, owner=keeper.owner, now=now, outcome=kept.outcome)
    except Conflict as error:
        return Kept(None, str(error))
    return kept


def _make(keeper: Keeper, now: datetime) -> Kept:
    folder, rule = keeper.rule.folder, keeper.rule
    try:
        _drop_unfinished(folder, now)
        name = name_backup(now)
        manifest = keeper.make(folder / name, now)
        names = [each.name for each in folder.iterdir() if each.is_dir()]
        old = surplus(names, daily_kept=rule.daily_kept, weekly_kept=rule.weekly_kept)
        for each in old:
            shutil.rmtree(folder / each)
    except (RillwrightError, OSError) as error:
        return Kept(None, str(error))
    text = f"{name}, {manifest.byte_count / 1e6:.1f} MB, {manifest.contents.row_count} rows"
    return Kept(f"{text}; {len(old)} old ones removed" if old else text)


def _drop_unfinished(folder: Path, now: datetime) -> None:
    """Remove what a process that was killed has left, once nobody can be at it any more."""
    if not folder.is_dir():
        return
    limit = f".{name_backup(now - timedelta(seconds=LEASE_S))}"
    for each in folder.iterdir():
        if _UNFINISHED.fullmatch(each.name) and each.name < limit:
            shutil.rmtree(each)


def surplus(names: Iterable[str], *, daily_kept: int, weekly_kept: int) -> list[str]:
    """Which backups may go, of these by name; what is not named like a backup never may.

    The newest always stays.
    """
    last_of_day: dict[date, str] = {}
    last_of_week: dict[tuple[int, int], str] = {}
    known = sorted(name for name in names if _NAME.fullmatch(name))
    for name in known:
        day = datetime.strptime(name[:8], "%Y%m%d").replace(tzinfo=UTC).date()
        last_of_day[day] = name
        last_of_week[day.isocalendar()[:2]] = name
    stays = {
        *known[-1:],
        *[last_of_day[day] for day in sorted(last_of_day, reverse=True)[:daily_kept]],
        *[last_of_week[week] for week in sorted(last_of_week, reverse=True)[:weekly_kept]],
    }
    return [name for name in known if name not in stays]


def name_backup(now: datetime) -> str:
    """The name of a backup's folder, which sorts by age."""
    return now.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")


def last_backup_at(unit: UnitOfWork, now: datetime) -> datetime | None:
    """When the last backup on schedule was finished; None: not within LOOKS_BACK_DAYS."""
    today = now.astimezone(UTC).date()
    keys = [_key(today - timedelta(days=back)) for back in range(LOOKS_BACK_DAYS)]
    return unit.runs.last_done_at(keys, now=now)


def backup_finding(
    last_at: datetime | None, now: datetime, *, alarm_after: timedelta | None
) -> str | None:
    """What is wrong with the age of the last backup; None: nothing, or none are expected."""
    if alarm_after is None:
        return None
    if last_at is None:
        return f"no backup has been made on schedule within {LOOKS_BACK_DAYS} days"
    if now - last_at > alarm_after:
        hours = (now - last_at).total_seconds() / 3600.0
        return f"the last backup is {hours:.0f} hours old"
    return None


def _latest_due(now: datetime, rule: BackupRule) -> tuple[date, datetime]:
    due_at = datetime.combine(now.astimezone(UTC).date(), time(rule.at_hour), tzinfo=UTC)
    if due_at > now:
        due_at -= timedelta(days=1)
    return due_at.date(), due_at


def _key(day: date) -> str:
    return f"{BACKUP}:{day.isoformat()}"
