"""What weekly hours without water did to the pulses of the coming day.

The pulses of the supplies concerned are laid out once more as if there were no such hours, and the
two are compared. Injections change neither.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from service.agronomy.records import Ints
from service.agronomy.watering_window import take_windows
from service.agronomy.weekly_hours import WeeklyEffect
from service.operations.evening.lay_out_pulses import ComingDay, day_of_rows


def weekly_documents(day: ComingDay) -> Mapping[int, Mapping[str, object]]:
    """What a plan stores of them, by row of each block whose windows they cut."""
    if day.weekly is None:
        return {}
    effects = _effects(day)
    return {
        row: {
            "weekly_closed_min": float(day.weekly.closed_min[row]),
            "weekly_effect": int(effects[row]),
            "weekly_hours": [
                (each.start_min, each.end_min, each.reason) for each in day.weekly.hours[row]
            ],
        }
        for row in np.flatnonzero(day.weekly.closed_min > 0.0).tolist()
    }


def _effects(day: ComingDay) -> Ints:
    """(blocks,) codes of :class:`WeeklyEffect`."""
    effects = np.full(day.keys.shape, int(WeeklyEffect.NONE))
    if day.weekly is None:
        return effects
    supply_index = day.blocks.system.supply_index
    rows = np.flatnonzero(np.isin(supply_index, supply_index[day.weekly.closed_min > 0.0]))
    cut = day_of_rows(day, rows)
    whole = replace(cut, windows=take_windows(day.weekly.windows, rows))
    with_hours, without = (each.plan().schedule for each in (cut, whole))
    for place, row in enumerate(rows.tolist()):
        if with_hours.planned_min[place] < without.planned_min[place]:
            effects[row] = WeeklyEffect.SHORTENED
        elif with_hours.pulses.of_block(place) != without.pulses.of_block(place):
            effects[row] = WeeklyEffect.MOVED
    return effects
