"""Scheduler processes for tests: real processes on a real database, on a clock that the test sets.

A process waits for a time, does what is due at that time as the scheduler would at a tick, and says
what it did. On request it kills itself with SIGKILL when it comes by a named checkpoint. Processes
are forked from a server that has loaded the service already, so that a new one takes no second.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess

from service.database.engine import make_engine
from service.database.session import unit_of_work_factory
from service.operations.schedule.duties import Duties
from service.operations.schedule.run_due import DueOutcome, run_due
from tests.patience import PATIENCE_S
from tests.scheduled_farms import SOURCE, FixedClock, MadeUpService

_forks = multiprocessing.get_context("forkserver")
_forks.set_forkserver_preload(["tests.end_to_end.warm_service", __name__])


@dataclass(frozen=True, slots=True)
class Order:
    """What a process has to do: run what is due at a time, and die at a checkpoint if told to."""

    now: datetime
    die_at: str | None = None


@dataclass(slots=True)
class SchedulerProcess:
    """One scheduler process and the line to it."""

    owner: str
    process: BaseProcess
    line: Connection
    done: list[DueOutcome] = field(default_factory=list)

    def order(self, now: datetime, *, die_at: str | None = None) -> None:
        """Make it do what is due at this time; does not wait."""
        self.line.send(Order(now, die_at))

    def answer(self) -> DueOutcome | None:
        """Result of the last order; None if the process died during it."""
        if not self.line.poll(PATIENCE_S):
            message = f"{self.owner} does not answer"
            raise AssertionError(message)
        try:
            found: DueOutcome | BaseException = self.line.recv()
        except EOFError:
            self.process.join(PATIENCE_S)
            return None
        if isinstance(found, BaseException):
            raise found
        self.done.append(found)
        return found

    def work(self, now: datetime, *, die_at: str | None = None) -> DueOutcome | None:
        """Order and wait."""
        self.order(now, die_at=die_at)
        return self.answer()

    def kill(self) -> None:
        """Kill it, wherever it is."""
        self.process.kill()
        self.process.join(PATIENCE_S)
        self.line.close()

    @property
    def died_of(self) -> int | None:
        """The signal that ended it."""
        code = self.process.exitcode
        return -code if code is not None and code < 0 else None


@contextmanager
def scheduler_processes(url: str) -> Iterator[Starter]:
    """Starts processes on a database; those that are left at the end are killed."""
    starter = Starter(url)
    try:
        yield starter
    finally:
        for each in starter.started:
            each.process.kill()
            each.process.join(PATIENCE_S)


@dataclass(slots=True)
class Starter:
    """Starts scheduler processes, each under a name of its own."""

    url: str
    started: list[SchedulerProcess] = field(default_factory=list)

    def __call__(self) -> SchedulerProcess:
        """A new process, waiting for orders."""
        ours, theirs = _forks.Pipe()
        owner = f"scheduler-{len(self.started) + 1}"
        process = _forks.Process(target=serve, args=(self.url, owner, theirs), daemon=True)
        process.start()
        theirs.close()
        found = SchedulerProcess(owner, process, ours)
        self.started.append(found)
        return found


def serve(url: str, owner: str, line: Connection) -> None:
    """The life of a process: take orders until the line is closed."""
    # Another writer is waited for longer than the service would: speed is not what is tried here.
    open_unit = unit_of_work_factory(make_engine(url, busy_timeout_ms=int(1000 * PATIENCE_S)))
    clock = FixedClock(datetime(2000, 1, 1, tzinfo=UTC))
    die_at: str | None = None

    def checkpoint(name: str) -> None:
        if name == die_at:
            os.kill(os.getpid(), signal.SIGKILL)

    duties = Duties(
        owner=owner,
        unit_of_work=open_unit,
        clock=clock,
        source_order={SOURCE: 1},
        refreshers={SOURCE: MadeUpService(open_unit)},
        checkpoint=checkpoint,
    )
    while True:
        try:
            order: Order = line.recv()
        except (EOFError, OSError):
            return
        clock.time, die_at = order.now, order.die_at
        try:
            line.send(run_due(duties))
        except Exception as error:  # reported to the test, which decides
            line.send(error)
