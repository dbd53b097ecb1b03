"""Past seasons under several programs: a rule of thumb, a weekly timer, the daily plan, the own.

In: a farm's blocks, daily weather of one or more years, the rule to compare with. Out: for every
block, program and year the water, what drained, the days of stress, money and nitrogen.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from service.agronomy.nitrate_loss import held_at_capacity_mm, nitrogen_lost_kg_per_ha
from service.agronomy.past_program import (
    FixedRule,
    GivenRuns,
    ProgramSeason,
    Season,
    WeeklyTimers,
    run_program,
)
from service.agronomy.records import Days, Floats
from service.agronomy.week_ahead import WEEK_DAYS, DayRule, TimerBatch
from service.agronomy.week_program import timers_of_blocks, within_weekly_hours
from service.errors import Fault, InputInvalid
from service.operations.review.hindcast import past_season
from service.pulses import Pulse
from service.records.comparison import Against, Comparison, OwnRuns, Program, YearFigures
from service.records.farms import FarmBundle
from service.records.timers import TimerSettings, as_columns

Flags: TypeAlias = NDArray[np.bool_]
USUAL_TIMER = TimerSettings(
    start_count=4, run_step_min=1.0, day_rule=DayRule.WEEKDAYS, set_weekday=1
)
"""[CHOICE] The timer of a block that has none, for the comparison."""


def compare_programs(
    bundle: FarmBundle,
    days: Days,
    fields: Mapping[str, Floats],
    *,
    first_day: date,
    last_day: date,
    against: Against,
    progress: Callable[[int], None] | None = None,
) -> Comparison:
    """Run the same days under each program; the weather must be complete, as for a hindcast.

    ``progress`` hears how many days are done, over all runs of the season. Raises as a hindcast,
    and InputInvalid for a rule that gives nothing or runs on no day.
    """
    _check(against)
    past = past_season(bundle, days, fields, first_day=first_day, last_day=last_day)
    daily = past.run(knows_tomorrow=False, progress=progress)
    foreseen = past.run(knows_tomorrow=True, progress=progress)
    season = past.as_season(daily)
    runs = {
        Program.WEEKLY: run_program(
            season, WeeklyTimers(season, lambda day: season_timers(season, bundle, day))
        ),
        Program.DAILY: ProgramSeason(ledger=daily.ledger, gross_mm=daily.gross_mm),
        Program.FORESEEN: ProgramSeason(ledger=foreseen.ledger, gross_mm=foreseen.gross_mm),
    }
    if against.rule is not None:
        rate_mm_per_h = season.blocks_on(0).system.application_rate_mm_per_h
        weekly_mm = against.rule.gross_mm(rate_mm_per_h)
        rule = FixedRule(season, weekly_mm, against.rule.days_a_week)
        runs[Program.RULE] = run_program(season, rule)
    is_known = {}
    if against.own:
        own = [against.own.get(block.block_id) for block in bundle.blocks]
        is_known[Program.OWN] = _known(season.days, own)
        given = GivenRuns(daily.pulses, [_by_row(season.days, each) for each in own])
        runs[Program.OWN] = run_program(season, given)
    figures = {
        program: _Figures(season, runs[program], against, is_known.get(program))
        for program in Program
        if program in runs
    }
    years = np.unique(season.days.astype("datetime64[Y]")).astype(np.int64) + 1970
    return Comparison(
        block_ids=tuple(block.block_id for block in bundle.blocks),
        block_names=tuple(block.name for block in bundle.blocks),
        years={
            block.block_id: tuple(
                found
                for year in years.tolist()
                for program, each in figures.items()
                if (found := each.of_year(program, year, place)).known_day_count > 0
                or program is not Program.OWN
            )
            for place, block in enumerate(bundle.blocks)
        },
    )


def _known(days: Days, own: Sequence[OwnRuns | None]) -> Flags:
    """(days, blocks) whether it is known what ran."""
    return np.array(
        [[each is not None and day in each.known_days for each in own] for day in days.tolist()]
    )


def _by_row(days: Days, own: OwnRuns | None) -> Mapping[int, tuple[Pulse, ...]]:
    """The pulses of the known days, by their row."""
    if own is None:
        return {}
    return {
        row: own.pulses.get(day, ())
        for row, day in enumerate(days.tolist())
        if day in own.known_days
    }


def _check(against: Against) -> None:
    rule = against.rule
    if rule is None:
        if any(own.known_days for own in against.own.values()):
            return
        allowed = "a block with reported runs (`rillwright report-run`) or a timer that was set"
        raise InputInvalid(
            "the comparison cannot run", [Fault("rule", "nothing known of what ran", allowed)]
        )
    given = rule.gross_mm_per_week if rule.run_min_per_week is None else rule.run_min_per_week
    faults = []
    if given is None or not 0.0 < given < np.inf:
        faults.append(Fault("rule", str(given), "water for a week, above 0"))
    if not 1 <= rule.days_a_week <= WEEK_DAYS:
        faults.append(Fault("days a week", str(rule.days_a_week), f"1 to {WEEK_DAYS}"))
    if faults:
        raise InputInvalid("the comparison cannot run", faults)


def season_timers(season: Season, bundle: FarmBundle, day: int) -> TimerBatch:
    """The timers of the blocks on a day; those of blocks without one as most are."""
    blocks, supplies = bundle.blocks, {each.supply_id: each for each in bundle.supplies}
    of_block = [supplies[block.supply_id] for block in blocks]
    settings = [block.timer or USUAL_TIMER for block in blocks]
    return within_weekly_hours(
        timers_of_blocks(
            season.blocks_on(day),
            season.windows[day],
            np.arange(len(blocks)),
            **as_columns(settings),
        ),
        [block.windows for block in blocks],
        [supply.windows for supply in of_block],
        [supply.weekly_no_water for supply in of_block],
        first_weekday=season.days[day].item().isoweekday(),
    )


class _Figures:
    """The figures of one program, year by year."""

    def __init__(
        self,
        season: Season,
        run: ProgramSeason,
        against: Against,
        is_known: Flags | None,
    ) -> None:
        self._season, self._run, self._against = season, run, against
        self._is_known = np.ones(run.gross_mm.shape, np.bool_) if is_known is None else is_known
        self._year = season.days.astype("datetime64[Y]").astype(np.int64) + 1970
        self._lost_kg_per_ha = self._nitrogen_lost()

    def _nitrogen_lost(self) -> Floats | None:
        if self._against.nitrogen_kg_per_ha is None:
            return None
        ledger, season = self._run.ledger, self._season
        is_watered = ~season.crop.is_dormant
        given = np.zeros(is_watered.shape)
        for year in np.unique(self._year):
            rows = np.flatnonzero(self._year == year)
            # One part a week, on the days of one weekday.
            is_part = is_watered[rows] & (np.arange(rows.size) % WEEK_DAYS == 0)[:, np.newaxis]
            part_count = np.maximum(1, is_part.sum(axis=0))
            given[rows] = is_part * self._against.nitrogen_kg_per_ha / part_count
        held = held_at_capacity_mm(ledger.taw_mm, season.blocks_on(0).soil)
        drained = ledger.rain_drainage_mm + ledger.irrigation_drainage_mm
        return nitrogen_lost_kg_per_ha(drained, ledger.actual_crop_et_mm, held, given)

    def of_year(self, program: Program, year: int, block: int) -> YearFigures:
        """One block's year."""
        rows = np.flatnonzero(self._year == year)
        is_season = ~self._season.crop.is_dormant
        season_rows = rows[is_season[rows, block]]
        known_rows = season_rows[self._is_known[season_rows, block]]
        if known_rows.size < season_rows.size:
            rows = known_rows
        ledger, season, price = self._run.ledger, self._season, self._against.water_price

        def total(values: Floats) -> float:
            return float(values[rows, block].sum())

        gross_mm = total(self._run.gross_mm)
        volume_m3 = gross_mm * float(season.blocks_on(0).area_m2[block]) / 1000.0
        lost = self._lost_kg_per_ha
        return YearFigures(
            year=year,
            program=program,
            day_count=rows.size,
            season_day_count=season_rows.size,
            known_day_count=known_rows.size,
            gross_mm=gross_mm,
            volume_m3=volume_m3,
            irrigation_drainage_mm=total(ledger.irrigation_drainage_mm),
            rain_drainage_mm=total(ledger.rain_drainage_mm),
            stress_day_count=int(
                (is_season & (ledger.depletion_end_mm > ledger.raw_mm))[rows, block].sum()
            ),
            lost_crop_et_mm=total(is_season * (ledger.crop_et_mm - ledger.actual_crop_et_mm)),
            water_cost=None if price is None else volume_m3 * price,
            nitrogen_lost_kg_per_ha=None if lost is None else total(lost),
        )
