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

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.daily_plan import coming_days, crop_days, days_of
from service.agronomy.records import Floats, Ints
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import NotFound
from service.logs import get_logger
from service.operations.evening.fit_injections import answers_other_orders
from service.operations.evening.gather_weather import (
    GatheredWeather,
    WeatherDocuments,
    gather_weather,
    weather_documents,
)
from service.operations.evening.keep_ledgers import (
    BlockVersions,
    Ledger,
    bring_up_to_date,
    earliest_day,
    every_day,
    first_ledger_days,
    readings_by_day,
    reopened_state,
    row_of_day,
    save_ledger,
)
from service.operations.evening.lay_out_pulses import (
    OUTLOOK_DAYS,
    CommonHours,
    committed_water,
    elapsed_at,
    first_minutes,
    plan_beside_kept,
)
from service.operations.evening.phases import Phases
from service.operations.evening.plan_rows import PlanSituation, pick_rows, plan_rows
from service.operations.evening.plan_texts import save_plan_texts
from service.operations.evening.publish_programs import announce_plans
from service.ports import AfterPublish, Clock
from service.records.farms import BlockTable, SupplyTable
from service.records.ledger import AppliedWater, BalanceState

CHUNK_BLOCKS = 5_000
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Chunk:
    """Some farms whose ledgers reach up to today."""

    farm_keys: Ints
    table: BlockTable
    supplies: SupplyTable
    supply_index: Ints
    weather: GatheredWeather
    site_index: Ints
    before: BalanceState
    """Where the ledgers stood."""
    ledger: Ledger
    applied: AppliedWater
    versions: BlockVersions


def _plan_farms(
    unit: UnitOfWork,
    farm_keys: Sequence[int],
    run: DayRun,
    cache: _WeatherCache,
    *,
    turn: Turn,
) -> None:
    """Ledger and plans of some farms."""
    chunk = _settle(unit, np.array(farm_keys, dtype=np.int64), run, cache)
    if chunk is None:
        return
    run.block_count += chunk.table.keys.size
    with run.phases.phase("writing"):
        save_ledger(unit, chunk.ledger, chunk.table.keys, chunk.before)
    if turn.makes_plans:
        _plan_chunk(unit, chunk, run, cache, turn=turn)


def _settle(unit: UnitOfWork, keys: Ints, run: DayRun, cache: _WeatherCache) -> _Chunk | None:
    """Read some farms and compute their ledgers up to today; None where they have no block."""
    phase = run.phases.phase
    with phase("reading"):
        table = _with_pauses(unit, unit.blocks.read_block_table(run.on + ONE_DAY, farm_keys=keys))
        supplies = unit.blocks.read_supply_table(keys)
        before = reopened_state(unit, table, run.on)
    if table.keys.size == 0:
        return None
    weather = cache.since(earliest_day(run.on, table, before), unit)
    with phase("balance"):
        site_index = np.searchsorted(weather.sites.keys, table.site_keys)
        first_day = first_ledger_days(run.on, table, before, weather, site_index)
    with phase("reading"):
        days = every_day(first_day.min(), run.on)
        applied = unit.reports.read_applied(table.keys, days)
        readings = unit.soil.read_depletions(table.keys, first_day=days[0].item(), last_day=run.on)
    supply_index = np.searchsorted(supplies.keys, table.supply_keys)
    versions = BlockVersions(unit, table, keys, site_index=site_index, supply_index=supply_index)
    with phase("balance"):
        ledger = bring_up_to_date(
            run.on,
            first_day,
            before,
            weather=weather,
            applied=applied,
            readings=readings_by_day(readings, table.keys, days),
            versions=versions,
        )
    return _Chunk(
        farm_keys=keys,
        table=table,
        supplies=supplies,
        supply_index=supply_index,
        weather=weather,
        site_index=site_index,
        before=before,
        ledger=ledger,
        applied=applied,
        versions=versions,
    )


def _plan_chunk(
    unit: UnitOfWork, chunk: _Chunk, run: DayRun, cache: _WeatherCache, *, turn: Turn
) -> None:
    """Lay out the pulses of the coming day, publish the plans, and tell of what is new."""
    phase = run.phases.phase
    plan_day = run.on + ONE_DAY
    table, weather, site_index = chunk.table, chunk.weather, chunk.site_index
    supply_flow_l_per_h = chunk.supplies.flow_l_per_h
    with phase("windows"):
        hours = CommonHours(table, chunk.supplies, weather, site_index, chunk.supply_index)
        windows = hours.on(plan_day)
        not_before_min = np.maximum(
            first_minutes(chunk.applied, weather, site_index, run.on),
            elapsed_at(turn.earliest_start, plan_day, weather)[site_index],
        )
        windows_of_day = hours.coming(plan_day, windows)
    with phase("balance"):
        blocks = chunk.versions.on(plan_day)
        ahead = days_of(weather.weather.days, row_of_day(weather.days, plan_day), weather.days.size)
        crop = crop_days(
            blocks, ahead, degree_day_start_c_day=chunk.ledger.degree_day_sum_c_day[-1]
        )
    with phase("reading"):
        in_force = unit.plans.read_in_force(table.keys, day=plan_day) if turn.revises else None
    plan, injections = plan_beside_kept(
        unit,
        run.phases,
        blocks,
        ahead,
        crop,
        keys=table.keys,
        depletion_midnight_mm=chunk.ledger.depletion_end_mm[-1],
        windows=windows,
        supply_flow_l_per_h=supply_flow_l_per_h,
        not_before_min=not_before_min,
        committed=committed_water(in_force, turn.earliest_start, blocks, ahead, weather=weather),
    )
    with phase("outlook"):
        outlook = coming_days(
            blocks,
            ahead,
            crop,
            plan=plan,
            windows_of_day=windows_of_day,
            supply_flow_l_per_h=supply_flow_l_per_h,
        )
    issued_at = turn.clock.now()
    with phase("documents"):
        basis = cache.documents(weather)
    used = np.unique(site_index)
    with phase("writing"):
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
                ledger_flags=chunk.ledger.recent_flags(chunk.before),
                settled_day=chunk.ledger.new_state(chunk.before).settled_day,
                injections=injections,
            ),
            basis_keys=basis_keys,
            basis_digests=basis.digests,
        )
    if in_force is not None and turn.supersedes_from is not None:
        worth_it = turn.supersedes_from.is_passed(
            in_force.need_mm / plan.net_rate_mm_per_min,
            plan.need.need_mm / plan.net_rate_mm_per_min,
        ) | answers_other_orders(injections, in_force.order_keys)
        rows = pick_rows(rows, _with_neighbours(worth_it, chunk.supply_index))
    with phase("writing"):
        new = unit.plans.publish(rows, issued_at=issued_at)
    run.new_version_count += new.count
    run.without_weather_count += rows.status.count("no-weather")
    if not new.count:
        return
    # Callers, controllers and readers are told within the transaction of the plans.
    with phase("texts"):
        bases = {int(basis_keys[site]): basis.documents[site] for site in used}
        save_plan_texts(unit, rows, new, bases, issued_at=issued_at)
    with phase("programs"):
        announce_plans(unit, chunk.farm_keys, now=issued_at, table=table)
    if turn.after_publish is not None:
        with phase("mail"):
            turn.after_publish(unit, chunk.farm_keys, day=plan_day, issued_at=issued_at)


def _with_neighbours(chosen: NDArray[np.bool_], supply_index: Ints) -> Ints:
    """Rows of the chosen blocks and of all that share a supply with one of them.

    New pulses of a block were placed among the new pulses of its neighbours; beside their old ones
    the supply's flow might not hold.
    """
    is_touched = np.isin(supply_index, np.unique(supply_index[chosen]))
    return np.flatnonzero(is_touched)


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
