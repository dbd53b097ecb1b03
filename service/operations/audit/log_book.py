"""The log book of a farm: what was reported, noted and changed, the newest first.

It is the record of changes, read by kind, block and days, with the notes of visits in full. The
service's own work of every evening is not in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from service.agronomy.civil_day import ONE_DAY, wall_time
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid, NotFound
from service.operations.reading.read_farms import today_at
from service.ports import Clock
from service.records.audit import AuditEntry, Subject
from service.records.farms import FarmDefinition
from service.records.season import VisitNote

PAGE_SIZE: Final = 50
MOST_ENTRIES: Final = 5_000
"""Of a file; more are had by asking for fewer days."""


class LogKind(StrEnum):
    """What an entry is about."""

    RUNS = "runs"
    RAIN = "rain"
    SOIL = "soil"
    PAUSES = "pauses"
    TIMERS = "timers"
    FEEDING = "feeding"
    TESTS = "tests"
    NOTES = "notes"
    SET_UP = "set-up"
    ACCESS = "access"


SUBJECTS_OF: Final[Mapping[LogKind, tuple[Subject, ...]]] = MappingProxyType(
    {
        LogKind.RUNS: (Subject.RUNS,),
        LogKind.RAIN: (Subject.RAIN, Subject.WEATHER),
        LogKind.SOIL: (Subject.SOIL,),
        LogKind.PAUSES: (Subject.PAUSE,),
        LogKind.TIMERS: (Subject.TIMER,),
        LogKind.FEEDING: (Subject.PRODUCT, Subject.INJECTION, Subject.ACID),
        LogKind.TESTS: (
            Subject.NUTRIENT_TEST,
            Subject.WATER_SAMPLE,
            Subject.CATCH_TEST,
            Subject.FLOW_FINDING,
        ),
        LogKind.NOTES: (Subject.VISIT_NOTE,),
        LogKind.SET_UP: (
            Subject.FARM,
            Subject.SITE,
            Subject.COUNTY,
            Subject.BOUNDARIES,
            Subject.SUPPLY,
            Subject.BLOCK,
            Subject.CONTROLLER,
        ),
        LogKind.ACCESS: (
            Subject.PERSON,
            Subject.KEY,
            Subject.CALENDAR_LINK,
            Subject.SUBSCRIPTION,
        ),
    }
)
"""Every subject of the record of changes is of one kind."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LogWish:
    """Which entries are wanted; None: any."""

    farm_id: str
    block_id: str | None = None
    """Also what concerns its site and supply, and notes of the whole farm."""
    kind: LogKind | None = None
    first_day: date | None = None
    last_day: date | None = None
    older_than: int | None = None
    """Key of the last entry of the page before."""
    count: int = PAGE_SIZE


@dataclass(frozen=True, slots=True)
class LogEntry:
    """One entry."""

    change: AuditEntry
    note: VisitNote | None
    """A note of a visit as it was written, where the record holds but its beginning."""


@dataclass(frozen=True, slots=True)
class LogBook:
    """A page of the log book."""

    farm: FarmDefinition
    entries: tuple[LogEntry, ...]
    has_more: bool
    block_names: Mapping[str, str]
    """Names of the farm's blocks today, by id."""
    names: Mapping[str, str]
    """The same of the farm, its sites, supplies and blocks."""


def read_log_book(wish: LogWish, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> LogBook:
    """Entries of a farm's log book; raises NotFound for an unknown farm or another farm's block,
    InputInvalid for days that do not rise.
    """
    first, last = wish.first_day, wish.last_day
    if first is not None and last is not None and last < first:
        allowed = f"{first.isoformat()} or a later day"
        raise InputInvalid("there are no such days", [Fault("to", last.isoformat(), allowed)])
    with unit_of_work(write=False) as unit:
        farm = unit.blocks.get_farm(wish.farm_id)
        today = today_at(unit, wish.farm_id, clock.now())
        bundle = unit.blocks.get_bundle(wish.farm_id, day=today)
        found = unit.audit.list_entries(
            wish.farm_id,
            count=wish.count + 1,
            older_than=wish.older_than,
            subjects=() if wish.kind is None else SUBJECTS_OF[wish.kind],
            about=() if wish.block_id is None else _about(unit, wish.farm_id, wish.block_id),
            between=(
                None if first is None else _midnight(first, farm.zone),
                None if last is None else _midnight(last + ONE_DAY, farm.zone),
            ),
        )
        entries = tuple(LogEntry(each, _note_of(unit, each)) for each in found[: wish.count])
    # By time, since a record that was brought from elsewhere may be older than its key says.
    entries = tuple(sorted(entries, key=lambda each: each.change.at, reverse=True))
    block_names = {each.block_id: each.name for each in bundle.blocks}
    names = {
        farm.farm_id: farm.name,
        **{each.site_id: each.name for each in bundle.sites},
        **{each.supply_id: each.name for each in bundle.supplies},
        **block_names,
    }
    return LogBook(farm, entries, len(found) > wish.count, block_names, names)


def _midnight(day: date, zone: str) -> datetime:
    return wall_time(day, 0, zone)


def _about(unit: UnitOfWork, farm_id: str, block_id: str) -> list[tuple[Subject | None, str]]:
    """The things that concern a block."""
    if "." not in block_id or unit.blocks.get_farm_of(block_id).farm_id != farm_id:
        raise NotFound(f"there is no block {block_id} of farm {farm_id}")
    block = unit.blocks.get_block(block_id, day=date.max)
    return [
        (None, block_id),
        (Subject.VISIT_NOTE, farm_id),
        (Subject.RAIN, block.site_id),
        (Subject.WEATHER, block.site_id),
        (Subject.SUPPLY, block.supply_id),
        (Subject.WATER_SAMPLE, block.supply_id),
    ]


def _note_of(unit: UnitOfWork, entry: AuditEntry) -> VisitNote | None:
    """The note that an entry holds the beginning of; entries are cut, notes are not."""
    after = entry.after or {}
    if entry.subject is not Subject.VISIT_NOTE or not str(after.get("text", "")).endswith("…"):
        return None
    return unit.visit_notes.find(str(entry.farm_id), str(after.get("note_id", "")))
