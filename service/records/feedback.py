"""What people and devices report back: runs, rain, soil readings, pauses."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Days, Floats, Ints, NoWaterPeriod
from service.records.audit import Document
from service.records.farms import LoadOutcome

OLDEST_READING = timedelta(days=60)
"""How far back a soil reading may lie when it is stored."""


@dataclass(frozen=True, slots=True)
class RunRows:
    """Reported runs, as rows."""

    block_keys: Ints
    days: Days
    """Local civil day on which each run started."""
    started_at: tuple[datetime, ...]
    """Aware UTC."""
    start_min: Ints
    """Minutes elapsed since local midnight."""
    duration_min: Floats
    volume_l: Floats
    """Metered volume; NaN where there is no meter."""
    flowing_min: Floats
    """Minutes of a metered run in which water flowed, as far as known; NaN where there is no meter.
    """
    is_early: NDArray[np.bool_]
    """Started before sunrise."""
    is_volume_booked: NDArray[np.bool_]
    """The ledger takes the metered volume instead of the minutes."""
    reporter: str


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeReading:
    """One hand-read rain gauge reading."""

    site_id: str
    read_at: datetime
    covers_from: datetime
    rain_mm: float
    kind: str
    """``measured``, ``trace``, ``none`` or ``multi-day``."""
    note: str = ""
    reporter: str = ""
    farm_id: str | None = None
    """The farm whose gauge it is; None: the place's own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SoilReading:
    """One soil reading of a block and its effect on the balance."""

    block_id: str
    read_at: datetime
    day: date
    """Local civil day of the reading: the ledger day that the correction is booked on."""
    is_evening: bool
    """Read at noon or later: compared with the end of its day; else with the day's start."""
    kind: str
    """``volumetric``, ``tension`` or ``estimate``."""
    volumetric_water: float
    """Given, or worked out from the tension or the estimate."""
    tension_kpa: float | None = None
    top_depth_m: float
    bottom_depth_m: float
    depletion_reading_mm: float
    """Depletion of the managed root zone, if all of it were like the soil that was read."""
    weight_fraction: float
    """Weight of the reading against the computed balance."""
    note: str = ""
    reporter: str = ""


@dataclass(frozen=True, slots=True)
class DepletionReadings:
    """Soil readings as the balance takes them, as rows by day; several of a day in order."""

    block_keys: Ints
    days: Days
    is_evening: NDArray[np.bool_]
    depletion_reading_mm: Floats
    weight_fraction: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Pause:
    """A requested no-water period; takes effect at once, without a block version."""

    pause_id: str
    block_id: str
    period: NoWaterPeriod
    reporter: str
    recorded_at: datetime


@dataclass(frozen=True, slots=True)
class MeteredRuns:
    """Metered runs of one block, arrays over runs by time."""

    days: Days
    duration_min: Floats
    flowing_min: Floats
    """Those in which water flowed: without the rests of a run that spans several pulses."""
    volume_l: Floats
    is_booked: NDArray[np.bool_]
    """The ledger takes the volume; False: it was questioned, or reported before volumes counted."""


@dataclass(frozen=True, slots=True)
class RecordedRuns:
    """What came of reported runs."""

    outcome: LoadOutcome
    before: Mapping[int, Document]
    """By block key and start, minutes and litres of those that were stored already."""
    after: Mapping[int, Document]
    """The same of all, as they are stored now."""


@dataclass(frozen=True, slots=True)
class UndoneRun:
    """A run that does not count any more."""

    day: date
    """Local civil day on which it had started."""
    was_in_force: bool
    """False: it had been undone before."""
    water: Document
    """Minutes and liters by start, as they were reported."""


@dataclass(frozen=True, slots=True)
class GivenRun:
    """One reported run of a block."""

    day: date
    start_min: int
    """Minutes elapsed since local midnight."""
    duration_min: float
    volume_l: float | None
    """Metered volume, where it is booked in place of the minutes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunLine:
    """One run as a line of a file has it."""

    line: int
    block: str
    """Id with or without that of its farm; empty where the file has no such column."""
    started_at: datetime
    """Aware, or naive on the clock of the block's site."""
    duration_min: float | None = None
    volume_l: float | None = None
    """Metered."""
    depth_mm: float | None = None
    """Gross, over the ground of the block; in the place of minutes."""


@dataclass(frozen=True, slots=True)
class RunFile:
    """The runs of one file, in its order."""

    name: str
    runs: tuple[RunLine, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MeteredDay:
    """What a block's meter counted on a day, and how the day is booked."""

    day: date
    booked_l: float
    """Volume that the ledger takes."""
    questioned_l: float
    """Volume that it does not: the minutes of those runs are booked."""
    irrigation_gross_mm: float
    """Irrigation of the whole day in the ledger."""
    leakage_fraction: float
    """Share of the volume that misses the emitters."""
