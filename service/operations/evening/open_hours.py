"""The hours in which blocks may run on the coming days, and what of them has no water every week.

In: what the evening has read. Out: windows for each day of the outlook, and the weekly hours
without water that cut those of the coming day.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from service.agronomy.block_batch import BlockBatch
from service.agronomy.freeze_hold import hold_windows
from service.agronomy.records import Floats, WindowBatch
from service.agronomy.watering_window import watering_windows
from service.agronomy.weekly_hours import ClosedHours, closed_hours
from service.operations.evening.evening_inputs import EveningInputs, row_of_day
from service.operations.evening.run_weather import OUTLOOK_DAYS
from service.pulses import Pulse


@dataclass(frozen=True, slots=True)
class WeeklyHoursOfDay:
    """What the coming day would be without the hours of every week in which there is no water."""

    windows: WindowBatch
    """The windows that there would be."""
    closed_min: Floats
    """(blocks,) minutes that those hours take from the windows."""
    hours: tuple[tuple[ClosedHours, ...], ...]
    """(blocks,) the hours themselves, whatever the windows."""


def windows_ahead(inputs: EveningInputs, blocks: BlockBatch) -> tuple[WindowBatch, ...]:
    """The windows of tomorrow and the days after it, less hours near freezing.

    Days that are alike share one object.
    """
    if any(inputs.table.no_water) or any(inputs.supplies.weekly_no_water):
        days = [inputs.plan_day + timedelta(days=ahead) for ahead in range(OUTLOOK_DAYS)]
        open_windows = tuple(_windows(inputs, day) for day in days)
    else:
        open_windows = (_windows(inputs, inputs.plan_day),) * OUTLOOK_DAYS
    return tuple(
        _held(inputs, blocks, windows, ahead) for ahead, windows in enumerate(open_windows)
    )


def weekly_hours_of(inputs: EveningInputs, blocks: BlockBatch) -> WeeklyHoursOfDay | None:
    """The weekly hours of the coming day; None where they cut no window of any block."""
    weekly = inputs.supplies.weekly_no_water
    if not any(weekly):
        return None
    zones = _zones(inputs)
    hours = tuple(
        closed_hours(weekly[supply], inputs.plan_day, zone) if weekly[supply] else ()
        for supply, zone in zip(inputs.supply_index.tolist(), zones, strict=True)
    )
    whole = _windows(inputs, inputs.plan_day, has_weekly=False)
    closed_min = _open_min(whole) - _open_min(_windows(inputs, inputs.plan_day))
    if not closed_min.any():
        return None
    return WeeklyHoursOfDay(_held(inputs, blocks, whole, 0), closed_min, hours)


def unless_paused(
    fixed: Mapping[int, tuple[Pulse, ...]], windows: WindowBatch
) -> dict[int, tuple[Pulse, ...]]:
    """The pulses that timers run, without those in times without water: they give none then."""
    if not windows.dry_spans:
        return dict(fixed)
    return {
        row: tuple(
            pulse
            for pulse in pulses
            if not any(
                pulse.start_min < ends and starts < pulse.end_min
                for starts, ends in windows.dry_spans[row]
            )
        )
        for row, pulses in fixed.items()
    }


def _windows(inputs: EveningInputs, day: date, *, has_weekly: bool = True) -> WindowBatch:
    """The hours of a day in which block, supply and neighbors all allow water."""
    supplies, rows = inputs.supplies, inputs.supply_index.tolist()
    weekly = supplies.weekly_no_water if has_weekly and any(supplies.weekly_no_water) else ()
    return watering_windows(
        inputs.table.windows,
        [supplies.windows[row] for row in rows],
        inputs.table.no_water,
        zones=_zones(inputs),
        day=day,
        visits=inputs.table.visits if any(inputs.table.visits) else (),
        weekly=[weekly[row] for row in rows] if weekly else (),
    )


def _zones(inputs: EveningInputs) -> list[str]:
    """(blocks,) the clock of each."""
    zones = [site.zone for site in inputs.weather.sites.definitions]
    return [zones[index] for index in inputs.site_index.tolist()]


def _held(
    inputs: EveningInputs, blocks: BlockBatch, windows: WindowBatch, ahead: int
) -> WindowBatch:
    """The windows of a coming day without its hours near freezing."""
    return hold_windows(
        windows,
        inputs.weather.weather.days,
        row_of_day(inputs.weather.days, inputs.plan_day) + ahead,
        site_index=inputs.site_index,
        freeze_hold_c=blocks.system.freeze_hold_c,
    )


def _open_min(windows: WindowBatch) -> Floats:
    """(blocks,) minutes of the windows."""
    open_min: Floats = (windows.closes_min - windows.opens_min).sum(axis=1).astype(np.float64)
    return open_min
