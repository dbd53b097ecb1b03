"""The evening run: bring every ledger up to today and publish tomorrow's plans.

Running the same evening again changes nothing unless the weather, a block or a run report has
changed; then the affected plans get a new version. Farms are handled in chunks, each in its own
transaction, so that finished chunks stay stored; a farm whose run fails is reported and does not
stop the others.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import partial

import numpy as np

from service.agronomy.civil_day import ONE_DAY
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import NotFound, StorageAway, StorageBusy
from service.logs import get_logger
from service.operations.evening.collector_rest import collector_rests
from service.operations.evening.evening_inputs import EveningInputs, read_inputs
from service.operations.evening.keep_ledgers import (
    Ledger,
    bring_up_to_date,
    save_ledger,
    taken_full_days,
)
from service.operations.evening.keep_shadows import (
    followed_shadows,
    save_shadows,
    with_decision,
)
from service.operations.evening.lay_out_pulses import ComingDay, coming_day, lay_out_pulses
from service.operations.evening.phases import Phases
from service.operations.evening.plan_rows import PlanSituation
from service.operations.evening.run_timers import offer_programs, read_timers
from service.operations.evening.run_weather import RunWeather
from service.operations.evening.save_plan_texts import save_plan_texts, save_texts_later
from service.operations.evening.spread_rows import spread_of_week
from service.operations.evening.turn import ChangeThreshold, Turn
from service.operations.evening.weekly_effects import weekly_documents
from service.operations.evening.weigh_risk import with_risk
from service.operations.evening.write_plans import announce_new_plans, write_plans
from service.ports import AfterPublish, Clock
from service.records.plans import WrittenPlans

CHUNK_BLOCKS = 2_500
"""[CHOICE] Blocks in one transaction: a second or so, which a report may have to wait."""
BUSY_TRIES = 6
"""[CHOICE] How often a group of farms is tried while others hold the database for too long: half a
minute, at the five seconds that each try waits."""
log = get_logger(__name__)


@dataclass(frozen=True, slots=True)
class FarmFailure:
    """A farm that could not be planned, and why."""

    farm_id: str
    reason: str
    is_away: bool = False
    """Whether the database was away, and nothing is wrong with the farm."""


@dataclass(slots=True)
class DayRun:
    """What an evening run did."""

    on: date
    block_count: int = 0
    new_version_count: int = 0
    without_weather_count: int = 0
    failures: list[FarmFailure] = field(default_factory=list)
    phases: Phases = field(default_factory=Phases)


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

    ``earliest_start`` is for late plans: no pulse starts before it. If the planned day is under way
    by then, pulses of the plan in force that have started, or start within minutes, stay, and only
    the rest is planned again. Without ``makes_plans`` only the ledgers are brought up to date, and
    the plans in force stay. With ``supersedes_from`` a plan in force is replaced only if its
    minutes change by more than that. ``after_publish`` is called in the transaction of each group
    of farms that got new versions.
    """
    run = DayRun(on=on)
    turn = Turn(
        clock=clock,
        supersedes_from=supersedes_from,
        earliest_start=earliest_start,
        makes_plans=makes_plans,
        after_publish=after_publish,
    )
    farm_key_of, block_counts = run.phases.timed(
        "reading", _chosen_farms, unit_of_work, farm_ids, day=on + ONE_DAY
    )
    farm_id_of = {key: farm_id for farm_id, key in farm_key_of.items()}
    if not farm_id_of:
        message = "no farm is stored; load a farm file first"
        raise NotFound(message)
    farm_keys = np.array(sorted(farm_id_of), dtype=np.int64)
    weather = RunWeather(on, clock.now(), source_order, run.phases, farm_keys=farm_keys)
    with collector_rests():
        _read_ahead(weather, unit_of_work, makes_plans=makes_plans)
    for chunk in _chunks(block_counts):
        with collector_rests():
            failures = list(_run_chunk(chunk, run, weather, unit_of_work=unit_of_work, turn=turn))
        for farm_key, failure in failures:
            _note_failure(run, farm_id_of[farm_key], failure)
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


def _chosen_farms(
    unit_of_work: UnitOfWorkFactory, farm_ids: Sequence[str] | None, *, day: date
) -> tuple[dict[str, int], Mapping[int, int]]:
    """The key of each farm by its id, and the number of blocks on a day by key."""
    with unit_of_work(write=False) as unit:
        farm_key_of = unit.blocks.farm_keys(farm_ids)
        keys = np.array(sorted(farm_key_of.values()), dtype=np.int64)
        return farm_key_of, unit.blocks.count_blocks(keys, day=day)


def _read_ahead(weather: RunWeather, unit_of_work: UnitOfWorkFactory, *, makes_plans: bool) -> None:
    """Gather the weather of all farms before any of them is locked."""
    try:
        weather.read_ahead(unit_of_work, makes_plans=makes_plans)
    except Exception as failure:  # each group of farms gathers it again, and says what is wrong
        log.warning("the weather could not be read ahead", reason=_reason(failure))


def _run_chunk(
    farm_keys: Sequence[int],
    run: DayRun,
    weather: RunWeather,
    *,
    unit_of_work: UnitOfWorkFactory,
    turn: Turn,
) -> Iterator[tuple[int, Exception]]:
    """Run some farms together, or one by one if that fails; yields those that fail on their own.

    Where others hold the database for too long, the fault is no farm's: all are tried again.
    """
    try:
        for _ in range(BUSY_TRIES - 1):
            try:
                _run_farms(farm_keys, run, weather, unit_of_work=unit_of_work, turn=turn)
                return
            except StorageBusy as busy:
                log.warning("farms are tried again", farm_count=len(farm_keys), reason=str(busy))
        _run_farms(farm_keys, run, weather, unit_of_work=unit_of_work, turn=turn)
    except StorageAway as failure:
        yield from ((farm_key, failure) for farm_key in farm_keys)
    except Exception as failure:  # one farm's fault must not leave the others without a plan
        if len(farm_keys) == 1:
            yield farm_keys[0], failure
            return
        log.warning("farms failed together, each is tried alone", farm_count=len(farm_keys))
        for farm_key in farm_keys:
            yield from _run_chunk([farm_key], run, weather, unit_of_work=unit_of_work, turn=turn)


def _note_failure(run: DayRun, farm_id: str, failure: Exception) -> None:
    """Keep the reason for whoever started the run; only the log says where it happened."""
    is_away = isinstance(failure, StorageAway)
    run.failures.append(FarmFailure(farm_id, _reason(failure), is_away))
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
    """The evening of ``on`` again for a few farms, within an open transaction.

    What a grower reported in that transaction is taken into account, and either both are stored or
    neither is. Unlike :func:`run_day` it raises every failure.
    """
    run = DayRun(on=on)
    farm_keys = sorted(unit.blocks.farm_keys(farm_ids).values())
    keys = np.array(farm_keys, dtype=np.int64)
    weather = RunWeather(on, turn.clock.now(), source_order, run.phases, farm_keys=keys)
    written = _plan_farms(unit, farm_keys, run, weather, turn=turn)
    if written is not None:
        run.phases.timed("texts", save_plan_texts, unit, written)
    return run


def _run_farms(
    farm_keys: Sequence[int],
    run: DayRun,
    weather: RunWeather,
    *,
    unit_of_work: UnitOfWorkFactory,
    turn: Turn,
) -> None:
    """Ledgers and plans of some farms, in one transaction of their own, and then their texts."""
    counts = DayRun(on=run.on, phases=run.phases)
    with unit_of_work(write=True, farm_keys=farm_keys) as unit:
        written = _plan_farms(unit, farm_keys, counts, weather, turn=turn)
    run.block_count += counts.block_count
    run.new_version_count += counts.new_version_count
    run.without_weather_count += counts.without_weather_count
    if written is not None:
        _save_texts(written, farm_keys, run.phases, unit_of_work)


def _save_texts(
    written: WrittenPlans,
    farm_keys: Sequence[int],
    phases: Phases,
    unit_of_work: UnitOfWorkFactory,
) -> None:
    """Store the texts of plans that are out; without them, a plan is rendered when it is read."""
    keys = np.array(farm_keys, dtype=np.int64)
    try:
        phases.timed("texts", save_texts_later, written, keys, unit_of_work=unit_of_work)
    except Exception as failure:  # the plans are out, and no farm has failed
        log.error("texts of plans were not stored", reason=_reason(failure), exc_info=failure)


# --- the story -----------------------------------------------------------------------------------


def _plan_farms(
    unit: UnitOfWork, farm_keys: Sequence[int], run: DayRun, weather: RunWeather, *, turn: Turn
) -> WrittenPlans | None:
    """Settle the ledgers, lay out the pulses, look ahead, write and announce the plans.

    Returns the plans if there are new ones among them.
    """
    inputs = run.phases.timed(
        "reading", read_inputs, unit, np.array(farm_keys, dtype=np.int64), on=run.on,
        weather_since=weather.since,
    )  # fmt: skip
    if inputs is None:
        return None
    run.block_count += inputs.table.keys.size
    ledger = _settle_ledgers(unit, run.phases, inputs)
    shadows = run.phases.timed("shadows", followed_shadows, unit, inputs, ledger)
    written = None
    if turn.makes_plans:
        day, written = _plan_tomorrow(unit, inputs, ledger, run, weather, turn=turn)
        if shadows is not None:
            shadows = run.phases.timed(
                "shadows", with_decision, unit, inputs, shadows, day,
                weather.member_batch(unit, inputs.weather),
                is_under_way=turn.earliest_start is not None,
            )  # fmt: skip
    if shadows is not None:
        run.phases.timed("shadows", save_shadows, unit, inputs, shadows)
    return written if written is not None and written.new.count else None


def _settle_ledgers(unit: UnitOfWork, phases: Phases, inputs: EveningInputs) -> Ledger:
    """Compute the ledgers up to today and store them."""
    ledger = phases.timed("balance", bring_up_to_date, inputs)
    phases.timed("writing", save_ledger, unit, inputs, ledger)
    return ledger


def _plan_tomorrow(
    unit: UnitOfWork,
    inputs: EveningInputs,
    ledger: Ledger,
    run: DayRun,
    weather: RunWeather,
    *,
    turn: Turn,
) -> tuple[ComingDay, WrittenPlans]:
    """The day and its plans, from laying out pulses to announcing new versions."""
    timed = run.phases.timed
    in_force, read = None, unit.plans.read_in_force
    if turn.revises:
        in_force = timed("reading", read, inputs.table.keys, day=inputs.plan_day)
    timers = timed("reading", read_timers, unit, inputs)
    day = timed(
        "windows and crop", coming_day, inputs, ledger, in_force=in_force,
        earliest_start=turn.earliest_start,
        fixed={} if timers is None else timers.pulses_on(inputs.plan_day),
    )  # fmt: skip
    ledger_flags = ledger.recent_flags(inputs.before)
    members = partial(weather.member_batch, unit, inputs.weather)
    day = timed("risk", with_risk, unit, inputs, day, ledger_flags=ledger_flags, members=members)
    plan, injections = lay_out_pulses(unit, run.phases, day)
    fixed_min = None if timers is None else timers.minutes_on(day)
    outlook = timed("outlook", day.look_ahead, plan, fixed_min)
    spread = timed("spread", spread_of_week, day, plan, outlook, members(), fixed_min)
    if timers is not None and turn.earliest_start is None:
        timed(
            "timers", offer_programs, unit, inputs, timers, day, plan, now=turn.clock.now(),
            source_order=weather.source_order,
        )  # fmt: skip
    situation = PlanSituation(
        day=inputs.plan_day,
        table=inputs.table,
        blocks=day.blocks,
        weather=inputs.weather,
        site_index=inputs.site_index,
        crop=day.crop,
        plan=plan,
        outlook=outlook,
        ledger_flags=ledger_flags,
        settled_day=ledger.new_state(inputs.before).settled_day,
        taken_full_day=timed("reading", taken_full_days, unit, inputs, ledger_flags),
        supply_flow_l_per_h=day.supply_flow_l_per_h,
        is_on_timer=day.is_fixed,
        injections=injections,
        spread=spread,
        weekly=timed("pulses and supply", weekly_documents, day),
    )
    written = write_plans(
        unit, run.phases, situation, weather, issued_at=turn.clock.now(), in_force=in_force,
        supersedes_from=turn.supersedes_from,
    )  # fmt: skip
    run.new_version_count += written.new.count
    run.without_weather_count += written.rows.status.count("no-weather")
    if written.new.count:
        announce_new_plans(unit, run.phases, inputs, written, after_publish=turn.after_publish)
    return day, written
