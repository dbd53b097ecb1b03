"""A stored block against a rule of thumb, by the weather on file."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid, WeatherInvalid
from service.operations.feedback.report_runs import RunReport, report_runs
from service.operations.review.compare_block import compare_block
from service.records.comparison import Against, Program, RuleOfThumb, YearFigures
from service.unit_sizes import L_PER_GALLON
from tests.api.invented_farm import BLOCK_ID, FARM_ID, FIRST_DAY, TODAY, FixedClock

AGAINST = Against(rule=RuleOfThumb(gross_mm_per_week=38.0))


def compared(
    service: Service, first_day: date | None = None, last_day: date | None = None
) -> tuple[YearFigures, ...]:
    return compare_block(
        BLOCK_ID,
        span=(first_day, last_day),
        against=AGAINST,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )


def test_the_weather_on_file_up_to_yesterday_is_used_by_default(own_service: Service) -> None:
    years = compared(own_service)
    assert [each.program for each in years] == [
        Program.RULE, Program.WEEKLY, Program.DAILY, Program.FORESEEN,
    ]  # fmt: skip
    assert {each.day_count for each in years} == {(TODAY - FIRST_DAY).days}


def test_days_before_the_weather_on_file_are_refused(own_service: Service) -> None:
    with pytest.raises(WeatherInvalid):
        compared(own_service, date(2025, 7, 1))
    with pytest.raises(WeatherInvalid):
        compared(own_service, date(2020, 1, 1), date(2020, 3, 1))


def test_a_span_must_rise_and_be_three_years_at_most(own_service: Service) -> None:
    for first, last in ((TODAY, date(2026, 7, 1)), (date(2020, 1, 1), TODAY)):
        with pytest.raises(InputInvalid, match="the comparison cannot run"):
            compared(own_service, first, last)


def test_what_was_run_is_one_more_row_with_the_days_that_are_known(own_service: Service) -> None:
    runs = [RunReport(BLOCK_ID, datetime(2026, 7, day, 9, tzinfo=UTC), 60.0) for day in (1, 4, 7)]
    with own_service.unit_of_work(write=True) as unit:
        report_runs(
            unit, runs, farm_id=FARM_ID, reporter="the grower",
            replanning=own_service.replanning,
        )  # fmt: skip
    (own,) = [each for each in compared(own_service) if each.program is Program.OWN]
    assert (own.known_day_count, own.is_whole) == (7, False)
    rate_mm_per_h = 2 * 0.5 * L_PER_GALLON / (10 * 18 / 12 * 0.3048**2)  # emitters over ground
    assert own.gross_mm == pytest.approx(3 * rate_mm_per_h)


def test_weather_that_ended_long_ago_is_compared_up_to_its_end(own_service: Service) -> None:
    clock = own_service.clock
    assert isinstance(clock, FixedClock)
    clock.instant += timedelta(days=40)
    assert {each.day_count for each in compared(own_service)} == {(TODAY - FIRST_DAY).days + 1}
