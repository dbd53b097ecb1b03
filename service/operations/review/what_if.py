"""What the coming week would be like if something were otherwise; nothing of it is stored.

The evening is run twice over the same ledger, with what is stored and with the change put in its
place: the pulses of tomorrow for all blocks of every supply, then the outlook. The first is what
this evening's plans say.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date, datetime, time
from functools import partial

import numpy as np
from numpy.typing import NDArray

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.records import Floats, Ints, NoWaterPeriod
from service.agronomy.root_zone import wetted_fraction
from service.agronomy.site_weather import MEASURED_PROBABILITY
from service.agronomy.weather_members import MemberBatch
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Conflict, Fault, InputInvalid
from service.operations.evening.evening_inputs import (
    BlockVersions,
    EveningInputs,
    read_inputs,
    row_of_day,
)
from service.operations.evening.gather_members import made_members
from service.operations.evening.keep_ledgers import Ledger, bring_up_to_date
from service.operations.evening.lay_out_pulses import coming_day, lay_out_pulses
from service.operations.evening.phases import Phases
from service.operations.evening.run_timers import read_timers
from service.operations.evening.run_weather import RunWeather
from service.operations.evening.weigh_risk import with_risk
from service.operations.reading.read_farms import today_at
from service.ports import Clock
from service.records.farms import BlockDefinition, BlockTable
from service.records.what_if import BlockAhead, Change, ComingWeek, DayAhead, WeekAhead

SHORT_BEYOND_MM = 1e-9
"""Above readily available water by more than arithmetic leaves."""
NO_FLOW_L_PER_H = 1.0
"""[CHOICE] Least flow of a supply that a share of it comes to; less is a pump that is down."""


def what_if(
    farm_id: str,
    change: Change,
    *,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
    source_order: Mapping[str, int],
) -> ComingWeek:
    """The coming week of a farm's blocks as things are, and with a change.

    Raises NotFound for an unknown farm, InputInvalid for a change that names a block or a supply
    which the farm has not or that changes nothing, and Conflict where the books are ahead of today.
    """
    with unit_of_work(write=False) as unit:
        on = today_at(unit, farm_id, clock.now())
        farm_keys = np.array([*unit.blocks.farm_keys([farm_id]).values()], dtype=np.int64)
        blocks = unit.blocks.get_bundle(farm_id, day=on + ONE_DAY).blocks
        _check(unit, farm_keys, change, blocks)
        _refuse_later_books(unit, farm_keys, on)
        weather = RunWeather(on, clock.now(), source_order, Phases(), farm_keys=farm_keys)
        inputs = read_inputs(unit, farm_keys, on=on, weather_since=weather.since)
        if inputs is None:
            return ComingWeek(farm_id=farm_id, change=change, blocks=())
        ledger = bring_up_to_date(inputs)
        now = _weeks(unit, inputs, ledger, lambda: weather.members(unit, inputs.weather).batch)
        other = _changed(unit, inputs, change, blocks)
        changed = _weeks(
            unit,
            other,
            ledger,
            # Rain that is asked about is certain, so no ensemble of the evening has it.
            partial(made_members, other.weather, first_day=other.plan_day)
            if other.weather is not inputs.weather
            else lambda: weather.members(unit, inputs.weather).batch,
        )
        known = {block.block_id: block for block in blocks}
        return ComingWeek(
            farm_id=farm_id,
            change=change,
            blocks=tuple(
                BlockAhead(
                    block_id=block_id,
                    name=known[block_id].name,
                    supply_id=known[block_id].supply_id,
                    now=one,
                    changed=other,
                )
                for block_id, one, other in sorted(
                    zip(inputs.table.block_ids, now, changed, strict=True),
                    key=lambda each: each[0],
                )
            ),
        )


def _check(
    unit: UnitOfWork, farm_keys: Ints, change: Change, blocks: tuple[BlockDefinition, ...]
) -> None:
    """Raise InputInvalid for a change that cannot be asked about."""
    faults: list[Fault] = []
    supplies = sorted(unit.blocks.read_supply_table(farm_keys).supply_ids)
    if change.supply_id is not None and change.supply_id not in supplies:
        faults.append(Fault("supply", change.supply_id, f"one of {', '.join(supplies)}"))
    own = [
        block
        for block in blocks
        if change.supply_id is None or faults or block.supply_id == change.supply_id
    ]
    if change.block_id is not None and change.block_id not in {each.block_id for each in own}:
        allowed = ", ".join(sorted(each.block_id for each in own)) or "none: it has no block"
        faults.append(Fault("block", change.block_id, f"one of {allowed}"))
    if change.is_nothing:
        faults.append(Fault("change", "nothing", "at least one thing that is otherwise"))
    if faults:
        raise InputInvalid("the question cannot be answered", faults)


def _refuse_later_books(unit: UnitOfWork, farm_keys: Ints, on: date) -> None:
    """Raise Conflict where an evening of a later day was run: the ledgers begin after today."""
    keys = unit.blocks.read_block_table(on, farm_keys=farm_keys).keys
    settled = unit.ledger.read_states(keys).settled_day
    if (settled >= np.datetime64(on)).any():
        raise Conflict(f"the ledgers of this farm go beyond {on}; ask again on a later day")


# --- the evening, and what comes of it -----------------------------------------------------------


def _weeks(
    unit: UnitOfWork,
    inputs: EveningInputs,
    ledger: Ledger,
    members: Callable[[], MemberBatch],
) -> list[WeekAhead]:
    """The coming days of each block, by row: the evening's pulses, then its outlook."""
    timers = read_timers(unit, inputs)
    fixed = {} if timers is None else timers.pulses_on(inputs.plan_day)
    day = coming_day(inputs, ledger, in_force=None, earliest_start=None, fixed=fixed)
    day = with_risk(
        unit, inputs, day, ledger_flags=ledger.recent_flags(inputs.before), members=members
    )
    plan, _ = lay_out_pulses(unit, Phases(), day)
    outlook = day.look_ahead(plan, None if timers is None else timers.minutes_on(day))
    system, crop = day.blocks.system, day.crop
    gross_mm = outlook.expected_min * system.application_rate_mm_per_h / 60.0
    is_short = (outlook.depletion_end_mm > crop.raw_mm + SHORT_BEYOND_MM) & ~crop.is_dormant
    supplied_l_per_h = day.supply_flow_l_per_h[system.supply_index]
    exceeds_supply = system.flow_l_per_h > supplied_l_per_h * (1.0 + 1e-9)
    columns: dict[str, Floats] = {
        "expected_min": outlook.expected_min,
        "gross_mm": gross_mm,
        "volume_l": gross_mm * day.blocks.area_m2,
        "drainage_mm": outlook.drainage_mm,
        "depletion_end_mm": outlook.depletion_end_mm,
        "trigger_mm": crop.raw_mm * system.trigger_fraction,
        "raw_mm": crop.raw_mm,
    }
    return [
        WeekAhead(
            exceeds_supply=bool(exceeds_supply[row]),
            days=tuple(
                DayAhead(
                    day=each,
                    is_short=bool(is_short[place, row]),
                    **{name: float(values[place, row]) for name, values in columns.items()},
                )
                for place, each in enumerate(day.days)
            ),
        )
        for row in range(day.keys.size)
    ]


# --- the change ----------------------------------------------------------------------------------


def _changed(
    unit: UnitOfWork, inputs: EveningInputs, change: Change, blocks: tuple[BlockDefinition, ...]
) -> EveningInputs:
    """The evening's inputs with the change in them; the ledgers up to today stay as they are."""
    supply_rows = _supply_rows(inputs, change)
    is_chosen = _chosen_blocks(inputs, change, supply_rows)
    inputs = _without_pump(inputs, change, supply_rows)
    if change.skips_tomorrow:
        inputs = _closed(inputs, is_chosen, days_count=1)
    inputs = _with_flow(inputs, change, supply_rows)
    if change.windows:
        inputs = _with_windows(inputs, change, is_chosen, supply_rows)
    if change.emitter_flow_l_per_h is not None or change.emitter_spacing_m is not None:
        inputs = _with_emitters(unit, inputs, change, is_chosen, blocks)
    if change.rain_mm is not None:
        inputs = _with_rain(inputs, change.rain_mm)
    return inputs


def _supply_rows(inputs: EveningInputs, change: Change) -> Ints:
    """Rows of the supplies that the change is about: the one named, the block's, or all."""
    if change.supply_id is not None:
        return np.array([inputs.supplies.supply_ids.index(change.supply_id)])
    if change.block_id is not None:
        return inputs.supply_index[[inputs.table.block_ids.index(change.block_id)]]
    return np.arange(inputs.supplies.keys.size)


def _chosen_blocks(inputs: EveningInputs, change: Change, supply_rows: Ints) -> NDArray[np.bool_]:
    """(blocks,) whether the change is about a block."""
    if change.block_id is None:
        chosen: NDArray[np.bool_] = np.isin(inputs.supply_index, supply_rows)
        return chosen
    return np.array([each == change.block_id for each in inputs.table.block_ids])


def _closed(
    inputs: EveningInputs, is_closed: NDArray[np.bool_], *, days_count: int
) -> EveningInputs:
    """The inputs with a no-water period from tomorrow on for some blocks."""
    midnight = datetime.combine(inputs.plan_day, time())
    period = NoWaterPeriod(midnight, midnight + days_count * ONE_DAY, "")
    no_water = tuple(
        (*own, period) if closed else own
        for own, closed in zip(inputs.table.no_water, is_closed.tolist(), strict=True)
    )
    return replace(inputs, table=replace(inputs.table, no_water=no_water))


def _without_pump(inputs: EveningInputs, change: Change, supply_rows: Ints) -> EveningInputs:
    if not change.pump_down_days_count:
        return inputs
    is_closed = np.isin(inputs.supply_index, supply_rows)
    return _closed(inputs, is_closed, days_count=change.pump_down_days_count)


def _with_flow(inputs: EveningInputs, change: Change, supply_rows: Ints) -> EveningInputs:
    flow_l_per_h = inputs.supplies.flow_l_per_h.copy()
    if change.supply_flow_fraction is not None:
        flow_l_per_h[supply_rows] *= change.supply_flow_fraction
    if change.supply_flow_l_per_h is not None:
        flow_l_per_h[supply_rows] = change.supply_flow_l_per_h
    flow_l_per_h = np.maximum(flow_l_per_h, NO_FLOW_L_PER_H)
    return replace(inputs, supplies=replace(inputs.supplies, flow_l_per_h=flow_l_per_h))


def _with_windows(
    inputs: EveningInputs, change: Change, is_chosen: NDArray[np.bool_], supply_rows: Ints
) -> EveningInputs:
    """Other hours: of one block within its supply's, or of supplies and those that share theirs."""
    table, supplies = inputs.table, inputs.supplies
    if change.block_id is None:
        shared = [supplies.windows[row] for row in inputs.supply_index.tolist()]
        is_chosen = is_chosen & np.array(
            [own == its for own, its in zip(table.windows, shared, strict=True)], dtype=np.bool_
        )
        is_named = np.isin(np.arange(supplies.keys.size), supply_rows).tolist()
        supplies = replace(
            supplies,
            windows=tuple(
                change.windows if named else own
                for own, named in zip(supplies.windows, is_named, strict=True)
            ),
        )
    windows = tuple(
        change.windows if chosen else own
        for own, chosen in zip(table.windows, is_chosen.tolist(), strict=True)
    )
    return replace(inputs, table=replace(table, windows=windows), supplies=supplies)


def _with_emitters(
    unit: UnitOfWork,
    inputs: EveningInputs,
    change: Change,
    is_chosen: NDArray[np.bool_],
    blocks: tuple[BlockDefinition, ...],
) -> EveningInputs:
    """Other emitters. A wet share that was not measured moves with them as a farm file's would."""
    numbers = dict(inputs.table.numbers)
    is_given = {block.block_id: block.origins.get("wetted_fraction") == "given" for block in blocks}
    is_derived = ~np.array([is_given[block_id] for block_id in inputs.table.block_ids])
    before = _wetted(numbers)
    for name, value in (
        ("emitter_flow_l_per_h", change.emitter_flow_l_per_h),
        ("emitter_spacing_m", change.emitter_spacing_m),
    ):
        if value is not None:
            numbers[name] = np.where(is_chosen, value, numbers[name])
    moved = np.minimum(1.0, numbers["wetted_fraction"] * _wetted(numbers) / before)
    numbers["wetted_fraction"] = np.where(is_chosen & is_derived, moved, numbers["wetted_fraction"])
    table: BlockTable = replace(inputs.table, numbers=numbers)
    versions = BlockVersions(
        unit,
        table,
        inputs.farm_keys,
        site_index=inputs.site_index,
        supply_index=inputs.supply_index,
    )
    return replace(inputs, table=table, versions=versions)


def _wetted(numbers: Mapping[str, Floats]) -> Floats:
    """(blocks,) share of the ground that the drip wets, by emitters and soil."""
    return wetted_fraction(
        numbers["emitter_flow_l_per_h"],
        numbers["emitter_spacing_m"],
        numbers["texture_group"],
        row_spacing_m=numbers["row_spacing_m"],
        laterals_per_row_count=numbers["laterals_per_row_count"],
    )


def _with_rain(inputs: EveningInputs, rain_mm: float) -> EveningInputs:
    gathered = inputs.weather
    days = gathered.weather.days
    row = row_of_day(gathered.days, inputs.plan_day)
    rain, probability = days.rain_mm.copy(), days.rain_probability_fraction.copy()
    rain[row], probability[row] = rain_mm, MEASURED_PROBABILITY
    wet = replace(days, rain_mm=rain, rain_probability_fraction=probability)
    return replace(inputs, weather=replace(gathered, weather=replace(gathered.weather, days=wet)))
