"""Pages, API and scheduler in one process, for a small computer.

The web server is the process. Beside it a thread looks every twenty seconds whether anything is
due, which loads nothing; what is due is done by a child process that ends when it is done, so that
the libraries and compiled kernels of an evening, some 160 MB, are in memory only meanwhile. A
request may need them too (a run is reported, and plans follow). Then the process restarts
itself in its place once nobody is asking: it keeps its number and its listening socket, so that
nobody is turned away, only made to wait for some seconds.

A child that fails or is killed leaves what it had claimed to the next one, as any scheduler does.
"""

from __future__ import annotations

import logging
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Callable
from enum import StrEnum
from threading import Event
from typing import Final

from service.api.server import make_server
from service.api.tools_door import MakeTools
from service.bootstrap import Service
from service.listener import LISTENER_VARIABLE
from service.logs import get_logger
from service.scheduler import (
    has_work,
    log_events,
    make_duties,
    make_keeping,
    make_scheduler,
    make_teller,
)

HEAVY: Final = frozenset({"numba", "pandas"})
"""Modules that mean that memory is worth having back."""
CHILD: Final = (sys.executable, "-m", "service", "schedule", "--once", "--logged")
_log = get_logger(__name__)


class Ending(StrEnum):
    """Why the server has stopped."""

    STOPPED = "stopped"
    """It was asked to."""
    RENEWAL = "renewal"
    """To restart with less in memory."""


class Household:
    """What the thread beside the web server does at each tick."""

    def __init__(
        self,
        *,
        is_due: Callable[[], bool],
        request_count: Callable[[], int],
        is_answering: Callable[[], bool],
        renew: Callable[[], None],
        command: tuple[str, ...] = CHILD,
    ) -> None:
        self._is_due = is_due
        self._request_count = request_count
        self._is_answering = is_answering
        self._renew = renew
        self._command = command
        self._stopping = Event()
        self._child: subprocess.Popen[bytes] | None = None
        self._requests_before = -1

    def is_stopping(self) -> bool:
        """Whether nothing more is begun."""
        return self._stopping.is_set()

    def tick(self) -> None:
        """Do what is due in a child; else restart where that frees memory and is quiet."""
        if self._stopping.is_set():
            return
        count = self._request_count()
        is_quiet, self._requests_before = count == self._requests_before, count
        if self._is_due():
            self._work()
        elif is_quiet and HEAVY & sys.modules.keys() and not self._is_answering():
            _log.info("restarting to give memory back")
            self._renew()

    def _work(self) -> None:
        self._child = child = subprocess.Popen(self._command, stdin=subprocess.DEVNULL)
        if self._stopping.is_set():  # which may have come since the tick began
            child.terminate()
        code = child.wait()
        self._child = None
        if code and not self._stopping.is_set():
            _log.error("the child that did what was due has failed", exit_code=code)

    def stop(self) -> None:
        """Have no more children, and end the one that works; what it claimed is done later."""
        self._stopping.set()
        child = self._child
        if child is not None:
            child.terminate()


def run_together(
    service: Service, listener: socket.socket, *, host: str, make_tools: MakeTools | None = None
) -> Ending:
    """Serve and schedule until a stop signal, or until it is time to restart.

    ``listener`` is bound; it stays open. For the main thread only.
    """
    ending = Ending.STOPPED
    server, app = make_server(service, host=host, make_tools=make_tools)

    def renew() -> None:
        nonlocal ending
        ending = Ending.RENEWAL
        server.should_exit = True

    def stop(_number: int, _frame: object) -> None:
        nonlocal ending
        ending = Ending.STOPPED

    duties = make_duties(service)
    household = Household(
        is_due=lambda: has_work(service, duties),
        request_count=lambda: app.state.metrics.request_count,
        # Until what follows an answer is done too, such as a farm's first plan.
        is_answering=lambda: bool(server.server_state.tasks),
        renew=renew,
    )
    tell = make_teller(service, owner=duties.owner, should_stop=household.is_stopping)
    scheduler = make_scheduler(
        household.tick,
        event_tick=None if tell is None else lambda: log_events(tell()),
        backup_tick=make_keeping(service, owner=duties.owner),
    )
    # The server hands the signals that ended it on to whoever handled them before.
    before = {number: signal.signal(number, stop) for number in (signal.SIGTERM, signal.SIGINT)}
    scheduler.start()
    logging.getLogger("rillwright.run").info("serving and scheduling as %s", duties.owner)
    try:
        server.run(sockets=[listener.dup()])
    finally:
        household.stop()
        scheduler.shutdown(wait=True)
        for number, handler in before.items():
            signal.signal(number, handler)
    return ending


def start_anew(listener: socket.socket) -> None:
    """Run the same command in the place of this process; does not return."""
    listener.set_inheritable(True)
    os.environ[LISTENER_VARIABLE] = str(listener.fileno())
    os.execv(sys.executable, [sys.executable, *sys.orig_argv[1:]])
