"""The evening run: bring every ledger up to today and publish tomorrow's plans.

Running the same evening again changes nothing unless the weather, a block or a run report has
changed; then the affected plans get a new version. Farms are handled in chunks, each in one
transaction of its own, so that what is done stays done; a farm whose run fails is reported and
does not stop the others.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from service.agronomy.block_batch import (
    BlockBatch,
    day_of_year,
    make_block_batch,
    take_blocks,
)
from service.agronomy.civil_day import day_lengths_min, midnight_utc
from service.agronomy.daily_plan import (
    CropDays,
    DailyPlan,
    SiteDays,
    coming_days,
    crop_days,
    days_of,
    keep_ledger,
    plan_tomorrow,
    take_crop,
)
from service.agronomy.injection_room import PlannedDay
from service.agronomy.reasoning import PlanFlag
from service.agronomy.records import CurveDefinition, Days, Floats, Ints, WindowBatch
from service.agronomy.replanning import CommittedWater, commit_pulses
from service.agronomy.soil_reading import correction_mm
from service.agronomy.water_balance import DayLedger
from service.agronomy.watering_rules import (
    FILL_TIMES_PER_PULSE_COUNT,
    net_rate_mm_per_min,
    uniform_share,
)
from service.agronomy.watering_window import watering_windows
from service.agronomy.weather_day import FieldFlag
from service.errors import NotFound
from service.logs import get_logger
from service.operations.gather_weather import (
    GatheredWeather,
    WeatherDocuments,
    gather_weather,
    weather_documents,
)
from service.operations.phases import Phases
from service.operations.plan_documents import PlanSituation, pick_rows, plan_rows
from service.operations.plan_fertigation import fit_injections
from service.operations.publish_programs import announce_plans
from service.ports import AfterPublish, Clock, UnitOfWork, UnitOfWorkFactory
from service.records import (
    LEDGER_NUMBERS,
    AppliedWater,
    BalanceState,
    BlockTable,
    DepletionReadings,
    LedgerRows,
    PlansInForce,
    SupplyTable,
)

OUTLOOK_DAYS = 7
CLIMATE_DAYS = 30
FIRST_LEDGER_DAYS = 30
"""How far back the ledger of a new block may begin where the grower gives no day."""
SETTLE_ANYWAY_DAYS = 10
"""A day older than this is settled with what is known of it; better weather later reopens it."""
CHUNK_BLOCKS = 5_000
DAYS_IN_YEAR = 365
ONE_DAY = timedelta(days=1)
NO_DAY = np.datetime64("NaT", "D")
log = get_logger(__name__)


@dataclass(frozen=True, slots=True)
class FarmFailure:
    """A farm that could not be planned, and why."""

    farm_id: str
    reason: str


@dataclass(slots=True)
class DayRun:
    """What an evening run did."""

    on: date
    block_count: int = 0
    new_version_count: int = 0
    without_weather_count: int = 0
    failures: list[FarmFailure] = field(default_factory=list)
    phases: Phases = field(default_factory=Phases)


@dataclass(frozen=True, slots=True)
class ChangeThreshold:
    """By how much the minutes that are needed must change to replace a plan that is out."""

    minutes: float = 5.0
    fraction: float = 0.10

    def is_passed(self, before_min: Floats, after_min: Floats | Ints) -> NDArray[np.bool_]:
        """(blocks,) the change is more than either bound, or the need was not known before."""
        change_min = np.abs(after_min - before_min)
        passed: NDArray[np.bool_] = (
            np.isnan(before_min)
            | (change_min > self.minutes)
            | (change_min > self.fraction * before_min)
        )
        return passed


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """How the farms of a run are to be planned; the parts are those of :func:`run_day`."""

    clock: Clock
    supersedes_from: ChangeThreshold | None = None
    earliest_start: datetime | None = None
    makes_plans: bool = True
    after_publish: AfterPublish | None = None

    @property
    def revises(self) -> bool:
        """Plans in force matter: their pulses may stand, or small changes are not worth it."""
        return self.earliest_start is not None or self.supersedes_from is not None


def run_day(
    on: date,
    *,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
    source_order: Mapping[str, int],
    farm_ids: Sequence[str] | None = None,
    progress: Callable[[int], None] | None = None,
    earliest_start: datetime | None = None,
    makes_plans: bool = True,
    supersedes_from: ChangeThreshold | None = None,
    after_publish: AfterPublish | None = None,
) -> DayRun:
    """Run the evening of ``on`` for these farms, or for all; returns what was done.

    ``earliest_start`` is for plans that come late: no pulse starts before it. Where the day
    planned is under way by then, pulses of the plan in force that have started, or start within
    minutes, stay, and only the rest is planned anew. Without ``makes_plans`` only the ledgers are
    brought up to date, and the plans in force stay. With ``supersedes_from`` a plan in force is
    replaced only where its minutes change by more than that. ``after_publish`` is called in the
    transaction of each group of farms that got new versions.
    """
    run = DayRun(on=on)
    turn = Turn(
        clock=clock,
        supersedes_from=supersedes_from,
        earliest_start=earliest_start,
        makes_plans=makes_plans,
        after_publish=after_publish,
    )
    with run.phases.phase("reading"), unit_of_work(write=False) as unit:
        farm_key_of = unit.blocks.farm_keys(farm_ids)
        counts = unit.blocks.count_blocks(
            np.array(sorted(farm_key_of.values()), dtype=np.int64), day=on + ONE_DAY
        )
    farm_id_of = {key: farm_id for farm_id, key in farm_key_of.items()}
    if not farm_id_of:
        message = "no farm is stored; load a farm file first"
        raise NotFound(message)
    weather = _WeatherCache(on, clock.now(), source_order, run.phases)
    for chunk in _chunks(counts):
        try:
            _run_farms(chunk, run, weather, unit_of_work=unit_of_work, turn=turn)
        except Exception as failure:  # one farm's fault must not leave the others without a plan
            if len(chunk) == 1:
                _note_failure(run, farm_id_of[chunk[0]], failure)
                continue
            log.warning("farms failed together, each is tried alone", farm_count=len(chunk))
            for farm_key in chunk:
                try:
                    _run_farms([farm_key], run, weather, unit_of_work=unit_of_work, turn=turn)
                except Exception as own:
                    _note_failure(run, farm_id_of[farm_key], own)
        if progress is not None:
            progress(run.block_count)
    log.info(
        "evening run done" if makes_plans else "ledgers brought up to date",
        on=on,
        farm_count=len(farm_id_of),
        block_count=run.block_count,
        new_version_count=run.new_version_count,
        without_weather_count=run.without_weather_count,
        failed_farm_count=len(run.failures),
        seconds={name: round(spent, 3) for name, spent in run.phases.seconds.items()},
    )
    return run


def _note_failure(run: DayRun, farm_id: str, failure: Exception) -> None:
    """Keep the reason for whoever asked for the run; where it happened stands in the log alone."""
    run.failures.append(FarmFailure(farm_id, _reason(failure)))
    log.error("farm failed", farm=farm_id, on=run.on, reason=_reason(failure), exc_info=failure)


def _reason(failure: Exception) -> str:
    return f"{type(failure).__name__}: {failure}"


def _chunks(counts: Mapping[int, int]) -> Iterator[list[int]]:
    """Farms in groups of about CHUNK_BLOCKS blocks."""
    chunk: list[int] = []
    block_count = 0
    for farm_key, count in sorted(counts.items()):
        if chunk and block_count + count > CHUNK_BLOCKS:
            yield chunk
            chunk, block_count = [], 0
        chunk.append(farm_key)
        block_count += count
    if chunk:
        yield chunk


def replan_farms(
    unit: UnitOfWork,
    farm_ids: Sequence[str],
    *,
    on: date,
    source_order: Mapping[str, int],
    turn: Turn,
) -> DayRun:
    """The evening of ``on`` again for a few farms, inside a transaction that is open already.

    What a grower reported in that transaction counts, and either both are stored or none. Unlike
    :func:`run_day` it lets every failure through.
    """
    run = DayRun(on=on)
    farm_keys = sorted(unit.blocks.farm_keys(farm_ids).values())
    site_keys = unit.blocks.list_site_keys(np.array(farm_keys, dtype=np.int64))
    weather = _WeatherCache(on, turn.clock.now(), source_order, run.phases, site_keys=site_keys)
    _plan_farms(unit, farm_keys, run, weather, turn=turn)
    return run


class _WeatherCache:
    """The weather of all sites, or some, read and computed once for the span that a run needs."""

    def __init__(
        self,
        on: date,
        now: datetime,
        source_order: Mapping[str, int],
        phases: Phases,
        *,
        site_keys: Ints | None = None,
    ) -> None:
        self._on = on
        self._site_keys = site_keys
        self._now = now
        self._source_order = source_order
        self._phases = phases
        self._gathered: GatheredWeather | None = None
        self._documents: WeatherDocuments | None = None

    def since(self, first_day: date, unit: UnitOfWork) -> GatheredWeather:
        """Weather from ``first_day`` at the latest to the end of the outlook."""
        if self._gathered is None or self._gathered.days[0] > np.datetime64(first_day):
            with self._phases.phase("reading weather"):
                sites = unit.blocks.read_site_table(self._site_keys)
            with self._phases.phase("weather and ET0"):
                self._gathered = gather_weather(
                    unit.weather,
                    sites,
                    on=self._on,
                    now=self._now,
                    first_day=first_day,
                    last_day=self._on + timedelta(days=OUTLOOK_DAYS),
                    source_order=self._source_order,
                )
            self._documents = None
        return self._gathered

    def documents(self, weather: GatheredWeather) -> WeatherDocuments:
        """The weather reasoning of all sites, made once however many chunks of farms there are."""
        if self._documents is None:
            self._documents = weather_documents(weather, first_day=self._on - ONE_DAY)
        return self._documents


def _run_farms(
    farm_keys: Sequence[int],
    run: DayRun,
    cache: _WeatherCache,
    *,
    unit_of_work: UnitOfWorkFactory,
    turn: Turn,
) -> None:
    """Ledger and plans of some farms, in one transaction of their own."""
    counts = DayRun(on=run.on, phases=run.phases)
    with unit_of_work(write=True) as unit:
        _plan_farms(unit, farm_keys, counts, cache, turn=turn)
    run.block_count += counts.block_count
    run.new_version_count += counts.new_version_count
    run.without_weather_count += counts.without_weather_count


def _plan_farms(
    unit: UnitOfWork,
    farm_keys: Sequence[int],
    run: DayRun,
    cache: _WeatherCache,
    *,
    turn: Turn,
) -> None:
    """Ledger and plans of some farms."""
    phase = run.phases.phase
    keys = np.array(farm_keys, dtype=np.int64)
    plan_day = run.on + ONE_DAY
    with phase("reading"):
        table = _with_pauses(unit, unit.blocks.read_block_table(plan_day, farm_keys=keys))
        supplies = unit.blocks.read_supply_table(keys)
        state = _reopened(unit, table, run.on)
    if table.keys.size == 0:
        return
    weather = cache.since(_earliest_day(run.on, table, state), unit)
    with phase("balance"):
        site_index = np.searchsorted(weather.sites.keys, table.site_keys)
        first_day = _first_days(run.on, table, state, weather, site_index)
    with phase("reading"):
        days = _days(first_day.min(), run.on)
        applied = unit.plans.read_applied(table.keys, days)
        readings = unit.soil.read_depletions(table.keys, first_day=days[0].item(), last_day=run.on)
    supply_index = np.searchsorted(supplies.keys, table.supply_keys)
    batches = _Batches(unit, table, keys, site_index=site_index, supply_index=supply_index)
    with phase("balance"):
        ledger = _bring_up_to_date(
            run.on,
            first_day,
            state,
            weather=weather,
            applied=applied,
            readings=_readings_by_day(readings, table.keys, days),
            batches=batches,
        )
    if not turn.makes_plans:
        with phase("writing"):
            _save_ledger(unit, ledger, table, state)
        run.block_count += table.keys.size
        return
    with phase("windows"):
        windows = _windows(table, supplies, weather, site_index, supply_index, day=plan_day)
        not_before_min = np.maximum(
            _not_before(applied, weather, site_index, run.on),
            _elapsed_at(turn.earliest_start, plan_day, weather)[site_index],
        )
        windows_of_day = _coming_windows(
            table,
            supplies,
            weather,
            site_index,
            supply_index,
            windows=windows,
            first_day=plan_day,
        )
    with phase("balance"):
        blocks = batches.on(plan_day)
        ahead = days_of(weather.weather.days, _row(weather.days, plan_day), weather.days.size)
        crop = crop_days(blocks, ahead, degree_day_start_c_day=ledger.degree_day_sum_c_day[-1])
    with phase("reading"):
        in_force = unit.plans.read_in_force(table.keys, day=plan_day) if turn.revises else None
    committed = _committed(in_force, turn, blocks, ahead, weather=weather)
    plan, injections = _plan_and_inject(
        unit,
        run,
        blocks,
        ahead,
        crop,
        keys=table.keys,
        depletion_midnight_mm=ledger.depletion_end_mm[-1],
        windows=windows,
        supply_flow_l_per_h=supplies.flow_l_per_h,
        not_before_min=not_before_min,
        committed=committed,
    )
    with phase("outlook"):
        outlook = coming_days(
            blocks,
            ahead,
            crop,
            plan=plan,
            windows_of_day=windows_of_day,
            supply_flow_l_per_h=supplies.flow_l_per_h,
        )
    issued_at = turn.clock.now()
    with phase("documents"):
        basis = cache.documents(weather)
    with phase("writing"):
        used = np.unique(site_index)
        basis_keys = np.zeros(weather.sites.keys.size, dtype=np.int64)
        basis_keys[used] = unit.plans.save_basis(
            weather.sites.keys[used],
            [basis.documents[site] for site in used.tolist()],
            day=plan_day,
            issued_at=issued_at,
        )
    with phase("documents"):
        rows = plan_rows(
            PlanSituation(
                day=plan_day,
                table=table,
                blocks=blocks,
                weather=weather,
                site_index=site_index,
                crop=crop,
                plan=plan,
                outlook=outlook,
                ledger_flags=ledger.recent_flags(state),
                settled_day=ledger.new_state(state).settled_day,
                injections=injections,
            ),
            basis_keys=basis_keys,
            basis_digests=basis.digests,
        )
    if in_force is not None and turn.supersedes_from is not None:
        worth_it = turn.supersedes_from.is_passed(
            in_force.need_mm / plan.net_rate_mm_per_min,
            plan.need.need_mm / plan.net_rate_mm_per_min,
        )
        rows = pick_rows(rows, _with_neighbours(worth_it, supply_index))
    with phase("writing"):
        _save_ledger(unit, ledger, table, state)
        new_version_count = unit.plans.publish(rows, issued_at=issued_at)
    if new_version_count:
        _tell_of_plans(unit, table, keys, run, turn=turn, issued_at=issued_at)
    run.new_version_count += new_version_count
    run.block_count += table.keys.size
    run.without_weather_count += rows.status.count("no-weather")


def _with_neighbours(chosen: NDArray[np.bool_], supply_index: Ints) -> Ints:
    """Rows of the chosen blocks and of all that share a supply with one of them.

    New pulses of a block were placed among the new pulses of its neighbours; beside their old ones
    the supply's flow might not hold.
    """
    is_touched = np.isin(supply_index, np.unique(supply_index[chosen]))
    return np.flatnonzero(is_touched)


def _plan_and_inject(
    unit: UnitOfWork,
    run: DayRun,
    blocks: BlockBatch,
    ahead: SiteDays,
    crop: CropDays,
    *,
    keys: Ints,
    depletion_midnight_mm: Floats,
    windows: WindowBatch,
    supply_flow_l_per_h: Floats,
    not_before_min: Ints,
    committed: CommittedWater | None,
) -> tuple[DailyPlan, dict[int, dict[str, object]]]:
    """The plan of the coming day with its injections, and what is said of them by row."""
    with run.phases.phase("pulses and supply"):
        plan = plan_tomorrow(
            blocks,
            ahead,
            crop,
            depletion_midnight_mm=depletion_midnight_mm,
            windows=windows,
            supply_flow_l_per_h=supply_flow_l_per_h,
            not_before_min=not_before_min,
            committed=committed,
        )

    def replan(row: int, run_min: int) -> dict[int, list[tuple[int, int]]]:
        """The supply's blocks planned again, one of them in a single run."""
        rows = np.flatnonzero(blocks.system.supply_index == blocks.system.supply_index[row])
        some = take_blocks(blocks, rows)
        fill_min = some.system.fill_time_min.copy()
        # The shortest pulse is so many fill times: made as long as the run, it is the only one.
        fill_min[rows == row] = run_min / FILL_TIMES_PER_PULSE_COUNT
        again = plan_tomorrow(
            replace(some, system=replace(some.system, fill_time_min=fill_min)),
            days_of(ahead, 0, 1),
            take_crop(crop, rows),
            depletion_midnight_mm=depletion_midnight_mm[rows],
            windows=WindowBatch(
                opens_min=windows.opens_min[rows],
                closes_min=windows.closes_min[rows],
                is_outage=windows.is_outage[rows],
            ),
            supply_flow_l_per_h=supply_flow_l_per_h,
            not_before_min=not_before_min[rows],
        ).schedule.pulses
        pairs = np.stack([again.start_min, again.duration_min], axis=1).tolist()
        return {
            int(each): [
                (start, length)
                for start, length in pairs[again.offset[place] : again.offset[place + 1]]
            ]
            for place, each in enumerate(rows)
        }

    with run.phases.phase("injections"):
        return fit_injections(
            unit,
            PlannedDay(
                blocks=blocks,
                plan=plan,
                windows=windows,
                supply_flow_l_per_h=supply_flow_l_per_h,
                sunrise_min=ahead.sunrise_min[0, blocks.site_index],
                sunset_min=ahead.sunset_min[0, blocks.site_index],
            ),
            keys,
            on=run.on + ONE_DAY,
            replan=replan if committed is None else None,
        )


def _tell_of_plans(
    unit: UnitOfWork, table: BlockTable, keys: Ints, run: DayRun, *, turn: Turn, issued_at: datetime
) -> None:
    """Let controllers and readers know, within the transaction of the plans."""
    with run.phases.phase("programs"):
        announce_plans(unit, keys, now=issued_at, table=table)
    if turn.after_publish is not None:
        with run.phases.phase("mail"):
            turn.after_publish(unit, keys, day=run.on + ONE_DAY, issued_at=issued_at)


def _save_ledger(unit: UnitOfWork, ledger: _Ledger, table: BlockTable, state: BalanceState) -> None:
    unit.ledger.save_rows(ledger.rows(table.keys))
    unit.ledger.save_states(table.keys, ledger.new_state(state))


def _with_pauses(unit: UnitOfWork, table: BlockTable) -> BlockTable:
    """The blocks with the times without water that somebody asked for beside their own."""
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


@dataclass(frozen=True, slots=True)
class _Correction:
    """One soil reading, at its place in the ledger."""

    block: int
    is_evening: bool
    depletion_reading_mm: float
    weight_fraction: float


def _readings_by_day(
    readings: DepletionReadings, block_keys: Ints, days: Days
) -> Mapping[int, list[_Correction]]:
    """Soil readings by row of the ledger, in the order in which they were taken."""
    found: dict[int, list[_Correction]] = {}
    for key, day, is_evening, depletion_mm, weight in zip(
        readings.block_keys.tolist(),
        readings.days,
        readings.is_evening.tolist(),
        readings.depletion_reading_mm.tolist(),
        readings.weight_fraction.tolist(),
        strict=True,
    ):
        found.setdefault(_row(days, day), []).append(
            _Correction(int(np.searchsorted(block_keys, key)), is_evening, depletion_mm, weight)
        )
    return found


def _reopened(unit: UnitOfWork, table: BlockTable, on: date) -> BalanceState:
    """Where the ledgers stand; those settled on or after ``on`` are first taken back before it."""
    state = unit.ledger.read_states(table.keys)
    ahead = state.settled_day >= np.datetime64(on)
    if not ahead.any():
        return state
    for site_key in np.unique(table.site_keys[ahead]).tolist():
        unit.ledger.rewind(site_key=site_key, day=on)
    return unit.ledger.read_states(table.keys)


def _earliest_day(on: date, table: BlockTable, state: BalanceState) -> date:
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
    return earliest - timedelta(days=CLIMATE_DAYS)


def _lookback_days(curve: CurveDefinition, on: date) -> int:
    """How far back a new ledger looks: a month, or to the season's start to count degree days."""
    if curve.basis != "degree-days":
        return FIRST_LEDGER_DAYS
    start_doy = day_of_year(*curve.season_start)
    return max(FIRST_LEDGER_DAYS, (day_of_year(on.month, on.day) - start_doy) % DAYS_IN_YEAR + 1)


def _first_days(
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


def _days(first: np.datetime64, last: date) -> Days:
    return np.arange(first, np.datetime64(last) + 1, dtype="datetime64[D]")


def _row(days: Days, day: date | np.datetime64) -> int:
    wanted = np.datetime64(day) if isinstance(day, date) else day
    return int((wanted - days[0]).astype(np.int64))


class _Batches:
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
class _Ledger:
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
        return self.numbers["depletion_end_mm"]

    @property
    def degree_day_sum_c_day(self) -> Floats:
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


def _or_never(days: Days) -> Days:
    """Days with NaT replaced by one before all others."""
    return np.where(np.isnat(days), np.datetime64(date.min), days)


def _bring_up_to_date(
    on: date,
    first_day: Days,
    state: BalanceState,
    *,
    weather: GatheredWeather,
    applied: AppliedWater,
    readings: Mapping[int, list[_Correction]],
    batches: _Batches,
) -> _Ledger:
    """The ledger from each block's first day to today, one group of blocks per first day."""
    days = _days(first_day.min(), on)
    block_count = first_day.size
    shape = (days.size, block_count)
    numbers = {name: np.full(shape, np.nan) for name in LEDGER_NUMBERS}
    flags = np.zeros(shape, dtype=np.int64)
    today = batches.on(on)
    start_mm = np.where(
        np.isnat(state.settled_day),
        np.nan_to_num(today.initial_depletion_mm),
        state.depletion_mm,
    )
    for group_day in np.unique(first_day):
        blocks = np.flatnonzero(first_day == group_day)
        _step_group(
            _row(days, group_day), blocks, on, days=days, start_mm=start_mm[blocks], state=state,
            weather=weather, applied=applied, readings=readings, batches=batches, numbers=numbers,
        )  # fmt: skip
    in_ledger = days[:, None] >= first_day
    has_row = in_ledger & np.isfinite(numbers["depletion_end_mm"])
    site_rows = slice(_row(weather.days, days[0]), _row(weather.days, days[-1]) + 1)
    at_site = today.site_index
    is_observed = weather.is_observed[site_rows][:, at_site]
    age_days = (np.datetime64(on) - days).astype(np.int64)[:, None]
    may_settle = (age_days >= 1) & (is_observed | (age_days >= SETTLE_ANYWAY_DAYS)) & has_row
    is_settled = np.logical_and.accumulate(may_settle | ~in_ledger, axis=0) & in_ledger
    has_water = (applied.early_min + applied.day_min) > 0
    origin = np.where(applied.is_reported, 1, np.where(has_water, 2, 0))
    flags |= _day_flags(weather, site_rows, at_site)
    flags |= np.where(has_water & ~applied.is_reported, int(PlanFlag.RUNS_ASSUMED), 0)
    is_short = numbers["depletion_end_mm"] > numbers["raw_mm"]
    flags |= np.where(is_short, int(PlanFlag.AFTERNOON_STRESS), 0)
    flags |= _start_flags(state, today, in_ledger, numbers)
    return _Ledger(
        days=days,
        has_row=has_row,
        is_observed=is_observed,
        is_settled=is_settled,
        irrigation_origin=origin,
        flags_by_day=flags,
        numbers=numbers,
    )


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
    readings: Mapping[int, list[_Correction]],
    batches: _Batches,
    numbers: dict[str, Floats],
) -> None:
    """Step the blocks that share a first day, span by span of one block version and year.

    A span also ends with each day of a soil reading, which corrects where the next one starts.
    """
    changes = batches.version_days(days[first_row].item() + ONE_DAY, on)
    versions = [first_row, *(_row(days, change) for change in changes)]
    after_readings = {row + 1 for row in readings if first_row <= row < days.size - 1}
    starts = sorted({*versions, *after_readings})
    ends = [*starts[1:], days.size]
    depletion_mm = start_mm
    degree_days_c_day = state.degree_day_sum_c_day[blocks]
    for begin, end in zip(starts, ends, strict=True):
        is_current = begin >= versions[-1]
        version_day = days[max(row for row in versions if row <= begin)].item()
        batch = take_blocks(batches.on(version_day, None if is_current else version_day), blocks)
        span = days_of(
            weather.weather.days,
            _row(weather.days, days[begin]),
            _row(weather.days, days[end - 1]) + 1,
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
    numbers: dict[str, Floats], row: int, blocks: Ints, readings: Sequence[_Correction]
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


def _windows(
    table: BlockTable,
    supplies: SupplyTable,
    weather: GatheredWeather,
    site_index: Ints,
    supply_index: Ints,
    *,
    day: date,
) -> WindowBatch:
    zones = [site.zone for site in weather.sites.definitions]
    return watering_windows(
        table.windows,
        [supplies.windows[index] for index in supply_index.tolist()],
        table.no_water,
        zones=[zones[index] for index in site_index.tolist()],
        day=day,
    )


def _coming_windows(
    table: BlockTable,
    supplies: SupplyTable,
    weather: GatheredWeather,
    site_index: Ints,
    supply_index: Ints,
    *,
    windows: WindowBatch,
    first_day: date,
) -> list[WindowBatch]:
    """Windows of the plan's day and of the days after it; one object where all days are alike."""
    days = [first_day + timedelta(days=ahead) for ahead in range(OUTLOOK_DAYS)]
    if not any(table.no_water):
        return [windows] * OUTLOOK_DAYS
    return [
        windows,
        *(
            _windows(table, supplies, weather, site_index, supply_index, day=day)
            for day in days[1:]
        ),
    ]


def _committed(
    in_force: PlansInForce | None,
    turn: Turn,
    blocks: BlockBatch,
    ahead: SiteDays,
    *,
    weather: GatheredWeather,
) -> CommittedWater | None:
    """What stands already of the day planned; None where that day has not begun anywhere."""
    if in_force is None or turn.earliest_start is None:
        return None
    day = ahead.days[0].item()
    elapsed = np.array(
        [
            (turn.earliest_start - midnight_utc(day, site.zone)) // timedelta(minutes=1)
            for site in weather.sites.definitions
        ],
        dtype=np.int64,
    )[blocks.site_index]
    if (elapsed < 0).all():
        return None
    return commit_pulses(
        in_force.pulses,
        minute=elapsed,
        sunrise_min=ahead.sunrise_min[0, blocks.site_index],
        supply_index=blocks.system.supply_index,
        off_ratio=blocks.system.off_ratio,
    )


def _not_before(
    applied: AppliedWater, weather: GatheredWeather, site_index: Ints, on: date
) -> Ints:
    """First minute of tomorrow at which each block may start: the off time after today's last."""
    lengths_min = day_lengths_min(
        np.array([on], dtype="datetime64[D]"),
        [site.zone for site in weather.sites.definitions],
    )[0]
    ready = np.nan_to_num(applied.ready_min[-1]) - lengths_min[site_index]
    not_before: Ints = np.maximum(0.0, np.ceil(ready)).astype(np.int64)
    return not_before


def _elapsed_at(instant: datetime | None, day: date, weather: GatheredWeather) -> Ints:
    """(sites,) minutes of a day that have passed at an instant, 0 before it and for no instant."""
    passed = [
        0
        if instant is None
        else -((midnight_utc(day, site.zone) - instant) // timedelta(minutes=1))
        for site in weather.sites.definitions
    ]
    return np.maximum(np.array(passed, dtype=np.int64), 0)
