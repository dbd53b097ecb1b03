"""Plans and runs of many farms in the order in which they were stored, read from a place on.

The numbers of plans and of changed runs rise in the order in which their transactions become
visible, since both are drawn while the row of a change mark is locked: who has read up to one
misses nothing before it.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, Table, select, tuple_

from service.database import mapping
from service.database.block_versions import is_newest
from service.database.bulk import is_among
from service.database.packing import PLAN_NUMBERS
from service.database.tables import block, block_version, farm, plan, run, site
from service.records.feeds import FeedScope, PlanEntry, RunEntry

_RUN = (
    run.c.change_count,
    run.c.run_key,
    run.c.day,
    run.c.started_at,
    run.c.duration_min,
    run.c.volume_l,
    run.c.is_volume_booked,
    run.c.recorded_at,
    run.c.reporter,
    run.c.undone_at,
)


class FeedStore:
    """Plans and runs in the order in which they came."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def list_plans(self, scope: FeedScope, *, after: int, count: int) -> list[PlanEntry]:
        """Plans in force that were published after one, the oldest first.

        Plans of blocks that are retired on their day are left out.
        """
        is_in_use = block_version.c.is_retired.is_(False) | (
            block_version.c.valid_from > plan.c.day
        )
        query = _of_blocks(
            select(
                plan.c.plan_key,
                plan.c.day,
                plan.c.version,
                plan.c.status,
                plan.c.issued_at,
                plan.c.planned_min,
                plan.c.gross_mm,
                plan.c.net_mm,
                plan.c.pulses,
                plan.c.numbers,
                plan.c.packed,
                PLAN_NUMBERS.model_text,
                block_version.c.name,
            ),
            plan,
        )
        query = query.outerjoin(PLAN_NUMBERS.model, PLAN_NUMBERS.is_model).where(
            plan.c.superseded_at.is_(None), plan.c.plan_key > after, is_in_use
        )
        rows = self._connection.execute(
            query.where(*self._within(scope, plan)).order_by(plan.c.plan_key).limit(count)
        ).mappings()
        return [
            PlanEntry(
                plan_key=row["plan_key"],
                farm_id=row["farm_id"],
                block_id=row["block_id"],
                block_name=row["name"],
                zone=row["zone"],
                day=row["day"],
                version=row["version"],
                status=row["status"],
                issued_at=row["issued_at"],
                planned_min=row["planned_min"],
                gross_mm=mapping.nan_if_none(row["gross_mm"]),
                net_mm=mapping.nan_if_none(row["net_mm"]),
                pulses=mapping.pulses_from(row["pulses"]),
                reasoning=mapping.reasoning_of(row),
            )
            for row in rows
        ]

    def list_runs(self, scope: FeedScope, *, after: tuple[int, int], count: int) -> list[RunEntry]:
        """Runs that were stored, corrected or undone after one, the oldest change first.

        after: the change and the key of the last run that the caller has.
        """
        place = tuple_(run.c.change_count, run.c.run_key)
        query = _of_blocks(select(*_RUN), run).where(place > after)
        rows = self._connection.execute(
            query.where(*self._within(scope, run))
            .order_by(run.c.change_count, run.c.run_key)
            .limit(count)
        ).mappings()
        return [RunEntry(**row) for row in rows]

    def list_latest_runs(
        self,
        scope: FeedScope,
        *,
        block_id: str | None,
        before: tuple[datetime, int] | None,
        count: int,
    ) -> list[RunEntry]:
        """Runs that are in force, the latest start first.

        before: start and key of the last run that the caller has.
        """
        query = _of_blocks(select(*_RUN), run).where(run.c.undone_at.is_(None))
        if block_id is not None:
            query = query.where(block.c.block_id == block_id)
        if before is not None:
            query = query.where(tuple_(run.c.started_at, run.c.run_key) < before)
        rows = self._connection.execute(
            query.where(*self._within(scope, run))
            .order_by(run.c.started_at.desc(), run.c.run_key.desc())
            .limit(count)
        ).mappings()
        return [RunEntry(**row) for row in rows]

    def _within(self, scope: FeedScope, rows: Table) -> list[ColumnElement[bool]]:
        found = []
        if scope.farm_id is not None:
            found.append(farm.c.farm_id == scope.farm_id)
        if scope.site_keys is not None:
            found.append(is_among(self._connection, block_version.c.site_key, scope.site_keys))
        if scope.first_day is not None:
            found.append(rows.c.day >= scope.first_day)
        if scope.last_day is not None:
            found.append(rows.c.day <= scope.last_day)
        return found


def _of_blocks(query: Select[Any], rows: Table) -> Select[Any]:
    """Rows with the farm, the newest version and the site's zone of their block."""
    return (
        query.add_columns(farm.c.farm_id, block.c.block_id, site.c.zone)
        .join_from(rows, block, block.c.block_key == rows.c.block_key)
        .join(farm, farm.c.farm_key == block.c.farm_key)
        .join(block_version, block_version.c.block_key == block.c.block_key)
        .join(site, site.c.site_key == block_version.c.site_key)
        .where(is_newest())
    )
