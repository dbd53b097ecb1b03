"""Everything an evening run reads about some farms before it computes anything.

In: the keys of the farms and the evening's date. Out: :class:`EveningInputs` with the blocks as
they are on each day, the weather at their sites, where their ledgers are settled, and what was
reported since.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from service.agronomy.block_batch import BlockBatch, day_of_year, make_block_batch
from service.agronomy.civil_day import ONE_DAY
from service.agronomy.crop_water_use import CLIMATE_WINDOW_DAYS, DAYS_IN_YEAR, RESTING_DAYS
from service.agronomy.records import CurveDefinition, Days, Ints
from service.database.session import UnitOfWork
from service.operations.evening.gather_weather import GatheredWeather
from service.records.farms import BlockTable, SupplyTable
from service.records.feedback import DepletionReadings
from service.records.ledger import AppliedWater, BalanceState

FIRST_LEDGER_DAYS = 30
"""How far back the ledger of a new block may begin, for a run known of then, if no day is given."""
NO_DAY = np.datetime64("NaT", "D")


class BlockVersions:
    """The blocks of some farms on a day: version of that day, plant size of that year."""

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
        """The batch of ``day``; of an older version if ``version_day`` names its day."""
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
        """The blocks as of an earlier day; those without an older version as they are now."""
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
        return replace(now, numbers=numbers, curves=curves)


@dataclass(frozen=True, slots=True)
class Correction:
    """One soil reading and its position in the ledger."""

    block: int
    is_evening: bool
    depletion_reading_mm: float
    weight_fraction: float


@dataclass(frozen=True, slots=True, kw_only=True)
class EveningInputs:
    """The blocks of some farms with their weather, ledgers and reports; arrays (blocks,)."""

    on: date
    """Today: the last day of the ledgers. The plans are for the day after."""
    farm_keys: Ints
    """(farms,)"""
    table: BlockTable
    supplies: SupplyTable
    weather: GatheredWeather
    site_index: Ints
    """Weather column of each block: its site's, or that of its farm's own gauge there."""
    supply_index: Ints
    """Row of each block's supply among the supplies."""
    before: BalanceState
    """How far the ledgers were settled before this run."""
    first_day: Days
    """First ledger day of each block that has to be computed."""
    applied: AppliedWater
    readings: Mapping[int, list[Correction]]
    """Soil readings by row of the ledger, in the order they were taken."""
    versions: BlockVersions

    @property
    def ledger_days(self) -> Days:
        """(days,) the days to compute, up to today."""
        return every_day(self.first_day.min(), self.on)

    @property
    def plan_day(self) -> date:
        """Tomorrow."""
        return self.on + ONE_DAY


def read_inputs(
    unit: UnitOfWork,
    farm_keys: Ints,
    *,
    on: date,
    weather_since: Callable[[date, UnitOfWork], GatheredWeather],
) -> EveningInputs | None:
    """Read what the evening of ``on`` needs for these farms; None if they have no block."""
    table = _with_pauses(unit, unit.blocks.read_block_table(on + ONE_DAY, farm_keys=farm_keys))
    supplies = unit.blocks.read_supply_table(farm_keys)
    before = _reopened_state(unit, table, on)
    if table.keys.size == 0:
        return None
    weather = weather_since(_earliest_day(on, table, before), unit)
    site_index = weather.columns_of(table.site_keys, table.farm_keys)
    supply_index = np.searchsorted(supplies.keys, table.supply_keys)
    known_since = _known_since(unit, on, table, before)
    first_day = _first_ledger_days(
        on, table, before, weather, site_index=site_index, known_since=known_since
    )
    days = every_day(first_day.min(), on)
    readings = unit.soil.read_depletions(table.keys, first_day=days[0].item(), last_day=on)
    return EveningInputs(
        on=on,
        farm_keys=farm_keys,
        table=table,
        supplies=supplies,
        weather=weather,
        site_index=site_index,
        supply_index=supply_index,
        before=before,
        first_day=first_day,
        applied=unit.reports.read_applied(table.keys, days),
        readings=_readings_by_day(readings, table.keys, days),
        versions=BlockVersions(
            unit, table, farm_keys, site_index=site_index, supply_index=supply_index
        ),
    )


def _with_pauses(unit: UnitOfWork, table: BlockTable) -> BlockTable:
    """The blocks with requested pauses added to their own no-water periods."""
    asked = unit.pauses.read_periods(table.keys)
    if not asked:
        return table
    return replace(
        table,
        no_water=tuple(
            own + asked.get(key, ())
            for key, own in zip(table.keys.tolist(), table.no_water, strict=True)
        ),
    )


def _reopened_state(unit: UnitOfWork, table: BlockTable, on: date) -> BalanceState:
    """How far the ledgers are settled; those settled on or after ``on`` are rewound first."""
    state = unit.ledger.read_states(table.keys)
    ahead = state.settled_day >= np.datetime64(on)
    if not ahead.any():
        return state
    unit.ledger.rewind_blocks(table.keys[ahead], day=on)
    return unit.ledger.read_states(table.keys)


def _earliest_day(on: date, table: BlockTable, state: BalanceState) -> date:
    """First day whose weather the run may need: the climate window before the first ledger day."""
    is_new, given = np.isnat(state.settled_day), table.balance_start
    wanted = np.where(is_new, given, state.settled_day + 1)
    for row in np.flatnonzero(is_new).tolist():
        if np.isnat(given[row]):
            wanted[row] = np.datetime64(on) - _lookback_days(table.curves[row], on)
        else:
            wanted[row] -= _days_into_season(table.curves[row], given[row].item())
    earliest: date = min(wanted.min(), np.datetime64(on) - 1).item()
    return earliest - timedelta(days=CLIMATE_WINDOW_DAYS)


def _lookback_days(curve: CurveDefinition, on: date) -> int:
    """How far back a new ledger looks: a month, or to the season's start to count degree days."""
    return max(FIRST_LEDGER_DAYS, _days_into_season(curve, on))


def _days_into_season(curve: CurveDefinition, day: date) -> int:
    """Days to look back from a day for its degree days; none for other curves."""
    if curve.basis != "degree-days":
        return 0
    start_doy = day_of_year(*curve.season_start)
    return (day_of_year(day.month, day.day) - start_doy) % DAYS_IN_YEAR + 1


def _known_since(unit: UnitOfWork, on: date, table: BlockTable, state: BalanceState) -> Days:
    """First day on which the water of each block is known, (blocks,): of books, a run, a reading.

    What was irrigated before the first evening is not known unless runs of those days were
    reported; counting such days as dry would call for all the water of the season so far at once.
    """
    today = np.datetime64(on)
    is_new = np.isnat(state.settled_day) & np.isnat(table.balance_start)
    if not is_new.any():
        return np.full(is_new.shape, today)
    keys = table.keys[is_new]
    back = np.array([_lookback_days(table.curves[row], on) for row in np.flatnonzero(is_new)])
    days = every_day(today - back.max(), on)
    reported = unit.reports.read_applied(keys, days).is_reported
    first_run = np.where(reported.any(axis=0), days[np.argmax(reported, axis=0)], today)
    booked = np.fmin(unit.ledger.read_first_days(keys), today)
    known = np.minimum(np.minimum(booked, first_run), _first_readings(unit, keys, days))
    since = np.full(is_new.shape, today)
    since[is_new] = np.maximum(known, today - back)
    return since


def _first_readings(unit: UnitOfWork, block_keys: Ints, days: Days) -> Days:
    """(blocks,) first of these days on which the soil was read, the last of them where none."""
    first = np.full(block_keys.shape, days[-1])
    readings = unit.soil.read_depletions(
        block_keys, first_day=days[0].item(), last_day=days[-1].item()
    )
    np.minimum.at(first, np.searchsorted(block_keys, readings.block_keys), readings.days)
    return first


def _first_ledger_days(
    on: date,
    table: BlockTable,
    state: BalanceState,
    weather: GatheredWeather,
    *,
    site_index: Ints,
    known_since: Days,
) -> Days:
    """First ledger day still to compute for each block, (blocks,)."""
    today = np.datetime64(on)
    first: Days = state.settled_day + 1
    for row in np.flatnonzero(np.isnat(first)).tolist():
        given = table.balance_start[row]
        since = known_since[row] if np.isnat(given) else given
        since = _growth_known_since(table.curves[row], weather, site_index[row], since)
        # A known run or reading starts the books also where its day's weather is a forecast yet.
        is_known = weather.has_temperatures if np.isnat(given) else weather.is_observed
        first[row] = _first_day_of(is_known[:, site_index[row]], weather.days, since)
    return np.minimum(np.where(np.isnat(first), today, first), today)


def _growth_known_since(
    curve: CurveDefinition, weather: GatheredWeather, site: int, since: np.datetime64[date]
) -> np.datetime64[date]:
    """First day from ``since`` on whose degree days are known, or on which the crop rests."""
    back = _days_into_season(curve, since.item())
    season_start = since - back + 1
    if back == 0 or weather.is_observed[weather.days <= season_start, site].any():
        return since
    rests_from: np.datetime64[date] = season_start + DAYS_IN_YEAR - RESTING_DAYS
    return max(since, rests_from)


def _first_day_of(
    is_known: NDArray[np.bool_], days: Days, not_before: np.datetime64[date]
) -> np.datetime64:
    """First day from ``not_before`` on whose weather is known, NaT if there is none."""
    rows = np.flatnonzero(is_known & (days >= not_before))
    day: np.datetime64 = days[rows[0]] if rows.size else NO_DAY
    return day


def _readings_by_day(
    readings: DepletionReadings, block_keys: Ints, days: Days
) -> Mapping[int, list[Correction]]:
    """Soil readings by row of the ledger, in the order they were taken."""
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
    """The days of a span, including both ends."""
    return np.arange(first, np.datetime64(last) + 1, dtype="datetime64[D]")


def row_of_day(days: Days, day: date | np.datetime64) -> int:
    """Position of a day among consecutive days."""
    wanted = np.datetime64(day) if isinstance(day, date) else day
    return int((wanted - days[0]).astype(np.int64))
