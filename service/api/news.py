"""What has changed in the database since this process last checked, at most once a second.

Copies that a process keeps are good until the change marks move. A request that comes a second or
more after the last look waits for the next one, so nothing older than a second is ever served as
current. Where requests come in a stream none waits: the first of them that comes after less than
half of that time begins the next look and is itself answered from the copies. Who changes something
through this process sees it with the next request. If the database cannot be asked, the request
fails rather than being answered from copies that may have been revoked.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from time import monotonic
from typing import Final

from service.database.session import UnitOfWork, UnitOfWorkFactory

GOOD_FOR_S: Final = 1.0
LOOK_AGAIN_AFTER_S: Final = 0.4
"""Leaves a check the rest of the second to read everything a whole region's evening run changed."""
Read = Callable[[UnitOfWork, int], object]
"""Reads what a listener needs, in the unit of work that found the change; takes the old mark."""
Heard = Callable[[object], None]
"""Receives the result, in the event loop."""


class News:
    """The change marks, at most a second old, and the listeners to notify."""

    def __init__(self, unit_of_work: UnitOfWorkFactory) -> None:
        self._unit_of_work = unit_of_work
        self._marks: Mapping[str, int] = {}
        self._looked_at = -float("inf")
        self._look: asyncio.Task[None] | None = None
        self._listeners: list[tuple[str, Read, Heard]] = []
        self._expiries = 0

    def listen(self, topic: str, read: Read, heard: Heard) -> None:
        """Have ``read`` and then ``heard`` called each time a topic's mark has moved."""
        self._listeners.append((topic, read, heard))

    def mark(self, topic: str) -> int:
        """The topic's mark as last seen."""
        return self._marks.get(topic, 0)

    def are_current(self) -> bool:
        """Whether the last check is less than a second old; if not, await :meth:`look`.

        Call it in the event loop, since it may start the next check.
        """
        age_s = monotonic() - self._looked_at
        if age_s < LOOK_AGAIN_AFTER_S:
            return True
        if age_s >= GOOD_FOR_S:
            return False
        self._begin_look()
        return True

    def expire(self) -> None:
        """Make the next request check again, because this process has changed something itself."""
        self._expiries += 1
        self._looked_at = -float("inf")

    async def look(self) -> None:
        """Check for changes unless that was done within the last second; all callers share one
        check.
        """
        while not self.are_current():
            await asyncio.shield(self._begin_look())

    def _begin_look(self) -> asyncio.Task[None]:
        """The check under way, or a new one."""
        if self._look is None or self._look.done():
            self._look = asyncio.create_task(self._look_once())
            # Possibly nobody awaits it; a later caller will hit the same error itself.
            self._look.add_done_callback(lambda look: look.cancelled() or look.exception())
        return self._look

    async def _look_once(self) -> None:
        began, expiries = monotonic(), self._expiries
        marks, found = await asyncio.to_thread(self._read, self._marks)
        for heard, what in found:
            heard(what)
        self._marks = marks
        if expiries == self._expiries:
            self._looked_at = began

    def _read(
        self, before: Mapping[str, int]
    ) -> tuple[Mapping[str, int], list[tuple[Heard, object]]]:
        """The current marks, and what the listeners of those that moved asked for."""
        with self._unit_of_work(write=False) as unit:
            marks = unit.marks.read_all()
            found = [
                (heard, read(unit, before.get(topic, 0)))
                for topic, read, heard in self._listeners
                if marks.get(topic, 0) != before.get(topic, 0) or not before
            ]
        return marks, found
