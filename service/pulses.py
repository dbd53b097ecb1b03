"""One pulse, as everything outside the arrays of the core handles it."""

from __future__ import annotations

from typing import NamedTuple


class Pulse(NamedTuple):
    """One run of a block, in minutes elapsed since local midnight."""

    start_min: int
    duration_min: int

    @property
    def end_min(self) -> int:
        """Minute at which the valve closes."""
        return self.start_min + self.duration_min
