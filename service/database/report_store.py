"""Reported runs in the database."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from typing import Any

import numpy as np
from sqlalchemy import Connection, case, func, select, tuple_, update

from service.agronomy.records import Days, Floats, Ints
from service.database.block_versions import in_force
from service.database.bulk import ColumnSet, insert_rows, is_among, read_columns
from service.database.cells import Cells
from service.database.change_mark_store import ChangeMarks
from service.database.planned_pulses import joined, planned_day_pulses
from service.database.tables import (
    block,
    block_version,
    instant_text,
    plan,
    run,
    site,
)
from service.records.audit import Document
from service.records.farms import BlockPlace, LoadOutcome
from service.records.feedback import GivenRun, MeteredRuns, RecordedRuns, RunRows, UndoneRun
from service.records.ledger import AppliedPulses, AppliedWater, MeteredWater

_RUN_COLUMNS = (
    "block_key", "day", "started_at", "start_min", "duration_min", "volume_l", "flowing_min",
    "is_early", "is_volume_booked", "reporter", "recorded_at", "change_count",
)  # fmt: skip
RUNS_TOPIC = "runs"
"""The change mark of reported runs; each run keeps its count at its last change."""
_Place = tuple[int, datetime]
"""Block key and start, UTC, of a run."""
_IN_FORCE = run.c.undone_at.is_(None)


class ReportStore:
    """Reported runs, and the water that was applied by them."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def read_applied(self, block_keys: Ints, days: Days) -> AppliedWater:
        """Irrigation by day and block: reported runs, else the plan in force for that day.

        A block and day with any reported run is taken from its runs alone. With neither a run nor a
        plan nothing was applied. The off time after a reported run is computed from its length and
        the block's off ratio on the last of the days. A booked volume comes with the minutes that
        it takes the place of, which are among the minutes too.
        """
        shape = (days.size, block_keys.size)
        early_min, day_min = np.zeros(shape), np.zeros(shape)
        ready_min = np.full(shape, np.nan)
        is_reported = np.zeros(shape, dtype=np.bool_)
        metered = MeteredWater.none(shape), MeteredWater.none(shape)
        if days.size == 0 or block_keys.size == 0:
            nothing = planned_day_pulses([], np.empty(0), (np.empty(0, np.int64),) * 2)
            return AppliedWater(early_min, day_min, is_reported, ready_min, nothing, *metered)
        asked = days.astype("datetime64[D]")
        span = (asked.min().item(), asked.max().item())
        cells = Cells(asked, block_keys)
        plans = self._plans_of(block_keys, span)
        rows, at = cells.find(plans.days("day"), plans.ints("block_key"))
        early_min[at] = plans.ints("early_min")[rows]
        day_min[at] = (plans.ints("planned_min") - plans.ints("early_min"))[rows]
        ready_min[at] = plans.floats("ready_min")[rows]
        planned_rows, planned_at = rows, at

        runs = self._runs_of(block_keys, span)
        rows, at = cells.find(runs.days("day"), runs.ints("block_key"))
        duration_min = runs.floats("duration_min")[rows]
        is_early = runs.flags("is_early")[rows]
        is_reported[at] = True
        early_min[at] = day_min[at] = 0.0
        ready_min[at] = -np.inf
        np.add.at(early_min, at, np.where(is_early, duration_min, 0.0))
        np.add.at(day_min, at, np.where(is_early, 0.0, duration_min))
        np.maximum.at(ready_min, at, runs.ints("start_min")[rows] + 2 * duration_min)
        volume_l = runs.floats("volume_l")[rows]
        is_metered = runs.flags("is_volume_booked")[rows]
        metered[0].add(at, duration_min, volume_l, counts=is_metered & is_early)
        metered[1].add(at, duration_min, volume_l, counts=is_metered & ~is_early)

        day_runs = AppliedPulses(
            day_row=at[0][~is_early],
            block_row=at[1][~is_early],
            start_min=runs.ints("start_min")[rows][~is_early].astype(np.float64),
            duration_min=duration_min[~is_early],
        )
        is_assumed = ~is_reported[planned_at] & (day_min[planned_at] > 0.0)
        day_pulses = planned_day_pulses(
            [plans.texts("day_pulses")[row] for row in planned_rows[is_assumed].tolist()],
            early_min[planned_at][is_assumed],
            (planned_at[0][is_assumed], planned_at[1][is_assumed]),
        )
        return AppliedWater(
            early_min, day_min, is_reported, ready_min, joined(day_pulses, day_runs), *metered
        )

    def _plans_of(self, block_keys: Ints, span: tuple[date, date]) -> ColumnSet:
        """The plans in force on these days; their pulses where any starts after sunrise."""
        has_day_water = plan.c.planned_min > plan.c.early_min
        return read_columns(
            self._connection,
            select(
                plan.c.block_key,
                plan.c.day,
                plan.c.planned_min,
                plan.c.early_min,
                plan.c.ready_min,
                case((has_day_water, plan.c.pulses), else_="[]").label("day_pulses"),
            ).where(
                plan.c.superseded_at.is_(None),
                plan.c.day.between(*span),
                is_among(self._connection, plan.c.block_key, block_keys),
            ),
        )

    def _runs_of(self, block_keys: Ints, span: tuple[date, date]) -> ColumnSet:
        return read_columns(
            self._connection,
            select(
                run.c.block_key,
                run.c.day,
                run.c.start_min,
                run.c.duration_min,
                run.c.volume_l,
                run.c.is_early,
                run.c.is_volume_booked,
            ).where(
                _IN_FORCE,
                run.c.day.between(*span),
                is_among(self._connection, run.c.block_key, block_keys),
            ),
        )

    def record_runs(self, rows: RunRows, *, recorded_at: datetime) -> RecordedRuns:
        """Store reported runs; the same (block, start) with the same water counts as unchanged.

        With other minutes, volume or sunrise side the stored run is corrected, and one that was
        undone is in force again. Of two rows for the same block and start the last one counts.
        """
        facts = zip(
            rows.block_keys.tolist(),
            rows.days.astype("datetime64[D]").tolist(),
            rows.started_at,
            rows.start_min.tolist(),
            rows.duration_min.tolist(),
            _or_none(rows.volume_l),
            _or_none(rows.flowing_min),
            rows.is_early.tolist(),
            rows.is_volume_booked.tolist(),
            strict=True,
        )
        latest = {(fact[0], fact[2].astimezone(UTC)): fact for fact in facts}
        stored = self._stored_runs(list(latest))
        differing = [
            (place, fact)
            for place, fact in latest.items()
            if stored.get(place) != (fact[1], *fact[3:], None)
        ]
        in_force = {place: fact for place, fact in stored.items() if fact[-1] is None}
        self._write_runs(differing, stored, reporter=rows.reporter, recorded_at=recorded_at)
        changed_count = sum(place in in_force for place, _ in differing)
        return RecordedRuns(
            LoadOutcome(
                created_count=len(differing) - changed_count,
                changed_count=changed_count,
                unchanged_count=len(latest) - len(differing),
            ),
            before=_water_by_block({place: fact[2:4] for place, fact in in_force.items()}),
            after=_water_by_block({place: fact[4:6] for place, fact in latest.items()}),
        )

    def _write_runs(
        self,
        differing: Sequence[tuple[_Place, tuple[Any, ...]]],
        stored: Mapping[_Place, tuple[Any, ...]],
        *,
        reporter: str,
        recorded_at: datetime,
    ) -> None:
        if not differing:
            return
        mark = ChangeMarks(self._connection).bump(RUNS_TOPIC)
        tail = (reporter, instant_text(recorded_at), mark)
        insert_rows(
            self._connection,
            run,
            _RUN_COLUMNS,
            (
                (fact[0], fact[1].isoformat(), instant_text(fact[2]), *fact[3:], *tail)
                for place, fact in differing
                if place not in stored
            ),
        )
        for place, fact in differing:
            if place in stored:
                self._connection.execute(
                    update(run)
                    .where(run.c.block_key == fact[0], run.c.started_at == fact[2])
                    .values(
                        day=fact[1],
                        start_min=fact[3],
                        duration_min=fact[4],
                        volume_l=fact[5],
                        flowing_min=fact[6],
                        is_early=fact[7],
                        is_volume_booked=fact[8],
                        reporter=reporter,
                        recorded_at=recorded_at,
                        change_count=mark,
                        undone_at=None,
                    )
                )

    def undo_run(self, block_key: int, started_at: datetime, *, at: datetime) -> UndoneRun | None:
        """Let a run count as never reported; None where none was reported with that start."""
        place = (block_key, started_at.astimezone(UTC))
        stored = self._stored_runs([place]).get(place)
        if stored is None:
            return None
        day, _, duration_min, volume_l, *_, undone_at = stored
        if undone_at is None:
            self._connection.execute(
                update(run)
                .where(tuple_(run.c.block_key, run.c.started_at).in_([place]))
                .values(undone_at=at, change_count=ChangeMarks(self._connection).bump(RUNS_TOPIC))
            )
        water = _water_by_block({place: (duration_min, volume_l)})[block_key]
        return UndoneRun(day, undone_at is None, water)

    def find_run_day(self, block_key: int, started_at: datetime) -> date | None:
        """Local day of the run with that start; None where none is in force."""
        place = (block_key, started_at.astimezone(UTC))
        stored = self._stored_runs([place]).get(place)
        return None if stored is None or stored[-1] is not None else stored[0]

    def _stored_runs(self, places: Sequence[_Place]) -> dict[_Place, tuple[Any, ...]]:
        found = {}
        for start in range(0, len(places), 500):
            rows = self._connection.execute(
                select(
                    run.c.block_key,
                    run.c.started_at,
                    run.c.day,
                    run.c.start_min,
                    run.c.duration_min,
                    run.c.volume_l,
                    run.c.flowing_min,
                    run.c.is_early,
                    run.c.is_volume_booked,
                    run.c.undone_at,
                ).where(tuple_(run.c.block_key, run.c.started_at).in_(places[start : start + 500]))
            )
            for block_key, started_at, *values in rows:
                found[block_key, started_at] = tuple(values)
        return found

    def list_runs(self, block_key: int, *, first_day: date, last_day: date) -> list[GivenRun]:
        """The reported runs of a block that started on these days, by time."""
        volume = case((run.c.is_volume_booked, run.c.volume_l))
        rows = self._connection.execute(
            select(run.c.day, run.c.start_min, run.c.duration_min, volume)
            .where(_IN_FORCE, run.c.block_key == block_key, run.c.day.between(first_day, last_day))
            .order_by(run.c.started_at)
        )
        return [GivenRun(*row) for row in rows]

    def read_places(self, farm_key: int, *, day: date) -> dict[int, BlockPlace]:
        """Name and clock of each block of a farm in force on ``day``, by key."""
        rows = self._connection.execute(
            in_force(
                select(block.c.block_key, block.c.block_id, block_version.c.name, site.c.zone)
                .join_from(block, block_version, block.c.block_key == block_version.c.block_key)
                .join(site, site.c.site_key == block_version.c.site_key),
                day,
            )
            .where(block.c.farm_key == farm_key)
            .order_by(block.c.block_key)
        )
        return {key: BlockPlace(*place) for key, *place in rows}

    def find_reported(
        self, block_keys: Ints, *, first_day: date, last_day: date
    ) -> frozenset[tuple[int, date]]:
        """Block key and day of all days of a span that have a reported run of the block."""
        rows = self._connection.execute(
            select(run.c.block_key, run.c.day)
            .where(
                _IN_FORCE,
                run.c.day.between(first_day, last_day),
                is_among(self._connection, run.c.block_key, block_keys),
            )
            .distinct()
        )
        return frozenset((key, day) for key, day in rows)

    def list_metered(self, farm_key: int, *, recorded_since: datetime) -> list[str]:
        """Blocks of a farm with a metered run that was reported since, by id."""
        return list(
            self._connection.execute(
                select(block.c.block_id)
                .join(run, run.c.block_key == block.c.block_key)
                .where(
                    _IN_FORCE,
                    block.c.farm_key == farm_key,
                    run.c.recorded_at >= recorded_since,
                    run.c.volume_l.is_not(None),
                )
                .distinct()
                .order_by(block.c.block_id)
            ).scalars()
        )

    def read_metered(self, block_key: int, *, first_day: date) -> MeteredRuns:
        """Runs of a block from a day on that came with a metered volume, by time."""
        columns = read_columns(
            self._connection,
            select(
                run.c.day,
                run.c.duration_min,
                func.coalesce(run.c.flowing_min, run.c.duration_min).label("flowing_min"),
                run.c.volume_l,
                run.c.is_volume_booked,
            )
            .where(
                _IN_FORCE,
                run.c.block_key == block_key,
                run.c.day >= first_day,
                run.c.volume_l.is_not(None),
                run.c.duration_min > 0.0,
            )
            .order_by(run.c.started_at),
        )
        return MeteredRuns(
            days=columns.days("day"),
            duration_min=columns.floats("duration_min"),
            flowing_min=columns.floats("flowing_min"),
            volume_l=columns.floats("volume_l"),
            is_booked=columns.flags("is_volume_booked"),
        )

    def read_meter_days(
        self, block_keys: Ints, *, first_day: date, last_day: date
    ) -> dict[tuple[int, date], tuple[float, float]]:
        """Metered litres by block key and day: those that are booked, and those that are not."""
        booked = func.sum(case((run.c.is_volume_booked, run.c.volume_l), else_=0.0))
        columns = read_columns(
            self._connection,
            select(
                run.c.block_key,
                run.c.day,
                booked.label("booked_l"),
                (func.sum(run.c.volume_l) - booked).label("questioned_l"),
            )
            .where(
                _IN_FORCE,
                run.c.day.between(first_day, last_day),
                run.c.volume_l.is_not(None),
                run.c.duration_min > 0.0,
                is_among(self._connection, run.c.block_key, block_keys),
            )
            .group_by(run.c.block_key, run.c.day),
        )
        cells = zip(columns.ints("block_key").tolist(), columns.days("day").tolist(), strict=True)
        booked_l, questioned_l = columns.floats("booked_l"), columns.floats("questioned_l")
        volumes = zip(booked_l.tolist(), questioned_l.tolist(), strict=True)
        return dict(zip(cells, volumes, strict=True))


def _water_by_block(runs: Mapping[_Place, Sequence[Any]]) -> dict[int, Document]:
    """Minutes and litres of runs by block key and start, in the order of time."""
    found: dict[int, Document] = {}
    for (key, at), (duration_min, volume_l) in sorted(runs.items()):
        of_block = found.setdefault(key, {})
        of_block[at.isoformat()] = {"duration_min": duration_min, "volume_l": volume_l}
    return found


def _or_none(values: Floats) -> list[float | None]:
    return [None if math.isnan(value) else value for value in values.tolist()]
