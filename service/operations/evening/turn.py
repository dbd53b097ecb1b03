"""How a run makes its plans: a whole day ahead, late, or in place of plans that are out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Floats, Ints
from service.ports import AfterPublish, Clock


@dataclass(frozen=True, slots=True)
class ChangeThreshold:
    """How much the needed minutes must change to replace a plan that is out."""

    minutes: float = 5.0
    fraction: float = 0.10

    def is_passed(self, before_min: Floats, after_min: Floats | Ints) -> NDArray[np.bool_]:
        """(blocks,) whether the change exceeds either bound, or the need was not known before."""
        change_min = np.abs(after_min - before_min)
        passed: NDArray[np.bool_] = (
            np.isnan(before_min)
            | (change_min > self.minutes)
            | (change_min > self.fraction * before_min)
        )
        return passed


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """How the farms of a run are to be planned."""

    clock: Clock
    supersedes_from: ChangeThreshold | None = None
    """A plan in force is replaced only if its minutes change by more than this; None: always."""
    earliest_start: datetime | None = None
    """For late plans: no pulse starts before it."""
    makes_plans: bool = True
    """False: only the ledgers are brought up to date, and the plans in force stay."""
    after_publish: AfterPublish | None = None
    """Called in the transaction of each group of farms that got new versions."""

    @property
    def revises(self) -> bool:
        """Whether plans in force matter: their pulses may stay, or small changes are ignored."""
        return self.earliest_start is not None or self.supersedes_from is not None
