"""First plans that are made while their reader goes on: weather may have to be fetched for them."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field

from service.operations.evening.plan_first import FirstPlan

MAKING = "making"


@dataclass(slots=True)
class FirstPlans:
    """How far the first plans are that were asked for in this process."""

    _states: dict[str, str] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def state(self, farm_id: str) -> str:
        """``making``, how the last one ended, or empty: none was asked for here."""
        with self._lock:
            return self._states.get(farm_id, "")

    def begin(self, farm_id: str, make: Callable[[], FirstPlan]) -> Callable[[], None] | None:
        """What is to be run for a farm's plan; None while one is being made."""
        with self._lock:
            if self._states.get(farm_id) == MAKING:
                return None
            self._states[farm_id] = MAKING

        def run() -> None:
            outcome = FirstPlan.FAILED
            try:
                outcome = make()
            finally:
                with self._lock:
                    self._states[farm_id] = outcome.value

        return run
