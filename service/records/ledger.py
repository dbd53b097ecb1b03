"""The water balance by block and day, and where each block's ledger is settled."""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Days, Floats, Ints
from service.agronomy.water_balance import PulseTimes


@dataclass(frozen=True, slots=True)
class BalanceState:
    """Where each block's ledger is settled, arrays (blocks,) aligned with the keys asked for."""

    settled_day: Days
    """Last day whose weather was observed, with all days before it; NaT: nothing settled yet."""
    depletion_mm: Floats
    """Depletion at the end of that day."""
    degree_day_sum_c_day: Floats
    alley_store_mm: Floats
    """What the alley held at the end of that day; NaN where no roots were known there."""
    flags: Ints
    """What a reader of the next plan must know about that day, 0 if nothing is settled yet."""


@dataclass(frozen=True, slots=True)
class AppliedPulses:
    """Pulses or runs that started at sunrise or later, arrays (pulses,)."""

    day_row: Ints
    """Row of the day in the window of days."""
    block_row: Ints
    start_min: Floats
    """Minutes elapsed since local midnight."""
    duration_min: Floats

    def times(
        self, rows: slice, blocks: Ints, *, sunrise_min: Floats, sunset_min: Floats
    ) -> PulseTimes:
        """When the water ran on a span of days of some blocks (row numbers), in order of time.

        ``sunrise_min``, ``sunset_min``: (days of the span, blocks).
        """
        column = np.full(1 + max(self.block_row.max(initial=-1), blocks.max(initial=-1)), -1)
        column[blocks] = np.arange(blocks.size)
        at_block = column[self.block_row]
        own = (rows.start <= self.day_row) & (self.day_row < rows.stop) & (at_block >= 0)
        cell = (self.day_row[own] - rows.start) * blocks.size + at_block[own]
        order = np.lexsort((self.start_min[own], cell))
        cell_count = (rows.stop - rows.start) * blocks.size
        return PulseTimes(
            offset=np.searchsorted(cell[order], np.arange(cell_count + 1)),
            start_min=self.start_min[own][order],
            duration_min=self.duration_min[own][order],
            sunrise_min=sunrise_min,
            sunset_min=sunset_min,
        )


@dataclass(frozen=True, slots=True)
class MeteredWater:
    """Runs whose volume is booked instead of their minutes, arrays (days, blocks), 0 for none."""

    duration_min: Floats
    """Minutes of those runs."""
    volume_l: Floats

    @classmethod
    def none(cls, shape: tuple[int, int]) -> Self:
        """No metered run."""
        return cls(np.zeros(shape), np.zeros(shape))

    def add(
        self,
        at: tuple[Ints, Ints],
        duration_min: Floats,
        volume_l: Floats,
        *,
        counts: NDArray[np.bool_],
    ) -> None:
        """Add runs at (day, block) cells, those that count."""
        np.add.at(self.duration_min, at, np.where(counts, duration_min, 0.0))
        np.add.at(self.volume_l, at, np.where(counts, volume_l, 0.0))

    def as_minutes(self, applied_min: Floats, flow_l_per_h: Floats) -> Floats:
        """Minutes at a block's design flow that give the water of all its runs.

        applied_min: (days, blocks) of all runs, metered ones among them.
        flow_l_per_h: (blocks,).
        """
        with np.errstate(divide="ignore", invalid="ignore"):
            metered_min = 60.0 * self.volume_l / flow_l_per_h
        return np.where(
            self.duration_min > 0.0, applied_min - self.duration_min + metered_min, applied_min
        )


@dataclass(frozen=True, slots=True)
class AppliedWater:
    """Irrigation by (day, block) of a window of days, arrays (days, blocks)."""

    early_min: Floats
    """Minutes of pulses that started before sunrise."""
    day_min: Floats
    is_reported: NDArray[np.bool_]
    """True: from reported runs; False: from the published plan, assumed carried out (or none)."""
    ready_min: Floats
    """Minute from which the block may run again, elapsed since the day's local midnight: the end of
    its last pulse plus the length of that pulse, or less by its plan; NaN: did not run."""
    day_pulses: AppliedPulses
    early_metered: MeteredWater
    """Of the early minutes, those with a booked volume."""
    day_metered: MeteredWater

    @property
    def is_metered(self) -> NDArray[np.bool_]:
        """Whether any run of the day is booked by its volume."""
        return (self.early_metered.duration_min + self.day_metered.duration_min) > 0.0


ALLEY_NUMBERS: tuple[str, ...] = (
    "alley_rain_mm",
    "alley_drainage_mm",
    "alley_et_mm",
    "alley_store_mm",
)
"""Those of the store outside the wet strip; NaN for a block without roots there."""
LEDGER_NUMBERS: tuple[str, ...] = (
    "et0_mm",
    "rain_mm",
    "rain_entering_mm",
    "rain_drainage_mm",
    "crop_coefficient",
    "crop_et_mm",
    "stress_ratio",
    "actual_crop_et_mm",
    "irrigation_gross_mm",
    "early_net_mm",
    "day_net_mm",
    "nonuniformity_loss_mm",
    "unrooted_loss_mm",
    "irrigation_drainage_mm",
    "resize_mm",
    "correction_mm",
    "taw_mm",
    "raw_mm",
    "depletion_start_mm",
    "depletion_end_mm",
    "degree_day_sum_c_day",
    *ALLEY_NUMBERS,
)


class IrrigationOrigin(enum.IntEnum):
    """Where the irrigation of a ledger day was taken from, as it is stored."""

    NONE = 0
    REPORTED = 1
    """Reported runs."""
    PLANNED = 2
    """The published plan, assumed carried out."""
    METERED = 3
    """Reported runs, at least one of them booked by its metered volume."""


@dataclass(frozen=True, slots=True)
class GrossDays:
    """Irrigation of ledger days, arrays (rows,): one per (block, day)."""

    block_keys: Ints
    days: Days
    irrigation_gross_mm: Floats
    irrigation_origin: Ints
    """Codes of :class:`IrrigationOrigin`."""


@dataclass(frozen=True, slots=True)
class LedgerRows:
    """Ledger days as rows: one per (block, day)."""

    block_keys: Ints
    days: Days
    is_observed: NDArray[np.bool_]
    """False: the day's weather is still forecast or filled in."""
    irrigation_origin: Ints
    """Codes of :class:`IrrigationOrigin`."""
    flags: Ints
    numbers: Mapping[str, Floats]
    """One array per name of ``LEDGER_NUMBERS``."""
