"""Reported runs, listed, corrected and undone.

A run is named by its block and start. One that is undone counts as never reported: its day is taken
from the block's other runs, or from the plan. Its row stays, and the record of changes has it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid, NotFound
from service.operations.evening.replan_after import Replanning, replan_after
from service.operations.feedback.read_soil import block_at
from service.operations.feedback.report_runs import (
    OLDEST_RUN,
    ReportedRuns,
    RunReport,
    store_runs,
)
from service.records.audit import Subject
from service.records.feeds import FeedScope, RunEntry
from service.translations.catalogue import marked

TITLE = "the run cannot be corrected"
TAKEN = marked("a start that no other run of the block has")


@dataclass(frozen=True, slots=True)
class RunsWish:
    """Which reported runs are listed."""

    farm_id: str
    block_id: str | None = None
    """None: of all blocks."""
    first_day: date | None = None
    last_day: date | None = None
    before: tuple[datetime, int] | None = None
    """Start and key of the last run that the caller has."""
    count: int = 100


@dataclass(frozen=True, slots=True)
class RunPage:
    """Reported runs, the latest first, and whether there are more."""

    runs: Sequence[RunEntry]
    has_more: bool


@dataclass(frozen=True, slots=True)
class RunUndone:
    """What became of a run that was to be undone."""

    run_count: int
    """0: it had been undone before."""
    new_version_count: int
    """Plans that were replaced."""


def list_reported(wish: RunsWish, *, unit_of_work: UnitOfWorkFactory) -> RunPage:
    """Reported runs of a farm or block, the latest start first, without those that are undone.

    Raises NotFound for an unknown farm or another farm's block, InputInvalid for days that do not
    rise.
    """
    first, last = wish.first_day, wish.last_day
    if first is not None and last is not None and last < first:
        allowed = f"{first.isoformat()} or a later day"
        raise InputInvalid("there are no such days", [Fault("to", last.isoformat(), allowed)])
    with unit_of_work(write=False) as unit:
        unit.blocks.get_farm(wish.farm_id)
        if wish.block_id is not None:
            check_block_of(unit, wish.farm_id, wish.block_id)
        found = unit.feeds.list_latest_runs(
            FeedScope(farm_id=wish.farm_id, first_day=first, last_day=last),
            block_id=wish.block_id,
            before=wish.before,
            count=wish.count + 1,
        )
    return RunPage(found[: wish.count], len(found) > wish.count)


def check_block_of(unit: UnitOfWork, farm_id: str, block_id: str) -> None:
    """Raise NotFound for a block that is not, and never was, the farm's."""
    if "." not in block_id or unit.blocks.get_farm_of(block_id).farm_id != farm_id:
        raise NotFound(f"there is no block {block_id} of farm {farm_id}")


def undo_run(
    unit: UnitOfWork, block_id: str, started_at: datetime, *, replanning: Replanning
) -> RunUndone:
    """Let a run count as never reported, and update the balance and plans; twice changes nothing.

    A start without an offset is one of the site's clock. Raises NotFound for a block that is not in
    force or a run that was never reported, InputInvalid for one that is too old.
    """
    day = _undo(unit, block_id, started_at, now=replanning.clock.now())
    if day is None:
        return RunUndone(0, 0)
    farms = [unit.blocks.get_farm_of(block_id).farm_id]
    return RunUndone(1, replan_after(unit, farms, touched_day=day, replanning=replanning))


def correct_run(
    unit: UnitOfWork,
    started_at: datetime,
    corrected: RunReport,
    *,
    reporter: str,
    replanning: Replanning,
) -> ReportedRuns:
    """Give a run of ``corrected``'s block another length, volume or start; plans follow once.

    Raises as :func:`undo_run`, and InputInvalid with JSON pointers for what cannot have run.
    """
    now = replanning.clock.now()
    block, local = block_at(unit, corrected.block_id, started_at, now=now)
    was, becomes = local.astimezone(UTC), corrected.started_at
    becomes = becomes.replace(tzinfo=becomes.tzinfo or local.tzinfo).astimezone(UTC)
    key = unit.blocks.get_block_key(block.block_id)
    first_days = [unit.reports.find_run_day(key, was)]
    if first_days == [None]:
        raise _no_such_run(block.block_id, local)
    if becomes != was:
        if unit.reports.find_run_day(key, becomes) is not None:
            fault = Fault("/started_at", corrected.started_at.isoformat(), TAKEN)
            raise InputInvalid(TITLE, [fault])
        first_days.append(_undo(unit, block.block_id, was, now=now))
    stored = store_runs(
        unit,
        [replace(corrected, started_at=becomes)],
        farm_id=block.farm_id,
        reporter=reporter,
        now=now,
        is_all_or_none=True,
    )
    if stored.faults[0]:
        raise InputInvalid(TITLE, stored.faults[0])
    count = 0
    if stored.first_day is not None:
        days = [each for each in (*first_days, stored.first_day) if each is not None]
        count = replan_after(unit, [block.farm_id], touched_day=min(days), replanning=replanning)
    return ReportedRuns(stored.outcome, count, stored.flow)


def _undo(unit: UnitOfWork, block_id: str, started_at: datetime, *, now: datetime) -> date | None:
    """The day of a run that is undone now; None where it had been before."""
    block, local = block_at(unit, block_id, started_at, now=now)
    if local < now - OLDEST_RUN:
        allowed = f"a time that has passed, at most {OLDEST_RUN.days} days ago"
        raise InputInvalid(
            "the run cannot be undone", [Fault("/started_at", local.isoformat(), allowed)]
        )
    key = unit.blocks.get_block_key(block.block_id)
    found = unit.reports.undo_run(key, local, at=now)
    if found is None:
        raise _no_such_run(block.block_id, local)
    if not found.was_in_force:
        return None
    unit.audit.note(Subject.RUNS, block.block_id, farm_id=block.farm_id, before=found.water)
    unit.ledger.rewind_block(block_key=key, day=found.day)
    return found.day


def _no_such_run(block_id: str, local: datetime) -> NotFound:
    return NotFound(f"no run of {block_id} that began at {local.isoformat()} is reported")
