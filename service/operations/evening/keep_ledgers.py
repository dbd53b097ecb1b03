"""Every ledger of a group of farms brought up to today from its settled day.

A day is settled once its weather has been observed; the days after it are computed again at each
run. Blocks are stepped in groups that share a first day, one span at a time, and each span has one
version of the block.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from service.agronomy.block_batch import BlockBatch, take_blocks
from service.agronomy.block_days import CropDays, SiteDays, crop_days, days_of, past_crop_days
from service.agronomy.civil_day import ONE_DAY
from service.agronomy.crop_water_use import SEASON_BY_DEGREE_DAYS, resting_sum_c_day
from service.agronomy.daily_plan import keep_ledger
from service.agronomy.dormancy import is_dormant
from service.agronomy.reasoning import PlanFlag
from service.agronomy.records import Days, Floats, Ints
from service.agronomy.soil_reading import LARGEST_WEIGHT_FRACTION, correction_mm
from service.agronomy.water_balance import DayLedger
from service.agronomy.watering_rules import net_rate_mm_per_min, uniform_share
from service.agronomy.weather_flags import FieldFlag
from service.database.session import UnitOfWork
from service.operations.evening.evening_inputs import (
    NO_DAY,
    Correction,
    EveningInputs,
    row_of_day,
)
from service.operations.evening.gather_weather import GatheredWeather
from service.records.ledger import (
    ALLEY_NUMBERS,
    LEDGER_NUMBERS,
    AppliedWater,
    BalanceState,
    IrrigationOrigin,
    LedgerRows,
    MeteredWater,
)

SETTLE_ANYWAY_DAYS = 10
"""A day older than this is settled with whatever is known; better weather later reopens it."""


@dataclass(frozen=True, slots=True)
class Ledger:
    """The computed days of every block, arrays (days, blocks); NaN before a block's first day."""

    days: Days
    has_row: NDArray[np.bool_]
    is_observed: NDArray[np.bool_]
    is_settled: NDArray[np.bool_]
    irrigation_origin: Ints
    flags_by_day: Ints
    numbers: Mapping[str, Floats]

    @property
    def depletion_end_mm(self) -> Floats:
        """(days, blocks) depletion at midnight [mm]."""
        return self.numbers["depletion_end_mm"]

    @property
    def degree_day_sum_c_day(self) -> Floats:
        """(days, blocks) degree days since the season's start [°C day]."""
        return self.numbers["degree_day_sum_c_day"]

    def recent_flags(self, before: BalanceState) -> Ints:
        """(blocks,) flags of the last settled day and of the days since.

        An assumed start counts until today at most: an answer to it ends it at once.
        """
        state = self.new_state(before)
        unsettled = self.has_row & (self.days[:, None] > _or_never(state.settled_day))
        since: Ints = np.bitwise_or.reduce(np.where(unsettled, self.flags_by_day, 0), axis=0)
        assumed = int(PlanFlag.START_DEPLETION_ASSUMED)
        flags: Ints = ((state.flags | since) & ~assumed) | (self.flags_by_day[-1] & assumed)
        return flags

    @property
    def settled_day(self) -> Days:
        """(blocks,) last day settled by this run, NaT where none was."""
        count = self.is_settled.shape[0]
        last = count - 1 - np.argmax(self.is_settled[::-1], axis=0)
        return np.where(self.is_settled.any(axis=0), self.days[last], NO_DAY)

    def new_state(self, before: BalanceState) -> BalanceState:
        """How far the ledgers are settled after this run."""
        settled = self.settled_day
        moved = ~np.isnat(settled)
        row = np.where(moved, (settled - self.days[0]).astype(np.int64), 0)
        block = np.arange(settled.size)
        alley_store_mm = self.numbers["alley_store_mm"]
        return BalanceState(
            settled_day=np.where(moved, settled, before.settled_day),
            depletion_mm=np.where(moved, self.depletion_end_mm[row, block], before.depletion_mm),
            degree_day_sum_c_day=np.where(
                moved, self.degree_day_sum_c_day[row, block], before.degree_day_sum_c_day
            ),
            alley_store_mm=np.where(moved, alley_store_mm[row, block], before.alley_store_mm),
            flags=np.where(moved, self.flags_by_day[row, block], before.flags),
        )

    def rows(self, block_keys: Ints) -> LedgerRows:
        """The computed days as rows to store."""
        day, block = np.nonzero(self.has_row)
        return LedgerRows(
            block_keys=block_keys[block],
            days=self.days[day],
            is_observed=self.is_observed[day, block],
            irrigation_origin=self.irrigation_origin[day, block],
            flags=self.flags_by_day[day, block],
            numbers={name: self.numbers[name][day, block] for name in LEDGER_NUMBERS},
        )


def bring_up_to_date(inputs: EveningInputs) -> Ledger:
    """The ledger from each block's first day to today, one group of blocks per first day."""
    days = inputs.ledger_days
    shape = (days.size, inputs.first_day.size)
    numbers = {name: np.full(shape, np.nan) for name in LEDGER_NUMBERS}
    for group_day in np.unique(inputs.first_day):
        _step_group(inputs, days, group_day, numbers)
    in_ledger = days[:, None] >= inputs.first_day
    has_row = in_ledger & np.isfinite(numbers["depletion_end_mm"])
    is_observed = inputs.weather.is_observed[_weather_rows(inputs, days)][:, inputs.site_index]
    applied = inputs.applied
    has_water = (applied.early_min + applied.day_min) > 0
    return Ledger(
        days=days,
        has_row=has_row,
        is_observed=is_observed,
        is_settled=_settled(inputs.on, days, in_ledger, has_row=has_row, is_observed=is_observed),
        irrigation_origin=np.select(
            [applied.is_metered, applied.is_reported, has_water],
            [IrrigationOrigin.METERED, IrrigationOrigin.REPORTED, IrrigationOrigin.PLANNED],
            default=IrrigationOrigin.NONE,
        ),
        flags_by_day=_flags(inputs, days, in_ledger, numbers),
        numbers=numbers,
    )


def _weather_rows(inputs: EveningInputs, days: Days) -> slice:
    """The rows of the weather that belong to these days."""
    first = row_of_day(inputs.weather.days, days[0])
    return slice(first, first + days.size)


def _settled(
    on: date,
    days: Days,
    in_ledger: NDArray[np.bool_],
    *,
    has_row: NDArray[np.bool_],
    is_observed: NDArray[np.bool_],
) -> NDArray[np.bool_]:
    """(days, blocks) whether this day and all before it are past, and observed or old."""
    age_days = (np.datetime64(on) - days).astype(np.int64)[:, None]
    may_settle = (age_days >= 1) & (is_observed | (age_days >= SETTLE_ANYWAY_DAYS)) & has_row
    settled: NDArray[np.bool_] = np.logical_and.accumulate(may_settle | ~in_ledger, axis=0)
    return settled & in_ledger


def _flags(
    inputs: EveningInputs, days: Days, in_ledger: NDArray[np.bool_], numbers: Mapping[str, Floats]
) -> Ints:
    """Plan flags of each ledger day, (days, blocks)."""
    applied = inputs.applied
    is_assumed = ((applied.early_min + applied.day_min) > 0) & ~applied.is_reported
    system = inputs.versions.on(inputs.on).system
    rests = is_dormant(days, system.watering_start_doy, system.watering_end_doy)
    is_short = (numbers["depletion_end_mm"] > numbers["raw_mm"]) & ~rests
    flags = _day_flags(inputs.weather, _weather_rows(inputs, days), inputs.site_index)
    flags |= np.where(is_assumed, int(PlanFlag.RUNS_ASSUMED), 0)
    flags |= np.where(is_short, int(PlanFlag.AFTERNOON_STRESS), 0)
    flags |= _start_flags(inputs, in_ledger, numbers)
    return flags


def _step_group(
    inputs: EveningInputs, days: Days, first_day: np.datetime64, numbers: dict[str, Floats]
) -> None:
    """Step the blocks that share a first day, span by span of one block version and year.

    A span also ends with each day of a soil reading, which corrects the depletion at which the next
    span starts.
    """
    blocks = np.flatnonzero(inputs.first_day == first_day)
    depletion_mm = _first_depletion_mm(inputs)[blocks]
    degree_days_c_day = _first_degree_days(inputs, blocks, first_day)
    alley_store_mm = inputs.before.alley_store_mm[blocks]
    for span in _spans(inputs, days, row_of_day(days, first_day)):
        batch = take_blocks(inputs.versions.on(span.version_day, span.older_version), blocks)
        rows = slice(span.begin, span.end)
        first = row_of_day(inputs.weather.days, days[span.begin])
        weather = days_of(inputs.weather.weather.days, first, first + span.end - span.begin)
        crop = past_crop_days(batch, weather, degree_days_c_day, alley_store_mm)
        rate = net_rate_mm_per_min(batch.system, batch.soil)
        early_min, day_min = _applied_min(inputs.applied, rows, blocks, batch)
        ledger = keep_ledger(
            depletion_mm,
            crop,
            first_day_index=np.zeros(blocks.size, dtype=np.int64),
            early_net_mm=early_min * rate,
            day_net_mm=day_min * rate,
            times=inputs.applied.day_pulses.times(
                rows,
                blocks,
                sunrise_min=weather.sunrise_min[:, batch.site_index],
                sunset_min=weather.sunset_min[:, batch.site_index],
            ),
        )
        booked = _booked(weather, batch, crop, ledger, running_min=early_min + day_min)
        for name in LEDGER_NUMBERS:
            numbers[name][rows, blocks] = booked[name]
        _correct(numbers, span.end - 1, blocks, inputs.readings.get(span.end - 1, ()))
        depletion_mm = numbers["depletion_end_mm"][span.end - 1, blocks]
        degree_days_c_day = crop.degree_day_sum_c_day[-1]
        alley_store_mm = booked["alley_store_mm"][-1]


def _applied_min(
    applied: AppliedWater, rows: slice, blocks: Ints, batch: BlockBatch
) -> tuple[Floats, Floats]:
    """Minutes before and after sunrise; metered runs as minutes at the block's design flow, for the
    share of their volume that reaches the emitters.
    """
    reaching = 1.0 - batch.system.leakage_fraction
    flow_l_per_h = batch.system.application_rate_mm_per_h * batch.area_m2
    early, day = (
        MeteredWater(each.duration_min[rows, blocks], each.volume_l[rows, blocks] * reaching)
        for each in (applied.early_metered, applied.day_metered)
    )
    return (
        early.as_minutes(applied.early_min[rows, blocks], flow_l_per_h),
        day.as_minutes(applied.day_min[rows, blocks], flow_l_per_h),
    )


def _first_depletion_mm(inputs: EveningInputs) -> Floats:
    """(blocks,) depletion at which each ledger continues: settled, or given for a new block."""
    return np.where(
        np.isnat(inputs.before.settled_day),
        np.nan_to_num(inputs.versions.on(inputs.on).initial_depletion_mm),
        inputs.before.depletion_mm,
    )


def _first_degree_days(inputs: EveningInputs, blocks: Ints, first_day: np.datetime64) -> Floats:
    """(blocks,) degree days at which each ledger continues [°C day].

    Settled, or counted for a new block over the weather from the season's start: the crop has grown
    since then, though its water is known from the first evening alone. Books that begin before the
    season have nothing to count: the crop is taken as resting.
    """
    settled = inputs.before.degree_day_sum_c_day[blocks]
    is_new = np.isnat(inputs.before.settled_day[blocks])
    if not is_new.any():
        return settled
    batch = take_blocks(inputs.versions.on(inputs.on), blocks)
    is_counted = is_new & (batch.crop.curve_basis == SEASON_BY_DEGREE_DAYS)
    if not is_counted.any():
        return settled
    counted = np.full(blocks.shape, np.nan)
    row = row_of_day(inputs.weather.days, first_day)
    if row > 0:
        before = crop_days(batch, days_of(inputs.weather.weather.days, 0, row))
        counted = before.degree_day_sum_c_day[-1]
    counted = np.where(np.isnan(counted), resting_sum_c_day(batch.crop, first_day), counted)
    return np.where(is_counted, counted, settled)


@dataclass(frozen=True, slots=True)
class _Span:
    """Ledger rows of one block version and year, ``end`` exclusive."""

    begin: int
    end: int
    version_day: date
    older_version: date | None
    """The day of the version where it is not the newest one."""


def _spans(inputs: EveningInputs, days: Days, first_row: int) -> Iterator[_Span]:
    """The days from ``first_row`` on, cut at each new version, each new year and each reading."""
    # Also a version that begins on the planned day: the days before it do not belong to it yet.
    changes = inputs.versions.version_days(days[first_row].item() + ONE_DAY, inputs.plan_day)
    begins = [first_row, *(row_of_day(days, change) for change in changes)]
    after_readings = {row + 1 for row in inputs.readings if first_row <= row < days.size - 1}
    starts = sorted(row for row in {*begins, *after_readings} if row < days.size)
    for begin, end in pairwise([*starts, days.size]):
        version_day = days[max(row for row in begins if row <= begin)].item()
        is_current = begin >= begins[-1]
        yield _Span(begin, end, version_day, None if is_current else version_day)


def _correct(
    numbers: dict[str, Floats], row: int, blocks: Ints, readings: Sequence[Correction]
) -> None:
    """Correct the end of a day by the day's soil readings, one after the other."""
    for reading in readings:
        if reading.block not in blocks:
            continue
        cell = (row, reading.block)
        end_mm = numbers["depletion_end_mm"][cell]
        change_mm = float(
            correction_mm(
                end_mm,
                compared_mm=end_mm if reading.is_evening else numbers["depletion_start_mm"][cell],
                depletion_reading_mm=reading.depletion_reading_mm,
                weight_fraction=reading.weight_fraction,
                taw_mm=numbers["taw_mm"][cell],
            )
        )
        numbers["correction_mm"][cell] += change_mm
        numbers["depletion_end_mm"][cell] = end_mm + change_mm


def _booked(
    weather: SiteDays, batch: BlockBatch, crop: CropDays, ledger: DayLedger, *, running_min: Floats
) -> Mapping[str, Floats]:
    """The ledger numbers of a span of days by name, arrays (days, blocks)."""
    gross_mm = running_min * batch.system.application_rate_mm_per_h / 60.0
    uniform_mm = gross_mm * uniform_share(batch.system)
    booked = {
        "et0_mm": weather.et0_mm[:, batch.site_index],
        "rain_mm": weather.rain_mm[:, batch.site_index],
        "crop_coefficient": crop.crop_coefficient,
        "irrigation_gross_mm": gross_mm,
        "nonuniformity_loss_mm": gross_mm - uniform_mm,
        "unrooted_loss_mm": uniform_mm * (1.0 - batch.soil.root_share_of_wetted),
        "correction_mm": np.where(np.isfinite(ledger.depletion_end_mm), 0.0, np.nan),
        "degree_day_sum_c_day": crop.degree_day_sum_c_day,
        **{name: np.where(crop.has_alley, getattr(crop, name), np.nan) for name in ALLEY_NUMBERS},
    }
    return {
        name: booked[name] if name in booked else getattr(ledger, name) for name in LEDGER_NUMBERS
    }


def _day_flags(weather: GatheredWeather, rows: slice, at_site: Ints) -> Ints:
    """Plan flags of each ledger day that come from its weather, (days, blocks)."""
    site = weather.weather
    flags = np.where(site.et0_flags[rows] != 0, int(PlanFlag.REFERENCE_ET_FILLED), 0)
    rain_missing = site.checked.flags["rain_mm"][rows] & int(FieldFlag.ASSUMED_ZERO)
    flags = flags | np.where(rain_missing != 0, int(PlanFlag.RAIN_NOT_REPORTED), 0)
    flags = flags | np.where(
        site.climate_is_default[rows], int(PlanFlag.CLIMATE_ADJUSTMENT_MISSING), 0
    )
    picked: Ints = flags[:, at_site].astype(np.int64)
    return picked


def _start_flags(
    inputs: EveningInputs, in_ledger: NDArray[np.bool_], numbers: Mapping[str, Floats]
) -> Ints:
    """Days that rest on an assumed start: until water drains, which shows that the zone is full, or
    until the soil is read from top to bottom.
    """
    assumed = int(PlanFlag.START_DEPLETION_ASSUMED)
    state, today = inputs.before, inputs.versions.on(inputs.on)
    is_new = np.isnat(state.settled_day)
    still = np.where(is_new, np.isnan(today.initial_depletion_mm), (state.flags & assumed) != 0)
    is_shown = (numbers["rain_drainage_mm"] + numbers["irrigation_drainage_mm"]) > 0
    for row, readings in inputs.readings.items():
        whole = [each.block for each in readings if each.weight_fraction >= LARGEST_WEIGHT_FRACTION]
        is_shown[row, whole] = True
    unknown = still & ~np.logical_or.accumulate(is_shown & in_ledger, axis=0)
    return np.where(unknown & in_ledger, assumed, 0)


def taken_full_days(unit: UnitOfWork, inputs: EveningInputs, flags: Ints) -> Days:
    """(blocks,) first day of the books of blocks whose flags say that their start is still assumed.

    NaT for others.
    """
    rows = np.flatnonzero(flags & int(PlanFlag.START_DEPLETION_ASSUMED))
    days = np.full(flags.shape, NO_DAY)
    if rows.size:
        days[rows] = unit.ledger.read_first_days(inputs.table.keys[rows])
    return days


def _or_never(days: Days) -> Days:
    """Days with NaT replaced by one before all others."""
    return np.where(np.isnat(days), np.datetime64(date.min), days)


def save_ledger(unit: UnitOfWork, inputs: EveningInputs, ledger: Ledger) -> None:
    """Store the computed days of the blocks, and how far their ledgers are settled."""
    keys = inputs.table.keys
    unit.ledger.save_rows(ledger.rows(keys))
    unit.ledger.save_states(keys, ledger.new_state(inputs.before))
