"""Runs of a block as a meter reports them, stored without any plan behind them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, time

import numpy as np

from service.database.session import UnitOfWorkFactory
from service.records.feedback import RunRows

STARTS = time(9)
"""UTC, five in the morning in New York: before noon of the same day there."""


def store_runs(
    open_unit: UnitOfWorkFactory,
    block_id: str,
    days: Sequence[date],
    volume_l: Sequence[float | None],
    *,
    minutes: float | Sequence[float] = 60.0,
) -> None:
    """One run on each of these days; None: the run has no metered volume."""
    started_at = tuple(datetime.combine(day, STARTS, tzinfo=UTC) for day in days)
    with open_unit(write=True) as unit:
        unit.reports.record_runs(
            RunRows(
                block_keys=np.full(len(days), unit.blocks.get_block_key(block_id)),
                days=np.array(days, dtype="datetime64[D]"),
                started_at=started_at,
                start_min=np.full(len(days), 300),
                duration_min=np.broadcast_to(np.asarray(minutes, np.float64), len(days)).copy(),
                volume_l=np.array([np.nan if each is None else each for each in volume_l]),
                flowing_min=np.full(len(days), np.nan),
                is_early=np.ones(len(days), dtype=np.bool_),
                is_volume_booked=np.zeros(len(days), dtype=np.bool_),
                reporter="a meter",
            ),
            recorded_at=max(started_at),
        )
