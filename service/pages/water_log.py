"""The irrigation log on a block's page: minutes by day, and what they are based on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from service.agronomy.records import Days
from service.records.ledger import AppliedWater


@dataclass(frozen=True, slots=True)
class LogDay:
    """What ran on a day."""

    day: date
    minutes: float
    is_reported: bool
    is_metered: bool


def water_log(days: Days, applied: AppliedWater) -> list[LogDay]:
    """The days of one block on which something ran or was reported."""
    minutes = np.nansum([applied.early_min[:, 0], applied.day_min[:, 0]], axis=0)
    return [
        LogDay(day, float(value), bool(reported), bool(metered))
        for day, value, reported, metered in zip(
            days.tolist(),
            minutes.tolist(),
            applied.is_reported[:, 0].tolist(),
            applied.is_metered[:, 0].tolist(),
            strict=True,
        )
        if value > 0.0 or reported
    ]
