"""How long each part of a run takes, so that nobody has to guess which one is slow."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")


class Phases:
    """Seconds by name of the phase, added up over a run."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self._counted_s = 0.0

    def timed(self, name: str, step: Callable[P, R], /, *args: P.args, **kwargs: P.kwargs) -> R:
        """The result of a step, with its time counted under this name.

        The time of a nested step counts under the inner name only.
        """
        counted_before_s = self._counted_s
        started = time.perf_counter()
        try:
            return step(*args, **kwargs)
        finally:
            spent = time.perf_counter() - started
            inner = self._counted_s - counted_before_s
            self.seconds[name] = self.seconds.get(name, 0.0) + spent - inner
            self._counted_s = counted_before_s + spent
