"""How long the parts of a run take, so that the slow one is known and not guessed."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager


class Phases:
    """Seconds spent by name of the phase, added up over a run."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}

    @contextmanager
    def phase(self, name: str) -> Iterator[None]:
        """Count the time of the block under this name."""
        started = time.perf_counter()
        try:
            yield
        finally:
            spent = time.perf_counter() - started
            self.seconds[name] = self.seconds.get(name, 0.0) + spent
