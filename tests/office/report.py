"""The report of a trial: one line for each check, with what was seen."""

from __future__ import annotations

import time
from dataclasses import dataclass, field


@dataclass(slots=True)
class Report:
    """Prints a line for each check as it is made."""

    failed: list[str] = field(default_factory=list)
    passed_count: int = 0
    _began: float = field(default_factory=time.monotonic)

    @property
    def spent_s(self) -> float:
        """Since the trial began."""
        return time.monotonic() - self._began

    def check(self, what: str, seen: object, *, holds: bool) -> None:
        """Print whether something holds, and what was seen."""
        print(f"{'pass' if holds else 'FAIL'}  {self.spent_s:6.1f} s  {what}: {seen}", flush=True)
        if holds:
            self.passed_count += 1
        else:
            self.failed.append(what)

    def note(self, text: str) -> None:
        """Print what is being done."""
        print(f"      {self.spent_s:6.1f} s  {text}", flush=True)
