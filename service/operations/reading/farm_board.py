"""A farm at a glance: what water each block has left, when it gets some, and what ran as planned.

The worst block comes first: one without a plan, then the one that has used most of its readily
available water.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.records import Floats
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.reading.read_farms import today_at
from service.operations.reading.read_plans import PlanView
from service.ports import Clock
from service.records.farms import BlockDefinition, BlockTable

DAYS_BACK = 7
"""Days up to today whose plans are held against what ran."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardLine:
    """One block of the board."""

    block: BlockDefinition
    view: PlanView | None
    """The plan for tomorrow, before the evening that for today; None without one."""
    available_fraction: float | None
    """Share of the total available water left at the midnight that the plan begins with."""
    used_raw_fraction: float | None
    """Share of the readily available water that is missing then."""
    due_day: date | None
    """First day on which the plan or its outlook gives water; None: on none of them."""
    planned_min: float
    """Minutes of the plans of the days that were reported."""
    run_min: float
    """Minutes that ran on them."""
    unreported_days_count: int
    """Days with a plan for water on which nobody reported what ran."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FarmBoard:
    """The blocks of a farm, the worst first."""

    farm_id: str
    today: date
    first_day: date
    """First of the days whose plans are held against what ran, up to today."""
    lines: Sequence[BoardLine]

    def due_in_days(self, line: BoardLine) -> int | None:
        """Days from today until a block gets water, 1 for tomorrow; None: not foreseen."""
        return None if line.due_day is None else (line.due_day - self.today).days


def farm_board(farm_id: str, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> FarmBoard:
    """The blocks of a farm as of today; raises NotFound."""
    with unit_of_work(write=False) as unit:
        today = today_at(unit, farm_id, clock.now())
        blocks = unit.blocks.list_blocks(farm_id=farm_id, day=today + ONE_DAY)
        views = _views(unit, farm_id, blocks, today)
        first_day = today - (DAYS_BACK - 1) * ONE_DAY
        farm_keys = np.array([*unit.blocks.farm_keys([farm_id]).values()], dtype=np.int64)
        table = unit.blocks.read_block_table(today + ONE_DAY, farm_keys=farm_keys)
        ran = _planned_and_run(unit, table, first_day)
    lines = [_line(block, views.get(block.block_id), ran[block.block_id]) for block in blocks]
    return FarmBoard(
        farm_id=farm_id, today=today, first_day=first_day, lines=sorted(lines, key=_worst_first)
    )


def _views(
    unit: UnitOfWork, farm_id: str, blocks: Sequence[BlockDefinition], today: date
) -> Mapping[str, PlanView]:
    """The newest plan of each block, of today or tomorrow."""
    of_id = {block.block_id: block for block in blocks}
    return {
        plan.block_id: PlanView(plan, of_id[plan.block_id])
        for day in (today, today + ONE_DAY)  # the later one stays
        for plan in unit.plans.list_plans(day=day, farm_id=farm_id)
        if plan.block_id in of_id
    }


@dataclass(frozen=True, slots=True)
class _Ran:
    planned_min: float
    run_min: float
    unreported_days_count: int


def _planned_and_run(unit: UnitOfWork, table: BlockTable, first_day: date) -> Mapping[str, _Ran]:
    """What was planned for the last days and what ran, by block."""
    days = np.datetime64(first_day) + np.arange(DAYS_BACK)
    planned: Floats = np.stack(
        [
            np.nan_to_num(unit.plans.read_in_force(table.keys, day=day.item()).planned_min)
            for day in days
        ]
    )
    applied = unit.reports.read_applied(table.keys, days)
    is_known = applied.is_reported
    run = np.where(is_known, applied.early_min + applied.day_min, 0.0).sum(axis=0)
    held = np.where(is_known, planned, 0.0).sum(axis=0)
    unreported = ((planned > 0.0) & ~is_known).sum(axis=0)
    return {
        block_id: _Ran(float(held[row]), float(run[row]), int(unreported[row]))
        for row, block_id in enumerate(table.block_ids)
    }


def _line(block: BlockDefinition, view: PlanView | None, ran: _Ran) -> BoardLine:
    available = used = None
    if view is not None and view.plan.status != "no-weather":
        reasoning = view.plan.reasoning
        missing_mm = reasoning.depletion_midnight_mm
        if missing_mm is not None:
            available = _share(reasoning.taw_mm, missing_mm, left=True)
            used = _share(reasoning.raw_mm, missing_mm, left=False)
    return BoardLine(
        block=block,
        view=view,
        available_fraction=available,
        used_raw_fraction=used,
        due_day=None if view is None else _due_day(view),
        planned_min=ran.planned_min,
        run_min=ran.run_min,
        unreported_days_count=ran.unreported_days_count,
    )


def _share(store_mm: float | None, missing_mm: float, *, left: bool) -> float | None:
    if not store_mm:
        return None
    missing = max(missing_mm, 0.0) / store_mm
    return max(0.0, 1.0 - missing) if left else missing


def _due_day(view: PlanView) -> date | None:
    """The first day with water, of the plan and the days after it."""
    plan = view.plan
    if plan.pulses:
        return plan.day
    expected = plan.reasoning.outlook_expected_min
    return next(
        (plan.day + ahead * ONE_DAY for ahead, minutes in enumerate(expected) if minutes), None
    )


def _worst_first(line: BoardLine) -> tuple[bool, float, str]:
    used = line.used_raw_fraction
    return used is not None, -(used or 0.0), line.block.name
