"""The pulses of the coming day for a group of farms: hours, what stands already, injections."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import partial

import numpy as np
from numpy.typing import NDArray

from service.agronomy.block_batch import BlockBatch, take_blocks
from service.agronomy.civil_day import day_lengths_min, midnight_utc
from service.agronomy.daily_plan import (
    CropDays,
    DailyPlan,
    SiteDays,
    days_of,
    plan_tomorrow,
    take_crop,
)
from service.agronomy.injection_room import PlannedDay
from service.agronomy.records import Floats, Ints, WindowBatch
from service.agronomy.replanning import CommittedWater, commit_pulses, windows_beside
from service.agronomy.watering_rules import FILL_TIMES_PER_PULSE_COUNT, whole_minutes
from service.agronomy.watering_window import watering_windows
from service.database.session import UnitOfWork
from service.operations.evening.fit_injections import fit_injections
from service.operations.evening.gather_weather import GatheredWeather
from service.operations.evening.phases import Phases
from service.records.farms import BlockTable, SupplyTable
from service.records.ledger import AppliedWater
from service.records.plan_reasoning import StoredInjection
from service.records.plans import PlansInForce

OUTLOOK_DAYS = 7


@dataclass(frozen=True, slots=True)
class CommonHours:
    """When block, supply and neighbours all let water run."""

    table: BlockTable
    supplies: SupplyTable
    weather: GatheredWeather
    site_index: Ints
    supply_index: Ints

    def on(self, day: date) -> WindowBatch:
        """The windows of a day."""
        zones = [site.zone for site in self.weather.sites.definitions]
        return watering_windows(
            self.table.windows,
            [self.supplies.windows[index] for index in self.supply_index.tolist()],
            self.table.no_water,
            zones=[zones[index] for index in self.site_index.tolist()],
            day=day,
        )

    def coming(self, first_day: date, windows: WindowBatch) -> list[WindowBatch]:
        """Those of the plan's day, given, and of the days after; one object where all are alike."""
        if not any(self.table.no_water):
            return [windows] * OUTLOOK_DAYS
        days = [first_day + timedelta(days=ahead) for ahead in range(1, OUTLOOK_DAYS)]
        return [windows, *map(self.on, days)]


def first_minutes(
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


def elapsed_at(instant: datetime | None, day: date, weather: GatheredWeather) -> Ints:
    """(sites,) minutes of a day that have passed at an instant, 0 before it and for no instant."""
    passed = [
        0
        if instant is None
        else -((midnight_utc(day, site.zone) - instant) // timedelta(minutes=1))
        for site in weather.sites.definitions
    ]
    return np.maximum(np.array(passed, dtype=np.int64), 0)


def committed_water(
    in_force: PlansInForce | None,
    earliest_start: datetime | None,
    blocks: BlockBatch,
    ahead: SiteDays,
    *,
    weather: GatheredWeather,
) -> CommittedWater | None:
    """What stands already of the day planned; None where that day has not begun anywhere."""
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


def plan_beside_kept(
    unit: UnitOfWork,
    phases: Phases,
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
) -> tuple[DailyPlan, dict[int, StoredInjection]]:
    """As :func:`_plan_and_inject`, beside pulses in force of blocks that cannot be planned anew."""
    lay_out = partial(
        _plan_and_inject,
        unit,
        phases,
        blocks,
        ahead,
        crop,
        keys=keys,
        depletion_midnight_mm=depletion_midnight_mm,
        supply_flow_l_per_h=supply_flow_l_per_h,
        not_before_min=not_before_min,
        committed=committed,
    )
    plan, injections = lay_out(windows=windows)
    kept = _kept_pulses(unit, keys, plan, day=ahead.days[0].item())
    if kept is None:
        return plan, injections
    return lay_out(
        windows=windows_beside(
            windows,
            kept,
            supply_index=blocks.system.supply_index,
            flow_l_per_h=blocks.system.flow_l_per_h,
            supply_flow_l_per_h=supply_flow_l_per_h,
            valve_gap_min=whole_minutes(np.ceil(blocks.system.valve_gap_s / 60.0)),
        )
    )


def _kept_pulses(
    unit: UnitOfWork, keys: Ints, plan: DailyPlan, *, day: date
) -> list[tuple[tuple[int, int], ...]] | None:
    """Pulses in force of blocks that cannot be planned any more; None where there are none.

    Publishing lets them stand, so the supply must be thought to be busy with them.
    """
    unknown = np.flatnonzero(~plan.can_be_planned)
    if not unknown.size:
        return None
    in_force = unit.plans.read_in_force(keys[unknown], day=day)
    if not any(in_force.pulses):
        return None
    kept: list[tuple[tuple[int, int], ...]] = [()] * keys.size
    for row, pulses in zip(unknown.tolist(), in_force.pulses, strict=True):
        kept[row] = pulses
    return kept


def _plan_and_inject(
    unit: UnitOfWork,
    phases: Phases,
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
) -> tuple[DailyPlan, dict[int, StoredInjection]]:
    """The plan of the coming day with its injections, and what is said of them by row."""
    with phases.phase("pulses and supply"):
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

    with phases.phase("injections"):
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
            on=ahead.days[0].item(),
            may_change=_may_change(committed, blocks),
            replan=replan,
        )


def _may_change(committed: CommittedWater | None, blocks: BlockBatch) -> NDArray[np.bool_]:
    """(blocks,) an injection may change the pulses: on no block of its supply the day has begun."""
    supply_index = blocks.system.supply_index
    if committed is None:
        return np.ones(supply_index.shape, dtype=np.bool_)
    begun = supply_index[committed.not_before_min > 0]
    return ~np.isin(supply_index, begun)
