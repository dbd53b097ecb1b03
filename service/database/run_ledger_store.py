"""The ledger of job runs, through which several schedulers share the work.

A run key is one row, whose primary key is what makes it unique. Claiming, renewing and finishing
are single statements with their condition inside, so that of two processes one succeeds, whatever
the order, and none of them needs a lock. Rows are changed in the order of their keys, so that no
two processes wait for each other. ``held_until`` is compared with the time that the caller gives,
which is best :meth:`RunLedger.server_time`: the clocks of machines that share a database may
disagree.

A row that was changed later than now was written while a clock was wrong. It neither holds a run
nor says that it is done: once the clock is right again, the run is made.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Protocol

from sqlalchemy import (
    ColumnElement,
    Connection,
    and_,
    delete,
    func,
    not_,
    or_,
    select,
    update,
)

from service.database.bulk import insert_into, is_one_of
from service.database.tables import job_run, scheduler_tick
from service.errors import Conflict
from service.records.schedule import JobRun

ATTEMPT_LIMIT = 40
"""Attempts before a run is given up: ten hours at one every fifteen minutes."""
FROM_THE_FUTURE = timedelta(minutes=5)
"""A row changed further ahead than this was written by a clock that was wrong; our own choice."""


_MOST_CLAIMS = 500
"""Claims in one statement."""


def _may_be_claimed(now: Any, believed_until: Any) -> ColumnElement[bool]:
    """Which runs of those that are known somebody may claim."""
    return or_(
        and_(
            job_run.c.state != "done",
            job_run.c.held_until <= now,
            job_run.c.attempt_count < ATTEMPT_LIMIT,
        ),
        job_run.c.changed_at > believed_until,
    )


def _claiming(insertion: Any, now: datetime) -> Any:
    taken_over = {
        name: insertion.excluded[name] for name in ("state", "owner", "held_until", "changed_at")
    }
    return insertion.on_conflict_do_update(
        index_elements=["run_key"],
        set_={
            **taken_over,
            "outcome": None,
            "attempt_count": job_run.c.attempt_count + 1,
        },
        where=_may_be_claimed(insertion.excluded.changed_at, now + FROM_THE_FUTURE),
    ).returning(job_run.c.run_key)


class ClaimedRun(Protocol):
    """A run that may be claimed."""

    @property
    def run_key(self) -> str:
        """What makes it unique."""
        ...

    @property
    def job(self) -> str:
        """The kind of job."""
        ...

    @property
    def due_at(self) -> datetime:
        """Since when it is due."""
        ...


@dataclass(frozen=True, slots=True)
class _OneRun:
    run_key: str
    job: str
    due_at: datetime


class RunLedger:
    """Which jobs have run: one row per run key, claimed by one process at a time."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def claim(
        self, run_key: str, *, job: str, due_at: datetime, owner: str, now: datetime, lease_s: int
    ) -> bool:
        """Claim a run that is neither done nor held; False: done, held, or given up.

        Anybody may claim a run whose lease has expired, including its former owner.
        """
        run = _OneRun(run_key, job, due_at)
        return run_key in self.claim_all([run], owner=owner, now=now, lease_s=lease_s)

    def claim_all(
        self, runs: Sequence[ClaimedRun], *, owner: str, now: datetime, lease_s: int
    ) -> set[str]:
        """Claim those of some runs that are neither done nor held; returns their keys."""
        claimed: set[str] = set()
        ordered = sorted(runs, key=lambda run: run.run_key)
        for start in range(0, len(ordered), _MOST_CLAIMS):
            rows = [
                {
                    "run_key": run.run_key,
                    "job": run.job,
                    "due_at": run.due_at,
                    "state": "claimed",
                    "owner": owner,
                    "held_until": now + timedelta(seconds=lease_s),
                    "attempt_count": 1,
                    "changed_at": now,
                }
                for run in ordered[start : start + _MOST_CLAIMS]
            ]
            insertion = insert_into(self._connection.dialect.name, job_run).values(rows)
            claimed.update(self._connection.execute(_claiming(insertion, now)).scalars())
        return claimed

    def renew_all(
        self, run_keys: Sequence[str], *, owner: str, now: datetime, lease_s: int
    ) -> set[str]:
        """Extend those of some leases that the caller still has, and return their keys.

        An expired lease that nobody else has claimed is not lost.
        """
        values = {"held_until": now + timedelta(seconds=lease_s), "changed_at": now}
        return self._change_all(run_keys, owner, values)

    def finish_all(
        self, run_keys: Sequence[str], *, owner: str, now: datetime, outcome: str
    ) -> set[str]:
        """Mark the caller's own runs as done; returns the keys of those that were not lost."""
        values = {"held_until": now, "changed_at": now, "state": "done", "outcome": outcome}
        return self._change_all(run_keys, owner, values)

    def give_back_all(
        self, run_keys: Sequence[str], *, owner: str, now: datetime, retry_at: datetime
    ) -> set[str]:
        """Return failed runs, to be claimed again from ``retry_at``; returns the keys of those that
        were not lost.
        """
        values = {"held_until": retry_at, "changed_at": now, "state": "waiting"}
        return self._change_all(run_keys, owner, values)

    def _change_all(
        self, run_keys: Sequence[str], owner: str, values: Mapping[str, object]
    ) -> set[str]:
        own = (
            select(job_run.c.run_key)
            .where(
                job_run.c.owner == owner,
                job_run.c.state == "claimed",
                is_one_of(self._connection, job_run.c.run_key, run_keys),
            )
            .order_by(job_run.c.run_key)
            .with_for_update()
        )
        kept = list(self._connection.execute(own).scalars())
        self._connection.execute(
            update(job_run)
            .where(is_one_of(self._connection, job_run.c.run_key, kept))
            .values(**values)
        )
        return set(kept)

    def server_time(self) -> datetime | None:
        """The present by the clock of the database server; None on SQLite, which has none."""
        if self._connection.dialect.name == "sqlite":
            return None
        found: datetime = self._connection.execute(select(func.clock_timestamp())).scalar_one()
        return found.astimezone(UTC)

    def finish(self, run_key: str, *, owner: str, now: datetime, outcome: str) -> None:
        """Mark the caller's own run as done; raises Conflict if it was lost."""
        if not self.finish_all([run_key], owner=owner, now=now, outcome=outcome):
            raise _lost(run_key, owner)

    def give_back(self, run_key: str, *, owner: str, now: datetime, retry_at: datetime) -> None:
        """Return a failed run, to be claimed again from ``retry_at``; raises Conflict if it was
        lost.
        """
        if not self.give_back_all([run_key], owner=owner, now=now, retry_at=retry_at):
            raise _lost(run_key, owner)

    def list_done(self, run_keys: Sequence[str], *, now: datetime) -> set[str]:
        """Those of the keys that are done as of now."""
        return set(
            self._connection.execute(
                select(job_run.c.run_key).where(
                    job_run.c.state == "done",
                    job_run.c.changed_at <= now + FROM_THE_FUTURE,
                    is_one_of(self._connection, job_run.c.run_key, run_keys),
                )
            ).scalars()
        )

    def last_done_at(self, run_keys: Sequence[str], *, now: datetime) -> datetime | None:
        """When the last of these keys that are done as of now was done; None: none is."""
        found: datetime | None = self._connection.execute(
            select(func.max(job_run.c.changed_at)).where(
                job_run.c.state == "done",
                job_run.c.changed_at <= now + FROM_THE_FUTURE,
                is_one_of(self._connection, job_run.c.run_key, run_keys),
            )
        ).scalar_one()
        return found

    def list_kept(self, run_keys: Sequence[str], *, now: datetime) -> set[str]:
        """Those of the keys that nobody may claim now: done, held, waiting, or given up."""
        return set(
            self._connection.execute(
                select(job_run.c.run_key).where(
                    not_(_may_be_claimed(now, now + FROM_THE_FUTURE)),
                    is_one_of(self._connection, job_run.c.run_key, run_keys),
                )
            ).scalars()
        )

    def list_held(self, run_keys: Sequence[str], *, owner: str, now: datetime) -> set[str]:
        """Those of the keys that somebody else is working on."""
        return set(
            self._connection.execute(
                select(job_run.c.run_key).where(
                    job_run.c.state == "claimed",
                    job_run.c.owner != owner,
                    job_run.c.held_until > now,
                    job_run.c.changed_at <= now + FROM_THE_FUTURE,
                    is_one_of(self._connection, job_run.c.run_key, run_keys),
                )
            ).scalars()
        )

    def list_runs(self, *, first_due_at: datetime) -> list[JobRun]:
        """Runs that were due from an instant on and have been claimed at least once, by due time.

        Runs that are due and have never been claimed are not among them.
        """
        rows = self._connection.execute(
            select(job_run)
            .where(job_run.c.due_at >= first_due_at)
            .order_by(job_run.c.due_at, job_run.c.run_key)
        ).mappings()
        return [JobRun(**row) for row in rows]

    def note_tick(self, *, owner: str, now: datetime) -> None:
        """Record that a scheduler is alive."""
        self._connection.execute(
            insert_into(self._connection.dialect.name, scheduler_tick)
            .values(owner=owner, first_tick_at=now, last_tick_at=now)
            .on_conflict_do_update(index_elements=["owner"], set_={"last_tick_at": now})
        )

    def last_tick_at(self) -> datetime | None:
        """When any scheduler last did; None: never."""
        found: datetime | None = self._connection.execute(
            select(func.max(scheduler_tick.c.last_tick_at))
        ).scalar_one()
        return found

    def prune(self, *, before: datetime) -> int:
        """Delete finished runs that were due before, and schedulers not seen since; returns the
        number of runs.
        """
        self._connection.execute(
            delete(scheduler_tick).where(scheduler_tick.c.last_tick_at < before)
        )
        return self._connection.execute(
            delete(job_run).where(job_run.c.state == "done", job_run.c.due_at < before)
        ).rowcount


def _lost(run_key: str, owner: str) -> Conflict:
    return Conflict(f"run {run_key}: {owner} no longer holds it")
