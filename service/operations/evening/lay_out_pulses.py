"""The pulses of the coming day for a group of farms: hours, fixed pulses, injections.

In: what the evening has read, and the ledgers up to today. Out: :class:`ComingDay`, from which the
pulses are laid out, then the plan of all blocks and a report on each injection.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import partial

import numpy as np
from numpy.typing import NDArray

from service.agronomy.block_batch import BlockBatch, take_blocks
from service.agronomy.block_days import (
    CropDays,
    SiteDays,
    days_of,
    expected_crop_days,
    take_crop,
)
from service.agronomy.civil_day import day_lengths_min, midnight_utc
from service.agronomy.daily_plan import DailyPlan, coming_days, plan_tomorrow
from service.agronomy.hand_visits import is_by_hand
from service.agronomy.injection_room import PlannedDay, changed_plan
from service.agronomy.outlook import Outlook
from service.agronomy.pulse_plan import ShortfallCause
from service.agronomy.records import Floats, Ints, WindowBatch
from service.agronomy.replanning import CommittedWater, commit_pulses, windows_beside
from service.agronomy.risk_guard import WeighedRisk
from service.agronomy.watering_rules import FILL_TIMES_PER_PULSE_COUNT, whole_minutes
from service.agronomy.watering_window import take_windows
from service.database.session import UnitOfWork
from service.operations.evening.evening_inputs import EveningInputs, row_of_day
from service.operations.evening.fit_injections import fit_injections
from service.operations.evening.gather_weather import GatheredWeather
from service.operations.evening.keep_ledgers import Ledger
from service.operations.evening.open_hours import (
    WeeklyHoursOfDay,
    unless_paused,
    weekly_hours_of,
    windows_ahead,
)
from service.operations.evening.phases import Phases
from service.pulses import Pulse
from service.records.plan_reasoning import StoredInjection
from service.records.plans import PlansInForce


@dataclass(frozen=True, slots=True, kw_only=True)
class ComingDay:
    """Everything needed to lay out the coming day's pulses; arrays (blocks,) unless noted."""

    keys: Ints
    blocks: BlockBatch
    ahead: SiteDays
    """Weather from the coming day on."""
    crop: CropDays
    """(days, blocks) the forcing that this weather gives the blocks."""
    depletion_midnight_mm: Floats
    windows: WindowBatch
    windows_of_outlook: tuple[WindowBatch, ...]
    """One per day, the coming day first."""
    supply_flow_l_per_h: Floats
    """(supplies,)"""
    not_before_min: Ints
    committed: CommittedWater | None
    """Water of that day that a new plan cannot take back; None if the day has not begun."""
    fixed: Mapping[int, tuple[Pulse, ...]] = field(default_factory=dict)
    """Pulses of blocks whose timers run them whatever the plan says, by row."""
    risk: WeighedRisk | None = None
    weekly: WeeklyHoursOfDay | None = None
    """Weekly hours without water that cut the coming day's windows; None: there are none."""

    @property
    def days(self) -> list[date]:
        """The coming day and those after it, as far as the weather goes."""
        days: list[date] = self.ahead.days.tolist()
        return days

    @property
    def is_fixed(self) -> NDArray[np.bool_]:
        """(blocks,) whether a timer runs the block."""
        return np.isin(np.arange(self.keys.size), list(self.fixed))

    def plan(self) -> DailyPlan:
        """The plan without injections."""
        plan = plan_tomorrow(
            self._left_to_timers() if self.fixed else self.blocks,
            self.ahead,
            self.crop,
            depletion_midnight_mm=self.depletion_midnight_mm,
            windows=self.windows,
            supply_flow_l_per_h=self.supply_flow_l_per_h,
            not_before_min=self.not_before_min,
            committed=self.committed,
            risk=self.risk,
        )
        return self._with_fixed(plan) if self.fixed else plan

    def _left_to_timers(self) -> BlockBatch:
        """The blocks, those with a timer without a minute for the plan to choose."""
        system = self.blocks.system
        most_min = np.where(self.is_fixed, 0.0, system.daily_maximum_min)
        return replace(self.blocks, system=replace(system, daily_maximum_min=most_min))

    def _with_fixed(self, plan: DailyPlan) -> DailyPlan:
        """The plan with the pulses that timers run."""
        changed = changed_plan(self.planned(plan), self.fixed)
        wanted_min = whole_minutes(np.ceil(plan.need.need_mm / plan.net_rate_mm_per_min))
        is_less = self.is_fixed & (changed.deferred_mm > 0.0)
        schedule = changed.schedule
        return replace(
            changed,
            schedule=replace(
                schedule,
                wanted_min=np.where(self.is_fixed, wanted_min, schedule.wanted_min),
                cause=np.select(
                    [is_less, self.is_fixed],
                    [ShortfallCause.TIMER, ShortfallCause.NONE],
                    default=schedule.cause,
                ),
                alone_share=np.where(self.is_fixed, 1.0, schedule.alone_share),
            ),
        )

    def planned(self, plan: DailyPlan) -> PlannedDay:
        """The day with a plan, as whatever changes a plan afterwards needs it."""
        at_site = self.blocks.site_index
        return PlannedDay(
            blocks=self.blocks,
            plan=plan,
            windows=self.windows,
            supply_flow_l_per_h=self.supply_flow_l_per_h,
            sunrise_min=self.ahead.sunrise_min[0, at_site],
            sunset_min=self.ahead.sunset_min[0, at_site],
        )

    def look_ahead(self, plan: DailyPlan, fixed_min: Floats | None) -> Outlook:
        """What a plan for this day and the forecast lead to over the following days.

        fixed_min: (days, blocks) minutes that timers run, NaN for other blocks.
        """
        return coming_days(
            self.blocks,
            self.ahead,
            self.crop,
            plan=plan,
            windows_of_day=self.windows_of_outlook,
            supply_flow_l_per_h=self.supply_flow_l_per_h,
            fixed_min=fixed_min,
        )


def coming_day(
    inputs: EveningInputs,
    ledger: Ledger,
    *,
    in_force: PlansInForce | None,
    earliest_start: datetime | None,
    fixed: Mapping[int, tuple[Pulse, ...]],
) -> ComingDay:
    """Everything needed to lay out tomorrow's pulses, around those that timers run.

    ``earliest_start`` is for late plans: nothing starts before it, and if the day has begun by
    then, pulses in force that have started stay.
    """
    weather, plan_day = inputs.weather, inputs.plan_day
    blocks = inputs.versions.on(plan_day)
    ahead = days_of(weather.weather.days, row_of_day(weather.days, plan_day), weather.days.size)
    windows_of_outlook = windows_ahead(inputs, blocks)
    return ComingDay(
        keys=inputs.table.keys,
        blocks=blocks,
        ahead=ahead,
        crop=expected_crop_days(
            blocks,
            ahead,
            degree_day_start_c_day=ledger.degree_day_sum_c_day[-1],
            alley_store_start_mm=ledger.numbers["alley_store_mm"][-1],
        ),
        depletion_midnight_mm=ledger.depletion_end_mm[-1],
        windows=windows_of_outlook[0],
        windows_of_outlook=windows_of_outlook,
        weekly=weekly_hours_of(inputs, blocks),
        supply_flow_l_per_h=inputs.supplies.flow_l_per_h,
        not_before_min=np.maximum(
            _first_minutes(inputs),
            _elapsed_at(earliest_start, plan_day, weather)[inputs.site_index],
        ),
        committed=_committed_water(in_force, earliest_start, blocks, ahead, weather=weather),
        fixed=unless_paused(fixed, windows_of_outlook[0]),
    )


def lay_out_pulses(
    unit: UnitOfWork, phases: Phases, day: ComingDay
) -> tuple[DailyPlan, Mapping[int, StoredInjection]]:
    """The plan of the coming day with its injections, and a report on each, by block row.

    Blocks that can no longer be planned keep their pulses in force; the others are planned around
    them.
    """
    if day.fixed:
        day = _beside(day, [day.fixed.get(row, ()) for row in range(day.keys.size)])
    plan, injections = _plan_and_inject(unit, phases, day)
    kept = _kept_pulses(unit, day, plan)
    if kept is None:
        return plan, injections
    return _plan_and_inject(unit, phases, _beside(day, kept))


def _beside(day: ComingDay, kept: Sequence[Sequence[Pulse]]) -> ComingDay:
    """The day with the hours that pulses of some blocks, by row, leave to their neighbours."""
    system = day.blocks.system
    windows = windows_beside(
        day.windows,
        kept,
        supply_index=system.supply_index,
        flow_l_per_h=system.flow_l_per_h,
        supply_flow_l_per_h=day.supply_flow_l_per_h,
        valve_gap_min=whole_minutes(np.ceil(system.valve_gap_s / 60.0)),
    )
    return replace(day, windows=windows)


def _plan_and_inject(
    unit: UnitOfWork, phases: Phases, day: ComingDay
) -> tuple[DailyPlan, dict[int, StoredInjection]]:
    """The plan of the coming day with its injections, and a report on each by row."""
    plan = phases.timed("pulses and supply", day.plan)
    blocks = day.blocks
    return phases.timed(
        "injections",
        fit_injections,
        unit,
        day.planned(plan),
        day.keys,
        on=day.ahead.days[0].item(),
        may_change=_may_change(day.committed, blocks) & ~day.is_fixed & ~is_by_hand(day.windows),
        replan=partial(_in_one_run, day),
    )


def _in_one_run(day: ComingDay, row: int, run_min: int) -> dict[int, tuple[Pulse, ...]]:
    """The pulses of a supply's blocks planned again, by row, one of the blocks in a single run."""
    supply_index = day.blocks.system.supply_index
    rows = np.flatnonzero(supply_index == supply_index[row])
    some = day_of_rows(day, rows)
    system = some.blocks.system
    fill_min = system.fill_time_min.copy()
    # Making the shortest pulse, which counts in fill times, as long as the run leaves only one
    # pulse.
    fill_min[rows == row] = run_min / FILL_TIMES_PER_PULSE_COUNT
    blocks = replace(some.blocks, system=replace(system, fill_time_min=fill_min))
    again = replace(some, blocks=blocks)
    pulses = again.plan().schedule.pulses
    return {each: pulses.of_block(place) for place, each in enumerate(rows.tolist())}


def day_of_rows(day: ComingDay, rows: Ints) -> ComingDay:
    """The day of some blocks, whole supplies of them; of days ahead the coming one alone.

    Water that is committed is left out.
    """
    return replace(
        day,
        keys=day.keys[rows],
        blocks=take_blocks(day.blocks, rows),
        ahead=days_of(day.ahead, 0, 1),
        crop=take_crop(day.crop, rows),
        depletion_midnight_mm=day.depletion_midnight_mm[rows],
        windows=take_windows(day.windows, rows),
        not_before_min=day.not_before_min[rows],
        committed=None,
        risk=None if day.risk is None else day.risk.of_blocks(rows),
        fixed={
            place: day.fixed[row] for place, row in enumerate(rows.tolist()) if row in day.fixed
        },
    )


def _kept_pulses(
    unit: UnitOfWork, day: ComingDay, plan: DailyPlan
) -> list[tuple[Pulse, ...]] | None:
    """Pulses in force of blocks that can no longer be planned; None if there are none.

    Publishing leaves them as they are, so they take their share of the supply.
    """
    unknown = np.flatnonzero(~plan.can_be_planned)
    if not unknown.size:
        return None
    in_force = unit.plans.read_in_force(day.keys[unknown], day=day.ahead.days[0].item())
    if not any(in_force.pulses):
        return None
    kept: list[tuple[Pulse, ...]] = [()] * day.keys.size
    for row, pulses in zip(unknown.tolist(), in_force.pulses, strict=True):
        kept[row] = pulses
    return kept


def _may_change(committed: CommittedWater | None, blocks: BlockBatch) -> NDArray[np.bool_]:
    """(blocks,) whether pulses may change for an injection: no block of the supply has begun."""
    supply_index = blocks.system.supply_index
    if committed is None:
        return np.ones(supply_index.shape, dtype=np.bool_)
    begun = supply_index[committed.not_before_min > 0]
    return ~np.isin(supply_index, begun)


def _first_minutes(inputs: EveningInputs) -> Ints:
    """First minute of tomorrow at which each block may start: the off time after today's last."""
    lengths_min = day_lengths_min(
        np.array([inputs.on], dtype="datetime64[D]"),
        [site.zone for site in inputs.weather.sites.definitions],
    )[0]
    ready = np.nan_to_num(inputs.applied.ready_min[-1]) - lengths_min[inputs.site_index]
    not_before: Ints = np.maximum(0.0, np.ceil(ready)).astype(np.int64)
    return not_before


def _elapsed_at(instant: datetime | None, day: date, weather: GatheredWeather) -> Ints:
    """(sites,) minutes of a day that have passed at an instant; 0 before the day, or for None."""
    passed = [
        0
        if instant is None
        else -((midnight_utc(day, site.zone) - instant) // timedelta(minutes=1))
        for site in weather.sites.definitions
    ]
    return np.maximum(np.array(passed, dtype=np.int64), 0)


def _committed_water(
    in_force: PlansInForce | None,
    earliest_start: datetime | None,
    blocks: BlockBatch,
    ahead: SiteDays,
    *,
    weather: GatheredWeather,
) -> CommittedWater | None:
    """The pulses of the planned day that stay; None if that day has not begun anywhere."""
    if in_force is None or earliest_start is None:
        return None
    day = ahead.days[0].item()
    elapsed = np.array(
        [
            (earliest_start - midnight_utc(day, site.zone)) // timedelta(minutes=1)
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
