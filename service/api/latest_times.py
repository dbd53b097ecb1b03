"""When each of many things happened last, kept in memory and stored now and then."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import RillwrightError
from service.logs import get_logger

_log = get_logger(__name__)


class LatestTimes:
    """Of one process; noting a time costs the event loop an entry in a table."""

    def __init__(
        self,
        unit_of_work: UnitOfWorkFactory,
        store: Callable[[UnitOfWork, Mapping[str, datetime]], None],
        *,
        every: timedelta,
        what: str,
    ) -> None:
        """``store`` writes what was noted, in a thread; ``what`` names it where that fails."""
        self._unit_of_work = unit_of_work
        self._write = store
        self._every = every
        self._what = what
        self._times: dict[str, datetime] = {}
        self._store_at = datetime.min.replace(tzinfo=UTC)
        self._lock = threading.Lock()

    def note(self, name: str, now: datetime) -> None:
        """It has happened now; call in the event loop."""
        self._times[name] = now
        if now < self._store_at:
            return
        with self._lock:
            self._store_at = now + self._every
            # A copy, as another thread may be about to note one in the table that is replaced.
            times, self._times = self._times.copy(), {}
        asyncio.get_running_loop().run_in_executor(None, self._store, times)

    def _store(self, times: Mapping[str, datetime]) -> None:
        try:
            with self._unit_of_work(write=True) as unit:
                self._write(unit, times)
        except RillwrightError as error:  # no reason to refuse what is counted here
            _log.warning(f"{self._what} could not be stored", reason=str(error))
