"""Programs of timers in the database."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from sqlalchemy import (
    ColumnElement,
    Connection,
    RowMapping,
    and_,
    bindparam,
    delete,
    func,
    insert,
    or_,
    select,
    update,
)

from service.agronomy.records import Ints
from service.agronomy.week_ahead import DayRule
from service.database.bulk import is_among
from service.database.tables import block, timer_program
from service.errors import NotFound
from service.records.timers import PLANNING_WEEK, OfferedProgram, TimerProgram


class TimerStore:
    """Programs that were offered for timers, and which of them were set."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def offer(self, programs: Sequence[OfferedProgram]) -> None:
        """Store programs; of a block, offers that were not set for a week, or begin later, go."""
        if not programs:
            return
        ids = [each.block_id for each in programs]
        keys = dict(
            self._connection.execute(
                select(block.c.block_id, block.c.block_key).where(block.c.block_id.in_(ids))
            ).all()
        )
        first = timer_program.c.first_day
        self._connection.execute(
            delete(timer_program).where(
                timer_program.c.block_key == bindparam("key"),
                timer_program.c.set_from.is_(None),
                or_(first >= bindparam("first"), first < bindparam("week_before")),
            ),
            [
                {
                    "key": keys[each.block_id],
                    "first": each.program.first_day,
                    "week_before": each.program.first_day - PLANNING_WEEK,
                }
                for each in programs
            ],
        )
        self._connection.execute(
            insert(timer_program),
            [_row(each, keys[each.block_id]) for each in programs],
        )

    def read(self, block_keys: Ints, *, since: date) -> dict[str, tuple[OfferedProgram, ...]]:
        """Programs of the blocks with these keys, as :meth:`list_programs`."""
        among = is_among(self._connection, timer_program.c.block_key, block_keys)
        return self._found(among, since)

    def list_programs(
        self, block_ids: Sequence[str], *, since: date
    ) -> dict[str, tuple[OfferedProgram, ...]]:
        """Programs by block, by first day: those in force on a day or after it, and offers."""
        if not block_ids:
            return {}
        return self._found(block.c.block_id.in_(block_ids), since)

    def find_program(self, program_id: str) -> OfferedProgram | None:
        """One program, set or not; None if there is none of this id, or none any more."""
        row = (
            self._connection.execute(
                select(timer_program, block.c.block_id)
                .join(block, block.c.block_key == timer_program.c.block_key)
                .where(timer_program.c.program_id == program_id)
            )
            .mappings()
            .one_or_none()
        )
        return None if row is None else _program(row)

    def _found(
        self, among: ColumnElement[bool], since: date
    ) -> dict[str, tuple[OfferedProgram, ...]]:
        older = timer_program.alias()
        in_force_from = (
            select(func.max(older.c.set_from))
            .where(older.c.block_key == timer_program.c.block_key, older.c.set_from <= since)
            .scalar_subquery()
        )
        rows = self._connection.execute(
            select(timer_program, block.c.block_id)
            .join(block, block.c.block_key == timer_program.c.block_key)
            .where(
                among,
                or_(
                    timer_program.c.set_from > since,
                    timer_program.c.set_from == in_force_from,
                    and_(timer_program.c.set_from.is_(None), timer_program.c.first_day >= since),
                ),
            )
            .order_by(timer_program.c.first_day, timer_program.c.program_key)
        ).mappings()
        found: dict[str, tuple[OfferedProgram, ...]] = {}
        for row in rows:
            found[row["block_id"]] = (*found.get(row["block_id"], ()), _program(row))
        return found

    def set_program(
        self, block_id: str, program_id: str, *, set_from: date, at: datetime, reporter: str
    ) -> None:
        """Note that a program was set on the timer; raises NotFound if the block has no such."""
        changed = self._connection.execute(
            update(timer_program)
            .where(
                timer_program.c.program_id == program_id,
                timer_program.c.block_key
                == select(block.c.block_key).where(block.c.block_id == block_id).scalar_subquery(),
            )
            .values(set_from=set_from, set_at=at, reporter=reporter)
        )
        if changed.rowcount == 0:
            raise NotFound(f"block {block_id!r}: it has no program {program_id!r}")


def _row(offered: OfferedProgram, block_key: int) -> dict[str, object]:
    program = offered.program
    return {
        "program_id": offered.program_id,
        "block_key": block_key,
        "first_day": program.first_day,
        "day_rule": int(program.day_rule),
        "day_mask": program.day_mask,
        "start_count": program.start_count,
        "first_start_min": program.first_start_min,
        "spacing_min": program.spacing_min,
        "run_min": program.run_min,
        "offered_at": offered.offered_at,
        "is_early": offered.is_early,
        "excess_mm": offered.excess_mm,
        "drainage_mm": offered.drainage_mm,
        "depletion_end_mm": offered.depletion_end_mm,
        "normal_day_count": offered.normal_day_count,
        "earlier_year_count": offered.earlier_year_count,
        "set_from": offered.set_from,
        "set_at": offered.set_at,
        "reporter": offered.reporter,
    }


def _program(row: RowMapping) -> OfferedProgram:
    return OfferedProgram(
        program_id=row["program_id"],
        block_id=row["block_id"],
        program=TimerProgram(
            first_day=row["first_day"],
            day_rule=DayRule(row["day_rule"]),
            day_mask=row["day_mask"],
            start_count=row["start_count"],
            first_start_min=row["first_start_min"],
            spacing_min=row["spacing_min"],
            run_min=row["run_min"],
        ),
        offered_at=row["offered_at"],
        is_early=row["is_early"],
        excess_mm=row["excess_mm"],
        drainage_mm=row["drainage_mm"],
        depletion_end_mm=row["depletion_end_mm"],
        normal_day_count=row["normal_day_count"],
        earlier_year_count=row["earlier_year_count"],
        set_from=row["set_from"],
        set_at=row["set_at"],
        reporter=row["reporter"],
    )
