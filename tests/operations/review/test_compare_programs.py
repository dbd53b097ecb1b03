"""Past seasons under several programs, on invented weather and blocks."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest

from service.agronomy.past_program import FixedRule, Season, WeeklyTimers, run_program
from service.agronomy.records import Floats, PulseBatch
from service.errors import InputInvalid
from service.operations.review.compare_programs import USUAL_TIMER, compare_programs, season_timers
from service.operations.review.hindcast import past_season
from service.records.comparison import (
    Against,
    Comparison,
    OwnRuns,
    Program,
    RuleOfThumb,
    YearFigures,
    whole_programs,
)
from tests.agronomy.ledger_error import mass_balance_error_mm
from tests.factories import (
    daily_fields,
    make_block,
    make_bundle,
    make_days,
    make_weather,
)

FIRST_DAY, LAST_DAY = date(2023, 5, 1), date(2024, 8, 31)
DAY_COUNT = (LAST_DAY - date(2023, 4, 25)).days + 1
RULE = RuleOfThumb(gross_mm_per_week=42.0)


def weather() -> Any:
    """Invented: the same hot day throughout, a storm now and then."""
    rain_mm = np.where(np.arange(DAY_COUNT) % 11 == 5, 18.0, 0.0)[:, np.newaxis]
    return make_weather(days=make_days(date(2023, 4, 25), DAY_COUNT), rain_mm=rain_mm)


def compared(rule: RuleOfThumb = RULE, **priced: Any) -> Comparison:
    made = weather()
    return compare_programs(
        make_bundle(make_block()), made.days, daily_fields(made),
        first_day=FIRST_DAY, last_day=LAST_DAY, against=Against(rule=rule, **priced),
    )  # fmt: skip


def of_program(found: Comparison, program: Program) -> list[YearFigures]:
    (years,) = found.years.values()
    return [each for each in years if each.program is program]


@pytest.fixture(scope="module")
def season() -> Season:
    """The invented season, with the pulses of its daily plan."""
    made = weather()
    past = past_season(
        make_bundle(make_block()), made.days, daily_fields(made),
        first_day=FIRST_DAY, last_day=LAST_DAY,
    )  # fmt: skip
    return past.as_season(past.run(knows_tomorrow=False))


def test_the_daily_plans_own_pulses_lead_to_its_own_ledger() -> None:
    """The stepping of programs against that of the season, which makes its ledger elsewhere."""
    made = weather()
    past = past_season(
        make_bundle(make_block()), made.days, daily_fields(made),
        first_day=FIRST_DAY, last_day=LAST_DAY,
    )  # fmt: skip
    daily = past.run(knows_tomorrow=False)
    again = run_program(past.as_season(daily), lambda day, _: daily.pulses[day])
    assert again.ledger.depletion_end_mm == pytest.approx(daily.ledger.depletion_end_mm, abs=1e-9)
    assert again.ledger.actual_crop_et_mm == pytest.approx(daily.ledger.actual_crop_et_mm, abs=1e-9)
    assert again.gross_mm == pytest.approx(daily.gross_mm, abs=1e-9)
    assert daily.gross_mm.sum() > 0.0


@pytest.mark.parametrize("days_a_week", [1, 3, 7])
def test_a_rule_gives_its_water_every_week_of_the_season(season: Season, days_a_week: int) -> None:
    run = run_program(season, FixedRule(season, np.array([42.0]), days_a_week))
    is_season = ~season.crop.is_dormant[:, 0]
    weeks = [slice(begin, begin + 7) for begin in range(0, season.days.size - 7, 7)]
    whole = [run.gross_mm[week, 0].sum() for week in weeks if is_season[week].all()]
    rate_mm_per_h = season.blocks_on(0).system.application_rate_mm_per_h[0]
    assert whole == pytest.approx([42.0] * len(whole), abs=days_a_week * rate_mm_per_h / 60.0)
    assert run.gross_mm[~is_season].sum() == 0.0
    assert np.abs(mass_balance_error_mm(run.ledger)).max() < 1e-9


def test_a_timer_keeps_its_program_for_seven_days(season: Season) -> None:
    given: list[PulseBatch] = []

    def remembered(day: int, depletion_mm: Floats) -> PulseBatch:
        given.append(timers(day, depletion_mm))
        return given[-1]

    timers = WeeklyTimers(season, lambda day: season_timers(season, make_bundle(), day))
    run = run_program(season, remembered)
    assert np.abs(mass_balance_error_mm(run.ledger)).max() < 1e-9
    for begin in range(0, season.days.size - 7, 7):
        of_week = [each.of_block(0) for each in given[begin : begin + 7]]
        running = [pulses for pulses in of_week if pulses]
        assert len({tuple(pulse.start_min for pulse in pulses) for pulses in running}) <= 1
        assert all(len(pulses) <= USUAL_TIMER.start_count for pulses in running)


def test_an_ample_rule_drains_what_the_daily_plan_does_not() -> None:
    found = compared()
    for rule, daily, foreseen in zip(
        of_program(found, Program.RULE),
        of_program(found, Program.DAILY),
        of_program(found, Program.FORESEEN),
        strict=True,
    ):
        assert rule.gross_mm > daily.gross_mm > 0.0
        assert rule.irrigation_drainage_mm > daily.irrigation_drainage_mm
        # The daily plan that knows its day drains no irrigation: the rule of its pulses.
        assert foreseen.irrigation_drainage_mm == pytest.approx(0.0, abs=1e-6)


def test_every_year_has_every_program_and_only_its_own_days() -> None:
    found = compared()
    (years,) = found.years.values()
    assert [(each.year, each.program) for each in years] == [
        (year, program)
        for year in (2023, 2024)
        for program in Program
        if program is not Program.OWN
    ]
    assert {each.day_count for each in years} == {245, 244}


def test_water_and_nitrogen_are_priced_by_what_was_given_and_lost() -> None:
    found = compared(water_price=0.5, nitrogen_kg_per_ha=80.0)
    for each in of_program(found, Program.RULE):
        assert each.water_cost == pytest.approx(0.5 * each.volume_m3)
        assert each.nitrogen_lost_kg_per_ha is not None
        assert 0.0 < each.nitrogen_lost_kg_per_ha < 80.0
    plain = compared()
    assert {each.water_cost for each in of_program(plain, Program.RULE)} == {None}


def test_minutes_a_week_are_the_depth_that_the_emitters_give_in_them() -> None:
    rate_mm_per_h = np.array([2.0])
    assert RuleOfThumb(run_min_per_week=90.0).gross_mm(rate_mm_per_h) == pytest.approx([3.0])


@pytest.mark.parametrize(
    "rule",
    [RuleOfThumb(), RuleOfThumb(gross_mm_per_week=0.0), replace(RULE, days_a_week=0)],
)
def test_a_rule_that_waters_nothing_is_refused(rule: RuleOfThumb) -> None:
    with pytest.raises(InputInvalid, match="the comparison cannot run"):
        compared(rule)


# --- what was run --------------------------------------------------------------------------------


def plans_own_runs(known_until: date = LAST_DAY) -> OwnRuns:
    """A grower who ran the daily plan to the minute and reported every day until one."""
    made = weather()
    past = past_season(
        make_bundle(make_block()), made.days, daily_fields(made),
        first_day=FIRST_DAY, last_day=LAST_DAY,
    )  # fmt: skip
    days = past.span.days.tolist()
    pulses = past.run(knows_tomorrow=False).pulses
    known = [day for day in days if day <= known_until]
    return OwnRuns(
        pulses={
            day: run for day, each in zip(known, pulses, strict=False) if (run := each.of_block(0))
        },
        known_days=frozenset(known),
    )


def own_compared(own: OwnRuns | None, rule: RuleOfThumb | None = None) -> Comparison:
    made = weather()
    block = make_block()
    return compare_programs(
        make_bundle(block), made.days, daily_fields(made), first_day=FIRST_DAY, last_day=LAST_DAY,
        against=Against(rule=rule, own={} if own is None else {block.block_id: own}),
    )  # fmt: skip


def test_who_ran_the_plan_has_the_figures_of_the_plan() -> None:
    found = own_compared(plans_own_runs())
    own, daily = of_program(found, Program.OWN), of_program(found, Program.DAILY)
    assert [replace(each, program=Program.DAILY) for each in own] == daily
    assert daily[0].gross_mm > 0.0
    assert of_program(found, Program.RULE) == []


def test_a_season_known_in_part_counts_its_known_days_alone() -> None:
    whole = own_compared(plans_own_runs(), RULE)
    found = own_compared(plans_own_runs(date(2023, 7, 31)), RULE)
    (own,) = of_program(found, Program.OWN)  # of 2024 nothing is known: no row
    daily = of_program(found, Program.DAILY)[0]
    assert (own.year, own.is_whole, own.season_day_count) == (2023, False, daily.season_day_count)
    assert 0 < own.known_day_count == own.day_count < daily.season_day_count
    assert 0.0 < own.gross_mm < of_program(whole, Program.OWN)[0].gross_mm
    (years,) = found.years.values()
    assert Program.OWN not in whole_programs(years)
    assert whole_programs(years)[0] is Program.RULE


def test_without_a_rule_something_has_to_be_known() -> None:
    with pytest.raises(InputInvalid) as refusal:
        own_compared(None)
    assert "report-run" in refusal.value.faults[0].allowed
