"""Timers in the evening: what they run on the coming day, and which program to set next.

A timer keeps one program until somebody changes it, so the plan of its block is what the program in
force runs that day. On the evening before the grower's setting day a new program is worked out for
the week to come; on other evenings only if the one in force no longer fits and a change pays.
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray

from service.agronomy.block_batch import take_blocks
from service.agronomy.civil_day import ONE_DAY, elapsed_wall_min
from service.agronomy.daily_plan import DailyPlan
from service.agronomy.effective_rain import rain_entering_mm
from service.agronomy.records import Floats, Ints
from service.agronomy.weather_flags import OF_LONG_OUTAGE, FieldFlag
from service.agronomy.week_ahead import WEEK_DAYS, WeekAhead, WeekProgram
from service.agronomy.week_courses import week_courses
from service.agronomy.week_program import (
    assess_programs,
    choose_programs,
    timers_of_blocks,
    within_weekly_hours,
)
from service.database.session import UnitOfWork
from service.operations.evening.earlier_weeks import UsualWeek, usual_week
from service.operations.evening.evening_inputs import EveningInputs, row_of_day
from service.operations.evening.lay_out_pulses import ComingDay
from service.operations.evening.open_hours import unless_paused
from service.pulses import Pulse
from service.records.timers import OfferedProgram, TimerProgram, TimerSettings, as_columns, in_force

LEAST_DAYS_LEFT = 2
"""[CHOICE] Fewer days before the next setting are left as they are."""
EARLY_SAVING_MM = 2.0
"""[CHOICE] Cost that an early change has to save, in millimetres of drainage."""
EARLY_SHARE = 0.25
EARLY_MIN = 10.0
"""[CHOICE] Change of the minutes of a week from which it is worth a walk: a quarter and 10 min."""
LEAST_KNOWN_DAYS = 3
"""[CHOICE] With fewer days of forecast no program is worked out."""

EARLIER_SHARE = 0.5
"""[CHOICE] Weight of earlier years' rain; the rest stays dry, so that no depletion rests on it."""

NO_FORECAST = int(FieldFlag.NORMAL_OF_SEASON | FieldFlag.FILLED_FROM_RECENT_DAYS | OF_LONG_OUTAGE)
"""Flags of reference ET on days that no forecast reaches."""


@dataclass(frozen=True, slots=True)
class TimersOfFarms:
    """The blocks with a timer and what was set on them."""

    rows: Ints
    """Rows of the blocks with a timer."""
    settings: tuple[TimerSettings, ...]
    programs: tuple[tuple[OfferedProgram, ...], ...]
    zones: tuple[str, ...]

    def pulses_on(self, day: date) -> dict[int, tuple[Pulse, ...]]:
        """What the programs in force run on a day, by row of the block, in elapsed minutes."""
        return {
            int(row): tuple(
                Pulse(elapsed_wall_min(pulse.start_min, day, zone), pulse.duration_min)
                for pulse in _pulses_on(programs, day)
            )
            for row, programs, zone in zip(self.rows, self.programs, self.zones, strict=True)
        }

    def minutes_on(self, day: ComingDay) -> Floats:
        """(days, blocks) minutes that the programs in force run on the coming day and those after
        it, less no-water periods; NaN for blocks without a timer.
        """
        minutes = np.full((len(day.days), day.keys.size), np.nan)
        for place, (each, windows) in enumerate(zip(day.days, day.windows_of_outlook, strict=True)):
            for row, pulses in unless_paused(self.pulses_on(each), windows).items():
                minutes[place, row] = sum(pulse.duration_min for pulse in pulses)
        return minutes


def read_timers(unit: UnitOfWork, inputs: EveningInputs) -> TimersOfFarms | None:
    """The timers of some farms and their programs; None if no block has one."""
    rows = np.flatnonzero([each is not None for each in inputs.table.timers])
    if rows.size == 0:
        return None
    keys = inputs.table.keys[rows]
    programs = unit.timers.read(keys, since=inputs.on)
    block_ids = [inputs.table.block_ids[row] for row in rows.tolist()]
    sites = inputs.weather.sites.definitions
    return TimersOfFarms(
        rows=rows,
        settings=tuple(each for each in inputs.table.timers if each is not None),
        programs=tuple(programs.get(block_id, ()) for block_id in block_ids),
        zones=tuple(sites[site].zone for site in inputs.site_index[rows].tolist()),
    )


def offer_programs(
    unit: UnitOfWork,
    inputs: EveningInputs,
    timers: TimersOfFarms,
    day: ComingDay,
    plan: DailyPlan,
    *,
    now: datetime,
    source_order: Mapping[str, int],
) -> int:
    """Work out the programs to set from the coming day on, and store them; returns how many.

    Evenings that are run again replace what they offered. Timers that take turns on a supply are
    offered new programs all together or not at all: one that kept its own would overlap.
    """
    due = np.array([timer.days_until_setting(inputs.plan_day) for timer in timers.settings])
    turn_of, day_site = _turn_groups(timers, day), day.blocks.site_index[timers.rows]
    offered: list[OfferedProgram] = []
    for day_count in np.unique(due).tolist():
        is_due = due == day_count
        if day_count < LEAST_DAYS_LEFT:
            is_unset = [in_force(each, inputs.plan_day) is None for each in timers.programs]
            is_due &= _with_turns(np.array(is_unset), turn_of)
        places = np.flatnonzero(is_due).tolist()
        if not places:
            continue
        usual = _usual_of(unit, inputs, timers, day, day_count, source_order=source_order)
        chosen, kept = _choose(inputs, timers, places, day, plan, usual=usual, day_count=day_count)
        normal_count = _normal_day_count(inputs, timers, day, day_count)
        programs = [
            _program_of(chosen, at, timers.settings[place], inputs.plan_day)
            for at, place in enumerate(places)
        ]
        held = [in_force(timers.programs[place], inputs.plan_day) for place in places]
        saved_mm = (kept.cost_mm - chosen.cost_mm).tolist()
        is_new = [
            day_count == WEEK_DAYS or now_set is None or _pays(program, now_set.program, saved)
            for program, now_set, saved in zip(programs, held, saved_mm, strict=True)
        ]
        wanted = _with_turns(np.array(is_new) & chosen.is_known, turn_of[places])
        offered += [
            OfferedProgram(
                program_id=_program_id(programs[at], timers.programs[places[at]]),
                block_id=inputs.table.block_ids[timers.rows[places[at]]],
                program=programs[at],
                offered_at=now,
                is_early=day_count < WEEK_DAYS and held[at] is not None,
                excess_mm=float(chosen.excess_mm[at]),
                drainage_mm=float(chosen.drainage_mm[at]),
                depletion_end_mm=float(chosen.depletion_end_mm[at]),
                normal_day_count=int(normal_count[places[at]]),
                earlier_year_count=int(usual.year_count[day_site[places[at]]]),
                set_from=None,
                set_at=None,
            )
            for at in np.flatnonzero(wanted & chosen.is_known).tolist()
        ]
    unit.timers.offer(offered)
    return len(offered)


def _normal_day_count(
    inputs: EveningInputs, timers: TimersOfFarms, day: ComingDay, day_count: int
) -> Ints:
    """(timers,) days of the coming ones that have no forecast of their own."""
    first = row_of_day(inputs.weather.days, inputs.plan_day)
    flags = inputs.weather.weather.et0_flags[first : first + day_count]
    use_mm = day.crop.crop_et_mm[: flags.shape[0], timers.rows]
    site = day.blocks.site_index[timers.rows]
    has_own = ((flags[:, site] & NO_FORECAST) == 0) & np.isfinite(use_mm)
    counts: Ints = day_count - has_own.sum(axis=0)
    return counts


def _usual_of(
    unit: UnitOfWork,
    inputs: EveningInputs,
    timers: TimersOfFarms,
    day: ComingDay,
    day_count: int,
    *,
    source_order: Mapping[str, int],
) -> UsualWeek:
    """What earlier years had on the days of the timers' sites that no forecast reaches."""
    first = row_of_day(inputs.weather.days, inputs.plan_day)
    flags = inputs.weather.weather.et0_flags[first : first + day_count]
    is_wanted = (flags & NO_FORECAST) != 0
    is_wanted[:, ~np.isin(np.arange(flags.shape[1]), day.blocks.site_index[timers.rows])] = False
    days = inputs.weather.days[first : first + day_count]
    usual = usual_week(unit, inputs.weather.sites, days, is_wanted, source_order=source_order)
    # A normal that the site states goes before its own years.
    has_stated = (flags & FieldFlag.NORMAL_OF_SEASON) != 0
    return replace(usual, et0_mm=np.where(has_stated, np.nan, usual.et0_mm))


def _turn_groups(timers: TimersOfFarms, day: ComingDay) -> Ints:
    """(timers,) the supply of each timer that takes turns; -1 for those that run when they like."""
    supply = day.blocks.system.supply_index[timers.rows]
    flow_l_per_h = np.bincount(supply, weights=day.blocks.system.flow_l_per_h[timers.rows])
    takes_turns = flow_l_per_h[supply] > day.supply_flow_l_per_h[supply] * (1.0 + 1e-9)
    return np.where(takes_turns, supply, -1)


def _with_turns(is_wanted: NDArray[np.bool_], turn_of: Ints) -> NDArray[np.bool_]:
    """Those that are wanted, and all that take turns with one of them."""
    wanted: NDArray[np.bool_] = is_wanted | ((turn_of >= 0) & np.isin(turn_of, turn_of[is_wanted]))
    return wanted


def _program_id(program: TimerProgram, before: Sequence[OfferedProgram]) -> str:
    """The id that the same program was offered under; mails and pages out may name it."""
    offered = (each for each in before if each.set_from is None and each.program == program)
    same = next(offered, None)
    return secrets.token_hex(8) if same is None else same.program_id


def _pays(program: TimerProgram, held: TimerProgram, saved_mm: float) -> bool:
    """Whether a change between two settings is worth the walk."""
    change_min = abs(program.minutes_a_week - held.minutes_a_week)
    return (
        not program.sets_the_same(held)
        and saved_mm >= EARLY_SAVING_MM
        and change_min >= max(EARLY_MIN, EARLY_SHARE * held.minutes_a_week)
    )


def _pulses_on(programs: Sequence[OfferedProgram], day: date) -> tuple[Pulse, ...]:
    held = in_force(programs, day)
    return () if held is None else held.program.pulses_on(day)


def _choose(
    inputs: EveningInputs,
    timers: TimersOfFarms,
    places: Sequence[int],
    day: ComingDay,
    plan: DailyPlan,
    *,
    usual: UsualWeek,
    day_count: int,
) -> tuple[WeekProgram, WeekProgram]:
    """The best programs for the coming days of some timers, and those in force over the same."""
    rows, first_day = timers.rows[list(places)], day.days[0]
    ahead = _week_ahead(day, plan, rows, usual, day_count)
    settings = [timers.settings[place] for place in places]
    supply_rows = inputs.supply_index[rows].tolist()
    batch = within_weekly_hours(
        timers_of_blocks(day.blocks, day.windows, rows, **as_columns(settings)),
        [inputs.table.windows[row] for row in rows.tolist()],
        [inputs.supplies.windows[supply] for supply in supply_rows],
        [inputs.supplies.weekly_no_water[supply] for supply in supply_rows],
        first_weekday=first_day.isoweekday(),
    )
    chosen = choose_programs(ahead, batch, day.supply_flow_l_per_h)
    held = [in_force(timers.programs[place], first_day) for place in places]
    kept = assess_programs(ahead, batch, _as_arrays(held, first_day))
    return chosen, kept


def _as_arrays(held: Sequence[OfferedProgram | None], first_day: date) -> WeekProgram:
    """Programs in force with their days counted from another day; off where there is none."""
    programs = [None if each is None else each.program for each in held]
    mask = [
        sum(
            each.runs_on(first_day + day * ONE_DAY) << day for day in range(WEEK_DAYS)
        ) if each is not None else 0
        for each in programs
    ]  # fmt: skip
    whole = {
        name: np.array([0 if each is None else getattr(each, name) for each in programs], np.int64)
        for name in ("start_count", "first_start_min", "spacing_min")
    }
    unknown = np.full(len(programs), np.nan)
    return WeekProgram(
        day_mask=np.array(mask, np.int64),
        run_min=np.array([0.0 if each is None else each.run_min for each in programs]),
        cost_mm=unknown,
        excess_mm=unknown,
        drainage_mm=unknown,
        depletion_end_mm=unknown,
        **whole,
    )


def _program_of(
    chosen: WeekProgram, at: int, timer: TimerSettings, first_day: date
) -> TimerProgram:
    return TimerProgram(
        first_day=first_day,
        day_rule=timer.day_rule,
        day_mask=int(chosen.day_mask[at]),
        start_count=int(chosen.start_count[at]),
        first_start_min=int(chosen.first_start_min[at]),
        spacing_min=int(chosen.spacing_min[at]),
        run_min=float(chosen.run_min[at]),
    )


def _week_ahead(
    day: ComingDay, plan: DailyPlan, rows: Ints, usual: UsualWeek, day_count: int
) -> WeekAhead:
    """The coming days of some blocks: with and without the forecast's rain, and that of later days.

    A day without a forecast has the site's normal ET0, or that of earlier years, and their rain in
    half of the weight of the years that had any; a depletion never rests on it. Days of which not
    even that is known are the mean of the known ones, dry.
    """
    crop, at_site = day.crop, day.blocks.site_index[rows]
    crop_et_mm, is_known = _filled(crop.crop_et_mm[:WEEK_DAYS, rows], day_count)
    alley_mm = np.nan_to_num(crop.alley_et_mm[:day_count, rows])
    crop_et_mm[: alley_mm.shape[0]] -= alley_mm
    et0_mm, usual_mm = day.ahead.et0_mm[:day_count, at_site], usual.et0_mm[:, at_site]
    is_normal = usual.is_wanted[:, at_site] & np.isfinite(usual_mm) & (et0_mm > 0.0)
    ratio = np.divide(usual_mm, et0_mm, out=np.ones_like(et0_mm), where=is_normal)
    crop_et_mm[: ratio.shape[0]] *= ratio
    taw_mm, _ = _filled(crop.taw_mm[:WEEK_DAYS, rows], day_count)
    raw_mm, _ = _filled(crop.raw_mm[:WEEK_DAYS, rows], day_count)
    rain_mm, later_mm = np.zeros((2, *crop_et_mm.shape))
    forecast_mm = crop.rain_entering_mm[:day_count, rows]
    rain_mm[: forecast_mm.shape[0]] = np.nan_to_num(forecast_mm)
    soil = take_blocks(day.blocks, rows).soil
    entering_mm = rain_entering_mm(usual.rain_mm[:, at_site], et0_mm * ratio, soil)
    later_mm[: entering_mm.shape[0]] = np.nan_to_num(entering_mm)
    probability = np.nan_to_num(day.ahead.rain_probability_fraction[:day_count, at_site])
    total_mm = rain_mm.sum(axis=0)
    weighed_mm = (rain_mm[: probability.shape[0]] * probability).sum(axis=0)
    wet = np.divide(weighed_mm, total_mm, out=np.zeros_like(total_mm), where=total_mm > 0.0)
    later = EARLIER_SHARE * usual.wet_share[at_site]
    sun = {
        name: np.repeat(getattr(day.ahead, name)[:1, at_site], day_count, axis=0)
        for name in ("sunrise_min", "sunset_min")
    }
    # A dormant block asks for nothing: its timer is turned off.
    is_dormant = crop.is_dormant[0, rows]
    crop_et_mm = np.where(is_dormant, 0.0, crop_et_mm)
    start_mm = np.where(is_dormant, 0.0, plan.depletion_midnight_mm[rows])
    courses, weight = week_courses(rain_mm, wet, later_mm, later)
    return WeekAhead(
        depletion_start_mm=np.where(is_known, start_mm, np.nan),
        crop_et_mm=np.broadcast_to(crop_et_mm, courses.shape),
        taw_mm=taw_mm,
        raw_mm=raw_mm,
        rain_entering_mm=courses,
        course_weight=weight,
        **sun,
    )


def _filled(values: Floats, day_count: int) -> tuple[Floats, NDArray[np.bool_]]:
    """(days, blocks) with the mean of the known days for others, and where enough are known."""
    known = np.isfinite(values)
    count = known.sum(axis=0)
    mean = np.divide(
        np.where(known, values, 0.0).sum(axis=0), count, out=np.full(count.shape, np.nan),
        where=count > 0,
    )  # fmt: skip
    filled = np.broadcast_to(mean, (day_count, values.shape[1])).copy()
    own = np.where(known, values, mean)[:day_count]
    filled[: own.shape[0]] = own
    return filled, count >= min(LEAST_KNOWN_DAYS, day_count)
