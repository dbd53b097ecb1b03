"""Which jobs have run, in the database: where several schedulers meet and none gets in the way.

A run key is one row, whose primary key is what makes it unique. Claiming, renewing and finishing
are single statements with their condition inside, so that of two processes one succeeds, whatever
the order. ``held_until`` is compared with the time that the caller gives: the clocks of machines
that share a database must agree to within a few seconds.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy import Connection, delete, func, select, update

from service.database.bulk import insert_into, is_one_of
from service.database.tables import job_run, scheduler_tick
from service.errors import Conflict
from service.records import JobRun

ATTEMPT_LIMIT = 40
"""After so many attempts a run is given up: ten hours at one attempt in fifteen minutes."""


class SqlRunLedger:
    """The RunLedger port on a connection; the unit of work commits."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def claim(
        self, run_key: str, *, job: str, due_at: datetime, owner: str, now: datetime, lease_s: int
    ) -> bool:
        """Take a run that nobody has done and nobody holds; False: done, held, or given up.

        A lease that has ended is free for anybody, its owner included.
        """
        claimed = {
            "state": "claimed",
            "owner": owner,
            "held_until": now + timedelta(seconds=lease_s),
            "changed_at": now,
        }
        taken = self._connection.execute(
            insert_into(self._connection, job_run)
            .values(run_key=run_key, job=job, due_at=due_at, attempt_count=1, **claimed)
            .on_conflict_do_update(
                index_elements=["run_key"],
                set_={**claimed, "attempt_count": job_run.c.attempt_count + 1},
                where=(job_run.c.state != "done")
                & (job_run.c.held_until <= now)
                & (job_run.c.attempt_count < ATTEMPT_LIMIT),
            )
            .returning(job_run.c.run_key)
        )
        return taken.first() is not None

    def renew(self, run_key: str, *, owner: str, now: datetime, lease_s: int) -> bool:
        """Extend one's own lease; False when it was lost.

        A lease that has ended, but that nobody else has taken, is not lost.
        """
        return self._change_own(
            run_key, owner, held_until=now + timedelta(seconds=lease_s), changed_at=now
        )

    def finish(self, run_key: str, *, owner: str, now: datetime, outcome: str) -> None:
        """Mark one's own run as done; raises Conflict when it was lost."""
        if not self._change_own(
            run_key, owner, state="done", outcome=outcome, held_until=now, changed_at=now
        ):
            raise Conflict(f"run {run_key}: {owner} does not hold it, so cannot finish it")

    def give_back(self, run_key: str, *, owner: str, now: datetime, retry_at: datetime) -> None:
        """Give a failed run back, to be claimed again from ``retry_at`` on; a lost one stays."""
        self._change_own(run_key, owner, state="waiting", held_until=retry_at, changed_at=now)

    def _change_own(self, run_key: str, owner: str, **changes: object) -> bool:
        changed = self._connection.execute(
            update(job_run)
            .where(
                job_run.c.run_key == run_key,
                job_run.c.owner == owner,
                job_run.c.state == "claimed",
            )
            .values(**changes)
        )
        return changed.rowcount == 1

    def list_done(self, run_keys: Sequence[str]) -> set[str]:
        """Those of the keys that are done."""
        return set(
            self._connection.execute(
                select(job_run.c.run_key).where(
                    job_run.c.state == "done",
                    is_one_of(self._connection, job_run.c.run_key, run_keys),
                )
            ).scalars()
        )

    def list_runs(self, *, first_due_at: datetime) -> list[JobRun]:
        """Runs that were due from an instant on, by due time and key."""
        rows = self._connection.execute(
            select(job_run)
            .where(job_run.c.due_at >= first_due_at)
            .order_by(job_run.c.due_at, job_run.c.run_key)
        ).mappings()
        return [JobRun(**row) for row in rows]

    def note_tick(self, *, owner: str, now: datetime) -> None:
        """Remember that a scheduler looked at what is due."""
        self._connection.execute(
            insert_into(self._connection, scheduler_tick)
            .values(owner=owner, first_tick_at=now, last_tick_at=now)
            .on_conflict_do_update(index_elements=["owner"], set_={"last_tick_at": now})
        )

    def last_tick_at(self) -> datetime | None:
        """When any scheduler last looked."""
        found: datetime | None = self._connection.execute(
            select(func.max(scheduler_tick.c.last_tick_at))
        ).scalar_one()
        return found

    def prune(self, *, before: datetime) -> int:
        """Forget done runs that were due before, and schedulers silent since; returns the runs."""
        self._connection.execute(
            delete(scheduler_tick).where(scheduler_tick.c.last_tick_at < before)
        )
        return self._connection.execute(
            delete(job_run).where(job_run.c.state == "done", job_run.c.due_at < before)
        ).rowcount
