"""How a plan is made: weather in, tomorrow's pulses out, one step after another.

The steps are listed here in the order in which they are taken; the arithmetic of each is in the
module that it is named after. In go checked weather, the blocks of a region and the state of their
ledgers; out come the days of the ledger and a :class:`DailyPlan` for all blocks at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from service.agronomy.block_batch import BlockBatch
from service.agronomy.block_days import CropDays, SiteDays
from service.agronomy.dormancy import cause_by_season
from service.agronomy.hand_visits import visit_windows
from service.agronomy.outlook import Outlook, look_ahead
from service.agronomy.pulse_plan import PulseDemand, PulseSchedule
from service.agronomy.records import Floats, Ints, WindowBatch
from service.agronomy.replanning import CommittedWater, remaining_demand, whole_day
from service.agronomy.risk_guard import WeighedRisk
from service.agronomy.supply import schedule_supplies
from service.agronomy.water_balance import (
    DayLedger,
    PulseTimes,
    step_days,
    with_use_elsewhere,
)
from service.agronomy.watering_rules import (
    PulseLimits,
    WaterNeed,
    credited_rain_mm,
    daily_maximum_min,
    net_rate_mm_per_min,
    pulse_limits,
    shortfall_mm,
    water_need,
    whole_minutes,
)
from service.unit_sizes import MINUTES_PER_DAY


@dataclass(frozen=True, slots=True)
class DailyPlan:
    """Tomorrow's plan of every block with the numbers behind it, arrays (blocks,)."""

    depletion_midnight_mm: Floats
    """Depletion expected at the coming midnight."""
    rain_credit_mm: Floats
    crop_coefficient: Floats
    crop_et_mm: Floats
    alley_et_mm: Floats
    """The part of it that comes from outside the wet strip."""
    taw_mm: Floats
    raw_mm: Floats
    depletion_fraction: Floats
    need: WaterNeed
    limits: PulseLimits
    net_rate_mm_per_min: Floats
    gross_mm: Floats
    schedule: PulseSchedule
    deferred_mm: Floats
    """Need that the plan defers to later days."""
    shortfall_mm: Floats
    """Part of the need without which the block would run out of readily available water."""
    held_min: Floats
    """Minutes of the windows that are too cold for a pulse."""
    risk: WeighedRisk | None = None
    """What a forecast with a spread changed; None: nothing."""

    @property
    def can_be_planned(self) -> NDArray[np.bool_]:
        """False where the weather, the ledger or the block has a gap that could not be filled."""
        known: NDArray[np.bool_] = np.isfinite(self.schedule.planned_net_mm)
        return known

    @property
    def zone_et_mm(self) -> Floats:
        """What the crop is expected to take from the managed zone."""
        return self.crop_et_mm - self.alley_et_mm


def keep_ledger(
    depletion_start_mm: Floats,
    crop: CropDays,
    *,
    first_day_index: Ints,
    early_net_mm: Floats,
    day_net_mm: Floats,
    times: PulseTimes | None = None,
) -> DayLedger:
    """The balance of every block over the days given, from each block's first day on.

    What the crop takes from the alley counts as its use, and the zone is not asked for it.

    Shapes: start and first_day_index (blocks,); the rest (days, blocks).
    times: when the water of each day was given.
    Returns: DayLedger of (days, blocks), NaN before a block's first day.
    Source: FAO-56 Eq. 84 and 85 in the order of the water balance module.
    """
    ledger = step_days(
        depletion_start_mm,
        first_day_index=first_day_index,
        times=times,
        taw_mm=crop.taw_mm,
        raw_mm=crop.raw_mm,
        rain_entering_mm=crop.rain_entering_mm,
        crop_et_mm=crop.zone_et_mm,
        early_net_mm=early_net_mm,
        day_net_mm=day_net_mm,
    )
    return with_use_elsewhere(ledger, crop_et_mm=crop.crop_et_mm, elsewhere_et_mm=crop.alley_et_mm)


def plan_tomorrow(
    blocks: BlockBatch,
    weather: SiteDays,
    crop: CropDays,
    *,
    depletion_midnight_mm: Floats,
    windows: WindowBatch,
    supply_flow_l_per_h: Floats,
    not_before_min: Ints | None = None,
    committed: CommittedWater | None = None,
    risk: WeighedRisk | None = None,
) -> DailyPlan:
    """The plan for the first day of ``weather``.

    Shapes: weather (days, sites) and crop (days, blocks), both from tomorrow on;
    depletion_midnight_mm (blocks,); windows of tomorrow; supply_flow_l_per_h (supplies,).
    not_before_min: (blocks,) first minute at which a pulse may start; 0 when None.
    committed: water of that day that is already committed, when the day is under way.
    risk: what a forecast with a spread changes; None: no block asks for it.
    Returns: DailyPlan; blocks with NaN weather or depletion get no pulses. A depletion above
    what the zone holds tomorrow (if the zone shrank) counts as TAW, as in the balance.
    Source: the rules of the watering, pulse and supply modules.
    """
    depletion_midnight_mm = np.minimum(depletion_midnight_mm, crop.taw_mm[0])
    need, rain_credit_mm = need_of_day(blocks, weather, crop, depletion_midnight_mm, risk=risk)
    limits = pulse_limits(blocks.system, blocks.soil)
    rate_mm_per_min = net_rate_mm_per_min(blocks.system, blocks.soil)
    demand = _demand(
        blocks,
        weather,
        crop,
        need=need,
        limits=limits,
        rate_mm_per_min=rate_mm_per_min,
        windows=windows,
        not_before_min=not_before_min,
    )
    schedule = _schedule(demand, committed, supply_flow_l_per_h)
    held_min = np.zeros(need.need_mm.shape) if windows.held_min is None else windows.held_min
    cause = cause_by_season(schedule.cause, held_min, is_dormant=crop.is_dormant[0])
    return DailyPlan(
        depletion_midnight_mm=depletion_midnight_mm,
        rain_credit_mm=rain_credit_mm,
        crop_coefficient=crop.crop_coefficient[0],
        crop_et_mm=crop.crop_et_mm[0],
        alley_et_mm=crop.alley_et_mm[0],
        taw_mm=crop.taw_mm[0],
        raw_mm=crop.raw_mm[0],
        depletion_fraction=crop.depletion_fraction[0],
        need=need,
        limits=limits,
        net_rate_mm_per_min=rate_mm_per_min,
        gross_mm=schedule.planned_min * blocks.system.application_rate_mm_per_h / 60.0,
        schedule=replace(schedule, cause=cause).limited_in_pulses(demand, blocks.system),
        deferred_mm=np.maximum(0.0, need.need_mm - schedule.planned_net_mm),
        shortfall_mm=shortfall_mm(need, schedule.planned_net_mm, crop.raw_mm[0]),
        held_min=held_min,
        risk=risk,
    )


def need_of_day(
    blocks: BlockBatch,
    weather: SiteDays,
    crop: CropDays,
    depletion_midnight_mm: Floats,
    *,
    risk: WeighedRisk | None,
) -> tuple[WaterNeed, Floats]:
    """Tomorrow's need, and the rain that it counts on.

    Shapes: as for :func:`plan_tomorrow`; the rain (blocks,).
    risk: what a forecast with a spread changes; None: nothing.
    Returns: WaterNeed and a depth [mm], both before any pulse.
    Source: the rules of the watering module and of the risk guard.
    """
    chance = weather.rain_probability_fraction[0, blocks.site_index]
    credit_mm = credited_rain_mm(crop.rain_entering_mm[0], chance)
    if risk is not None:
        credit_mm = risk.rule_credit_mm(credit_mm)
    need = water_need(
        depletion_midnight_mm,
        rain_credit_mm=credit_mm,
        crop_et_mm=crop.zone_et_mm[0],
        raw_mm=crop.raw_mm[0],
        system=blocks.system,
        is_dormant=crop.is_dormant[0],
    )
    return (need, credit_mm) if risk is None else (risk.need(need), risk.credit_mm(credit_mm))


def _schedule(
    demand: PulseDemand, committed: CommittedWater | None, supply_flow_l_per_h: Floats
) -> PulseSchedule:
    """The pulses of the day, those among them that are committed already."""
    if committed is None:
        return schedule_supplies(demand, supply_flow_l_per_h)
    rest = schedule_supplies(remaining_demand(demand, committed), supply_flow_l_per_h)
    return whole_day(rest, committed, demand.net_rate_mm_per_min)


def coming_days(
    blocks: BlockBatch,
    weather: SiteDays,
    crop: CropDays,
    *,
    plan: DailyPlan,
    windows_of_day: Sequence[WindowBatch],
    supply_flow_l_per_h: Floats,
    fixed_min: Floats | None = None,
) -> Outlook:
    """The outlook for the days from tomorrow on, given the plan and the forecast.

    Shapes: as for :func:`plan_tomorrow`; windows_of_day one per day of ``weather``.
    fixed_min: (days, blocks) minutes that are decided elsewhere, NaN where the need decides.
    Returns: Outlook over the days of ``weather``.
    Source: the evening rules, repeated day by day.
    """
    return look_ahead(
        blocks.system if plan.risk is None else plan.risk.rules_ahead(blocks.system),
        crop_et_mm=crop.zone_et_mm,
        is_dormant=crop.is_dormant,
        rain_credit_mm=credited_rain_mm(
            crop.rain_entering_mm, weather.rain_probability_fraction[:, blocks.site_index]
        ),
        taw_mm=crop.taw_mm,
        raw_mm=crop.raw_mm,
        depletion_midnight_mm=plan.depletion_midnight_mm,
        planned_net_mm=plan.schedule.planned_net_mm,
        planned_early_net_mm=plan.schedule.early_net_mm,
        net_rate_mm_per_min=plan.net_rate_mm_per_min,
        limits=plan.limits,
        windows_of_day=windows_of_day,
        supply_flow_l_per_h=supply_flow_l_per_h,
        fixed_min=fixed_min,
    )


def ready_min(schedule: PulseSchedule) -> Ints:
    """Minute from which each block may run again on the day after its last pulse.

    The off time is held across midnight at one pulse length at most, the length to which the rules
    fall back where windows are short: a night window that midnight divides stays usable.

    Shapes: (blocks,).
    Returns: minutes elapsed since the midnight before the pulses; 0 where there were none.
    Equation: end of the last pulse + ceil(min(1, off ratio) x its length).
    """
    pulses = schedule.pulses
    ready = np.zeros(pulses.offset.size - 1, dtype=np.int64)
    has_pulses = pulses.count() > 0
    last = pulses.offset[1:][has_pulses] - 1
    off_ratio = np.minimum(1.0, schedule.used_off_ratio[has_pulses])
    off_min = np.ceil(off_ratio * pulses.duration_min[last]).astype(np.int64)
    ready[has_pulses] = pulses.start_min[last] + pulses.duration_min[last] + off_min
    return ready


def _demand(
    blocks: BlockBatch,
    weather: SiteDays,
    crop: CropDays,
    *,
    need: WaterNeed,
    limits: PulseLimits,
    rate_mm_per_min: Floats,
    windows: WindowBatch,
    not_before_min: Ints | None,
) -> PulseDemand:
    at_site = blocks.site_index
    system = blocks.system
    nothing = np.zeros(at_site.shape)
    own_windows, start_within_min = visit_windows(windows)
    knows_rules = np.isfinite(
        limits.depth_limit_min
        + system.fill_time_min
        + system.grower_longest_pulse_min
        + system.daily_maximum_min
        + system.valve_gap_s
    )
    return PulseDemand(
        depletion_after_rain_mm=need.depletion_after_rain_mm,
        crop_et_mm=crop.zone_et_mm[0],
        taw_mm=crop.taw_mm[0],
        raw_mm=crop.raw_mm[0],
        need_mm=np.where(knows_rules, need.need_mm, np.nan),
        urgent_need_mm=need.urgent_need_mm,
        sunrise_min=weather.sunrise_min[0, at_site],
        sunset_min=weather.sunset_min[0, at_site],
        net_rate_mm_per_min=rate_mm_per_min,
        shortest_pulse_min=limits.shortest_pulse_min,
        longest_pulse_min=limits.longest_pulse_min,
        daily_maximum_min=whole_minutes(daily_maximum_min(limits, system)),
        most_pulse_count=whole_minutes(np.minimum(system.daily_pulse_count, MINUTES_PER_DAY)),
        off_ratio=system.off_ratio,
        valve_gap_min=whole_minutes(np.ceil(system.valve_gap_s / 60.0)),
        flow_l_per_h=system.flow_l_per_h,
        event_limit_mm=limits.event_limit_mm,
        supply_index=system.supply_index,
        not_before_min=nothing.astype(np.int64) if not_before_min is None else not_before_min,
        applied_early_net_mm=nothing,
        applied_day_net_mm=nothing,
        start_within_min=start_within_min,
        priority=system.priority,
        windows=own_windows,
    )
