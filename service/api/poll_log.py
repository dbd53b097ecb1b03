"""When controllers polled last, kept in memory and stored every few minutes."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Final

from service.database.session import UnitOfWorkFactory
from service.errors import RillwrightError
from service.logs import get_logger
from service.ports import Clock

STORED_EVERY: Final = timedelta(minutes=5)
_log = get_logger(__name__)


class PollLog:
    """Notes polls in the event loop of one process; a poll costs it an entry in a table."""

    def __init__(self, unit_of_work: UnitOfWorkFactory, clock: Clock) -> None:
        self._unit_of_work = unit_of_work
        self._clock = clock
        self._polls: dict[str, datetime] = {}
        self._store_at = datetime.min.replace(tzinfo=UTC)

    def note(self, controller_id: str) -> None:
        """A controller has been given its program."""
        now = self._clock.now()
        self._polls[controller_id] = now
        if now >= self._store_at:
            self._store_at = now + STORED_EVERY
            polls, self._polls = self._polls, {}
            asyncio.get_running_loop().run_in_executor(None, self._store, polls)

    def _store(self, polls: Mapping[str, datetime]) -> None:
        try:
            with self._unit_of_work(write=True) as unit:
                unit.polls.note(polls)
        except RillwrightError as error:  # when a controller polled is no reason to refuse it
            _log.warning("the last polls could not be stored", reason=str(error))
