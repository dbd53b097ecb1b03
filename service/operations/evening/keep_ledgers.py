"""Every ledger of a group of farms brought up to today, from where it is settled.

A day is settled once its weather was observed; the days since are computed anew at each run. Blocks
are stepped in groups that share a first day, span by span of one version of the block.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from service.agronomy.block_batch import BlockBatch, day_of_year, make_block_batch, take_blocks
from service.agronomy.civil_day import ONE_DAY
from service.agronomy.crop_water_use import CLIMATE_WINDOW_DAYS, DAYS_IN_YEAR
from service.agronomy.daily_plan import CropDays, SiteDays, crop_days, days_of, keep_ledger
from service.agronomy.reasoning import PlanFlag
from service.agronomy.records import CurveDefinition, Days, Floats, Ints
from service.agronomy.soil_reading import correction_mm
from service.agronomy.water_balance import DayLedger
from service.agronomy.watering_rules import net_rate_mm_per_min, uniform_share
from service.agronomy.weather_day import FieldFlag
from service.database.session import UnitOfWork
from service.operations.evening.gather_weather import GatheredWeather
from service.records.farms import BlockTable
from service.records.feedback import DepletionReadings
from service.records.ledger import (
    LEDGER_NUMBERS,
    AppliedWater,
    BalanceState,
    IrrigationOrigin,
    LedgerRows,
)

FIRST_LEDGER_DAYS = 30
"""How far back the ledger of a new block may begin where the grower gives no day."""
SETTLE_ANYWAY_DAYS = 10
"""A day older than this is settled with what is known of it; better weather later reopens it."""
NO_DAY = np.datetime64("NaT", "D")


class BlockVersions:
    """The blocks of a chunk as they stand on a day: size of the year, version of the day."""

    def __init__(
        self,
        unit: UnitOfWork,
        table: BlockTable,
        farm_keys: Ints,
        *,
        site_index: Ints,
        supply_index: Ints,
    ) -> None:
        self._unit = unit
        self._table = table
        self._farm_keys = farm_keys
        self._site_index = site_index
        self._supply_index = supply_index
        self._made: dict[tuple[int, date | None], BlockBatch] = {}

    def version_days(self, first: date, last: date) -> list[date]:
        """Days in the span on which a block changes version, or the plants a year."""
        changes = self._unit.blocks.list_version_days(
            self._farm_keys, first_day=first, last_day=last
        )
        years = [date(year, 1, 1) for year in range(first.year + 1, last.year + 1)]
        return sorted({*changes, *years})

    def on(self, day: date, version_day: date | None = None) -> BlockBatch:
        """The batch of ``day``; of an older version where ``version_day`` names its day."""
        key = (day.year, version_day)
        if key not in self._made:
            table = self._table if version_day is None else self._older(version_day)
            self._made[key] = make_block_batch(
                table.numbers,
                table.curves,
                site_index=self._site_index,
                supply_index=self._supply_index,
                season_year=day.year,
            )
        return self._made[key]

    def _older(self, day: date) -> BlockTable:
        """The blocks of the chunk as of an earlier day; a block without an older version as now."""
        now, then = self._table, self._unit.blocks.read_block_table(day, farm_keys=self._farm_keys)
        place = np.searchsorted(then.keys, now.keys)
        place = np.minimum(place, max(then.keys.size - 1, 0))
        has_older = (
            then.keys[place] == now.keys if then.keys.size else np.zeros(now.keys.size, dtype=bool)
        )
        numbers = {
            name: np.where(has_older, then.numbers[name][place], values)
            if then.keys.size
            else values
            for name, values in now.numbers.items()
        }
        curves = tuple(
            then.curves[place[row]] if has_older[row] else now.curves[row]
            for row in range(now.keys.size)
        )
        return BlockTable(
            keys=now.keys,
            block_ids=now.block_ids,
            farm_keys=now.farm_keys,
            site_keys=now.site_keys,
            supply_keys=now.supply_keys,
            numbers=numbers,
            curves=curves,
            windows=now.windows,
            no_water=now.no_water,
            balance_start=now.balance_start,
            valid_from=now.valid_from,
        )


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
        """(blocks,) flags of the last settled day and of the days since, all runs alike."""
        state = self.new_state(before)
        unsettled = self.has_row & (self.days[:, None] > _or_never(state.settled_day))
        since: Ints = np.bitwise_or.reduce(np.where(unsettled, self.flags_by_day, 0), axis=0)
        return state.flags | since

    @property
    def settled_day(self) -> Days:
        """(blocks,) last day settled by this run, NaT where none was."""
        count = self.is_settled.shape[0]
        last = count - 1 - np.argmax(self.is_settled[::-1], axis=0)
        return np.where(self.is_settled.any(axis=0), self.days[last], NO_DAY)

    def new_state(self, before: BalanceState) -> BalanceState:
        """Where the ledgers stand after this run."""
        settled = self.settled_day
        moved = ~np.isnat(settled)
        row = np.where(moved, (settled - self.days[0]).astype(np.int64), 0)
        block = np.arange(settled.size)
        return BalanceState(
            settled_day=np.where(moved, settled, before.settled_day),
            depletion_mm=np.where(moved, self.depletion_end_mm[row, block], before.depletion_mm),
            degree_day_sum_c_day=np.where(
                moved, self.degree_day_sum_c_day[row, block], before.degree_day_sum_c_day
            ),
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


@dataclass(frozen=True, slots=True)
class Correction:
    """One soil reading, at its place in the ledger."""

    block: int
    is_evening: bool
    depletion_reading_mm: float
    weight_fraction: float


def reopened_state(unit: UnitOfWork, table: BlockTable, on: date) -> BalanceState:
    """Where the ledgers stand; those settled on or after ``on`` are first taken back before it."""
    state = unit.ledger.read_states(table.keys)
    ahead = state.settled_day >= np.datetime64(on)
    if not ahead.any():
        return state
    for site_key in np.unique(table.site_keys[ahead]).tolist():
        unit.ledger.rewind(site_key=site_key, day=on)
    return unit.ledger.read_states(table.keys)


def earliest_day(on: date, table: BlockTable, state: BalanceState) -> date:
    """First day whose weather the run may need: the climate window before the first ledger day."""
    wanted = np.where(
        np.isnat(state.settled_day),
        np.where(
            np.isnat(table.balance_start),
            np.datetime64(on) - np.array([_lookback_days(curve, on) for curve in table.curves]),
            table.balance_start,
        ),
        state.settled_day + 1,
    )
    earliest: date = min(wanted.min(), np.datetime64(on) - 1).item()
    return earliest - timedelta(days=CLIMATE_WINDOW_DAYS)


def _lookback_days(curve: CurveDefinition, on: date) -> int:
    """How far back a new ledger looks: a month, or to the season's start to count degree days."""
    if curve.basis != "degree-days":
        return FIRST_LEDGER_DAYS
    start_doy = day_of_year(*curve.season_start)
    return max(FIRST_LEDGER_DAYS, (day_of_year(on.month, on.day) - start_doy) % DAYS_IN_YEAR + 1)


def first_ledger_days(
    on: date, table: BlockTable, state: BalanceState, weather: GatheredWeather, site_index: Ints
) -> Days:
    """First ledger day of each block that is still to be computed, (blocks,)."""
    today = np.datetime64(on)
    first: Days = state.settled_day + 1
    for row in np.flatnonzero(np.isnat(first)).tolist():
        given = table.balance_start[row]
        back = today - _lookback_days(table.curves[row], on) if np.isnat(given) else given
        first[row] = _first_known(weather, site_index[row], back)
    return np.minimum(np.where(np.isnat(first), today, first), today)


def _first_known(weather: GatheredWeather, site: int, not_before: np.datetime64) -> np.datetime64:
    """First day from ``not_before`` on with observed weather at a site, NaT where there is none."""
    known = weather.is_observed[:, site] & (weather.days >= not_before)
    rows = np.flatnonzero(known)
    day: np.datetime64 = weather.days[rows[0]] if rows.size else NO_DAY
    return day


def readings_by_day(
    readings: DepletionReadings, block_keys: Ints, days: Days
) -> Mapping[int, list[Correction]]:
    """Soil readings by row of the ledger, in the order in which they were taken."""
    found: dict[int, list[Correction]] = {}
    for key, day, is_evening, depletion_mm, weight in zip(
        readings.block_keys.tolist(),
        readings.days,
        readings.is_evening.tolist(),
        readings.depletion_reading_mm.tolist(),
        readings.weight_fraction.tolist(),
        strict=True,
    ):
        found.setdefault(row_of_day(days, day), []).append(
            Correction(int(np.searchsorted(block_keys, key)), is_evening, depletion_mm, weight)
        )
    return found


def every_day(first: np.datetime64, last: date) -> Days:
    """The days of a span, both ends with it."""
    return np.arange(first, np.datetime64(last) + 1, dtype="datetime64[D]")


def row_of_day(days: Days, day: date | np.datetime64) -> int:
    """Place of a day among days that follow one another."""
    wanted = np.datetime64(day) if isinstance(day, date) else day
    return int((wanted - days[0]).astype(np.int64))


def bring_up_to_date(
    on: date,
    first_day: Days,
    state: BalanceState,
    *,
    weather: GatheredWeather,
    applied: AppliedWater,
    readings: Mapping[int, list[Correction]],
    versions: BlockVersions,
) -> Ledger:
    """The ledger from each block's first day to today, one group of blocks per first day."""
    days = every_day(first_day.min(), on)
    block_count = first_day.size
    shape = (days.size, block_count)
    numbers = {name: np.full(shape, np.nan) for name in LEDGER_NUMBERS}
    flags = np.zeros(shape, dtype=np.int64)
    today = versions.on(on)
    start_mm = np.where(
        np.isnat(state.settled_day),
        np.nan_to_num(today.initial_depletion_mm),
        state.depletion_mm,
    )
    for group_day in np.unique(first_day):
        blocks = np.flatnonzero(first_day == group_day)
        _step_group(
            row_of_day(days, group_day), blocks, on, days=days, start_mm=start_mm[blocks],
            state=state, weather=weather, applied=applied, readings=readings, versions=versions,
            numbers=numbers,
        )  # fmt: skip
    in_ledger = days[:, None] >= first_day
    has_row = in_ledger & np.isfinite(numbers["depletion_end_mm"])
    site_rows = slice(row_of_day(weather.days, days[0]), row_of_day(weather.days, days[-1]) + 1)
    at_site = today.site_index
    is_observed = weather.is_observed[site_rows][:, at_site]
    age_days = (np.datetime64(on) - days).astype(np.int64)[:, None]
    may_settle = (age_days >= 1) & (is_observed | (age_days >= SETTLE_ANYWAY_DAYS)) & has_row
    is_settled = np.logical_and.accumulate(may_settle | ~in_ledger, axis=0) & in_ledger
    has_water = (applied.early_min + applied.day_min) > 0
    origin = np.select(
        [applied.is_reported, has_water],
        [IrrigationOrigin.REPORTED, IrrigationOrigin.PLANNED],
        default=IrrigationOrigin.NONE,
    )
    flags |= _day_flags(weather, site_rows, at_site)
    flags |= np.where(has_water & ~applied.is_reported, int(PlanFlag.RUNS_ASSUMED), 0)
    is_short = numbers["depletion_end_mm"] > numbers["raw_mm"]
    flags |= np.where(is_short, int(PlanFlag.AFTERNOON_STRESS), 0)
    flags |= _start_flags(state, today, in_ledger, numbers)
    return Ledger(
        days=days,
        has_row=has_row,
        is_observed=is_observed,
        is_settled=is_settled,
        irrigation_origin=origin,
        flags_by_day=flags,
        numbers=numbers,
    )


def _step_group(
    first_row: int,
    blocks: Ints,
    on: date,
    *,
    days: Days,
    start_mm: Floats,
    state: BalanceState,
    weather: GatheredWeather,
    applied: AppliedWater,
    readings: Mapping[int, list[Correction]],
    versions: BlockVersions,
    numbers: dict[str, Floats],
) -> None:
    """Step the blocks that share a first day, span by span of one block version and year.

    A span also ends with each day of a soil reading, which corrects where the next one starts.
    """
    # Also a version that begins with the day planned: the days before are not yet its own.
    changes = versions.version_days(days[first_row].item() + ONE_DAY, on + ONE_DAY)
    begins = [first_row, *(row_of_day(days, change) for change in changes)]
    after_readings = {row + 1 for row in readings if first_row <= row < days.size - 1}
    starts = sorted(row for row in {*begins, *after_readings} if row < days.size)
    ends = [*starts[1:], days.size]
    depletion_mm = start_mm
    degree_days_c_day = state.degree_day_sum_c_day[blocks]
    for begin, end in zip(starts, ends, strict=True):
        is_current = begin >= begins[-1]
        version_day = days[max(row for row in begins if row <= begin)].item()
        batch = take_blocks(versions.on(version_day, None if is_current else version_day), blocks)
        span = days_of(
            weather.weather.days,
            row_of_day(weather.days, days[begin]),
            row_of_day(weather.days, days[end - 1]) + 1,
        )
        crop = crop_days(batch, span, degree_day_start_c_day=degree_days_c_day)
        rate = net_rate_mm_per_min(batch.system, batch.soil)
        early_min = applied.early_min[begin:end, blocks]
        day_min = applied.day_min[begin:end, blocks]
        ledger = keep_ledger(
            depletion_mm,
            crop,
            first_day_index=np.zeros(blocks.size, dtype=np.int64),
            early_net_mm=early_min * rate,
            day_net_mm=day_min * rate,
        )
        _book(
            numbers, slice(begin, end), blocks, span=span, batch=batch, crop=crop, ledger=ledger,
            running_min=early_min + day_min,
        )  # fmt: skip
        _correct(numbers, end - 1, blocks, readings.get(end - 1, ()))
        depletion_mm = numbers["depletion_end_mm"][end - 1, blocks]
        degree_days_c_day = crop.degree_day_sum_c_day[-1]


def _correct(
    numbers: dict[str, Floats], row: int, blocks: Ints, readings: Sequence[Correction]
) -> None:
    """Let the end of a day follow the day's soil readings, one after the other."""
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


def _book(
    numbers: dict[str, Floats],
    rows: slice,
    blocks: Ints,
    *,
    span: SiteDays,
    batch: BlockBatch,
    crop: CropDays,
    ledger: DayLedger,
    running_min: Floats,
) -> None:
    """Write the numbers of a span of days into the ledger's arrays."""
    gross_mm = running_min * batch.system.application_rate_mm_per_h / 60.0
    uniform_mm = gross_mm * uniform_share(batch.system)
    booked = {
        "et0_mm": span.et0_mm[:, batch.site_index],
        "rain_mm": span.rain_mm[:, batch.site_index],
        "crop_coefficient": crop.crop_coefficient,
        "irrigation_gross_mm": gross_mm,
        "nonuniformity_loss_mm": gross_mm - uniform_mm,
        "unrooted_loss_mm": uniform_mm * (1.0 - batch.soil.root_share_of_wetted),
        "correction_mm": np.where(np.isfinite(ledger.depletion_end_mm), 0.0, np.nan),
        "degree_day_sum_c_day": crop.degree_day_sum_c_day,
    }
    for name in LEDGER_NUMBERS:
        values = booked[name] if name in booked else getattr(ledger, name)
        numbers[name][rows, blocks] = values


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
    state: BalanceState,
    today: BlockBatch,
    in_ledger: NDArray[np.bool_],
    numbers: Mapping[str, Floats],
) -> Ints:
    """The assumed start counts until water drains: from then on the zone is known to be full."""
    assumed = int(PlanFlag.START_DEPLETION_ASSUMED)
    is_new = np.isnat(state.settled_day)
    still = np.where(is_new, np.isnan(today.initial_depletion_mm), (state.flags & assumed) != 0)
    drained = (numbers["rain_drainage_mm"] + numbers["irrigation_drainage_mm"]) > 0
    unknown = still & ~np.logical_or.accumulate(drained & in_ledger, axis=0)
    return np.where(unknown & in_ledger, assumed, 0)


def _or_never(days: Days) -> Days:
    """Days with NaT replaced by one before all others."""
    return np.where(np.isnat(days), np.datetime64(date.min), days)


def save_ledger(unit: UnitOfWork, ledger: Ledger, block_keys: Ints, before: BalanceState) -> None:
    """Store the computed days of these blocks, and where their ledgers stand."""
    unit.ledger.save_rows(ledger.rows(block_keys))
    unit.ledger.save_states(block_keys, ledger.new_state(before))
