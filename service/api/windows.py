"""Counts of requests in fixed windows, in this process and, where they are shared, in all of them.

A window begins with the first request of a caller. Every request is counted in memory, at once and
without waiting for anything. Where counts are shared, those that have come near their limit go to
the database in one statement, at most once a second, which answers with what all processes have
counted; a request that comes later is held against that. So polls are no slower, and a caller who
turns to several processes gets at most what they let pass within one second more than the limit,
and ``1 / SHARED_FROM`` of it for each process that has seen too little of the caller to share it.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from threading import Lock, Timer
from typing import Final

from service.errors import StorageFailed
from service.logs import get_logger
from service.records.access import RequestTally

SHARED_FROM: Final = 64
"""[CHOICE] A count is shared from this part of its limit on: of ``600/minute`` from the tenth
request on, so that a controller that polls every ten seconds never costs a write."""
EXCHANGE_EVERY_S: Final = 1.0
SWEEP_EVERY_S: Final = 60.0

Exchange = Callable[[Mapping[str, RequestTally]], Mapping[str, RequestTally]]
"""Adds counts of this process to those of all, by counter; returns the latter. Raises
StorageFailed."""
_log = get_logger(__name__)


@dataclass(slots=True, eq=False)
class _Cell:
    ends_at: float
    known: int = 0
    """What all processes had counted at the last exchange."""
    pending: int = 0
    """What this one has counted since."""


class Windows:
    """How often each caller has asked within its present window."""

    def __init__(
        self, exchange: Exchange | None = None, *, every_s: float = EXCHANGE_EVERY_S
    ) -> None:
        """``exchange``: how counts are shared; None: this process counts for itself."""
        self._exchange = exchange
        self._every_s = every_s
        self._cells: dict[str, _Cell] = {}
        self._waiting: dict[str, _Cell] = {}
        """Cells with something to share."""
        self._lock = Lock()
        self._is_timed = False
        self._is_alone = False
        self._sweep_at = time.time() + SWEEP_EVERY_S

    def count(self, name: str, *, window_s: int, most: int) -> int:
        """Count one more; returns how many there were in the window, as far as is known."""
        now = time.time()
        with self._lock:
            if now >= self._sweep_at:
                self._sweep(now)
            cell = self._cells.get(name)
            if cell is None or now >= cell.ends_at:
                cell = self._cells[name] = _Cell(now + window_s)
            cell.pending += 1
            counted = cell.known + cell.pending
            if self._exchange is not None and counted * SHARED_FROM >= most:
                self._waiting[name] = cell
                if not self._is_timed:
                    self._is_timed = True
                    self._start_timer()
        return counted

    def seconds_left(self, name: str) -> float:
        """Until the window of a caller ends."""
        cell = self._cells.get(name)
        return 0.0 if cell is None else max(cell.ends_at - time.time(), 0.0)

    def share(self) -> None:
        """Exchange what waits, now; a database that is away is asked again with the next count."""
        now = time.time()
        with self._lock:
            self._is_timed = False
            waiting, self._waiting = self._waiting, {}
            sent = {
                _digest(name): (name, cell, RequestTally(cell.pending, cell.ends_at - now))
                for name, cell in waiting.items()
                if cell.pending and cell.ends_at > now
            }
        if not sent or self._exchange is None:
            return
        try:
            totals = self._exchange({digest: tally for digest, (_, _, tally) in sent.items()})
        except StorageFailed as failure:
            if not self._is_alone:
                _log.warning("limits are counted by this process alone", reason=str(failure))
            self._is_alone = True
            with self._lock:
                self._waiting = {**waiting, **self._waiting}
            return
        self._is_alone = False
        with self._lock:
            for digest, (name, cell, tally) in sent.items():
                if self._cells.get(name) is cell:
                    cell.pending -= tally.request_count
                    cell.known = totals[digest].request_count
                    cell.ends_at = now + totals[digest].ends_in_s

    def _start_timer(self) -> None:
        timer = Timer(self._every_s, self.share)
        timer.daemon = True
        timer.start()

    def _sweep(self, now: float) -> None:
        """Drop windows that have ended."""
        self._sweep_at = now + SWEEP_EVERY_S
        self._cells = {name: cell for name, cell in self._cells.items() if cell.ends_at > now}


def _digest(name: str) -> str:
    """A counter's name in the database, where no address is to stand."""
    return hashlib.blake2b(name.encode(), digest_size=16).hexdigest()
