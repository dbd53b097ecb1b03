"""The pulses of plans that are taken as carried out, as one table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from itertools import chain

import numpy as np
import orjson

from service.agronomy.records import Floats, Ints
from service.records.ledger import AppliedPulses


def planned_day_pulses(
    texts: Sequence[str], early_min: Floats, at: tuple[Ints, Ints]
) -> AppliedPulses:
    """The stored pulses of these (day, block) cells without those that start before sunrise."""
    of_cell = orjson.loads(f"[{','.join(texts)}]")
    count = np.array([len(pulses) for pulses in of_cell], dtype=np.int64)
    table = np.array(list(chain.from_iterable(of_cell)), dtype=np.float64).reshape(-1, 2)
    start_min, duration_min = table.T
    # The pulses of a cell are in order of time, so that the early minutes hold the early ones.
    running_min = np.cumsum(duration_min)
    total_min = np.concatenate(([0.0], running_min))[np.cumsum(count) - count]
    is_day = running_min - np.repeat(total_min, count) > np.repeat(early_min, count)
    return AppliedPulses(
        day_row=np.repeat(at[0], count)[is_day],
        block_row=np.repeat(at[1], count)[is_day],
        start_min=start_min[is_day],
        duration_min=duration_min[is_day],
    )


def joined(first: AppliedPulses, then: AppliedPulses) -> AppliedPulses:
    """The pulses of two tables as one."""
    return AppliedPulses(
        **{
            field.name: np.concatenate([getattr(first, field.name), getattr(then, field.name)])
            for field in fields(AppliedPulses)
        }
    )
