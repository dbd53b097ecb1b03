"""How the plans of a run are made: for a whole day ahead, late, or over plans that are out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Floats, Ints
from service.ports import AfterPublish, Clock


@dataclass(frozen=True, slots=True)
class ChangeThreshold:
    """By how much the minutes that are needed must change to replace a plan that is out."""

    minutes: float = 5.0
    fraction: float = 0.10

    def is_passed(self, before_min: Floats, after_min: Floats | Ints) -> NDArray[np.bool_]:
        """(blocks,) the change is more than either bound, or the need was not known before."""
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
    """A plan in force is replaced only where its minutes change by more than this; None: always."""
    earliest_start: datetime | None = None
    """For plans that come late: no pulse starts before it."""
    makes_plans: bool = True
    """Without it only the ledgers are brought up to date, and the plans in force stay."""
    after_publish: AfterPublish | None = None
    """Called in the transaction of each group of farms that got new versions."""

    @property
    def revises(self) -> bool:
        """Plans in force matter: their pulses may stay, or small changes are not worth it."""
        return self.earliest_start is not None or self.supersedes_from is not None
