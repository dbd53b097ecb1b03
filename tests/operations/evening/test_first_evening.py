"""A season that is under way on the first evening: weather since winter, and no run known of then.

That the balance starts on the first evening is our choice: what was irrigated before is not known,
and a season counted as dry asks for all its water at once.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta

import numpy as np
import pytest

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.crop_table import CROPS
from service.agronomy.reasoning import PlanFlag
from service.bootstrap import Service
from service.operations.feedback.report_runs import RunReport, report_runs
from tests.api.invented_farm import TODAY
from tests.vines_farm import (
    BLOCK_ID,
    FIRST_WEATHER,
    FLOOR_C,
    TMAX_C,
    TMIN_C,
    bring_evening,
    ledger,
    load_vines,
    plan_of,
)


@pytest.fixture
def vines(own_service: Service) -> Service:
    """Vines that grow by degree days, with dry weather since January."""
    load_vines(own_service)
    return own_service


def test_the_balance_starts_on_the_first_evening_and_not_in_a_winter_without_known_runs(
    vines: Service,
) -> None:
    bring_evening(vines, TODAY)
    rows = ledger(vines)
    assert rows.days.tolist() == [TODAY]
    # Full in the morning, so it lacks what the vines used of one day.
    np.testing.assert_allclose(
        rows.numbers["depletion_end_mm"], rows.numbers["crop_et_mm"], rtol=1e-6
    )
    assert rows.flags[0] & PlanFlag.START_DEPLETION_ASSUMED


def test_degree_days_count_from_the_start_of_the_season_all_the_same(vines: Service) -> None:
    bring_evening(vines, TODAY)
    # Arithmetic: (30 + 16) / 2 - 10 = 13 °C d on each day from 6 January to 14 July.
    day_count = (TODAY - FIRST_WEATHER).days + 1
    degree_days = day_count * ((TMAX_C + TMIN_C) / 2.0 - FLOOR_C)
    assert ledger(vines).numbers["degree_day_sum_c_day"][0] == pytest.approx(degree_days)


def test_the_second_evening_continues_the_balance_of_the_first(vines: Service) -> None:
    bring_evening(vines, TODAY)
    bring_evening(vines, TODAY + ONE_DAY)
    rows = ledger(vines)
    assert rows.days.tolist() == [TODAY, TODAY + ONE_DAY]
    start, end = rows.numbers["depletion_start_mm"], rows.numbers["depletion_end_mm"]
    assert start[1] == pytest.approx(end[0])


def test_a_run_known_of_before_the_first_evening_starts_the_balance_earlier(
    vines: Service,
) -> None:
    earlier = TODAY - timedelta(days=6)
    run = RunReport(BLOCK_ID, datetime.fromisoformat(f"{earlier}T06:00:00-04:00"), 120.0)
    with vines.unit_of_work(write=True) as unit:
        report_runs(unit, [run], farm_id=None, reporter="the grower", replanning=vines.replanning)
    bring_evening(vines, TODAY)
    rows = ledger(vines)
    assert rows.days[0] == np.datetime64(earlier)
    assert rows.numbers["irrigation_gross_mm"][0] > 0


def test_books_that_begin_before_the_season_take_the_crop_as_resting_until_it_starts(
    own_service: Service,
) -> None:
    first, start = date(2026, 1, 1), date(2026, 3, 1)
    load_vines(own_service, f"balance_start = {first}", season_start="03-01")
    bring_evening(own_service, TODAY, weather_from=first)
    rows = ledger(own_service)
    assert rows.days[0] == np.datetime64(first)
    assert np.isfinite(rows.numbers["depletion_end_mm"]).all()
    is_before = rows.days < np.datetime64(start)
    np.testing.assert_allclose(
        rows.numbers["crop_coefficient"][is_before], CROPS["grape-wine"].kc_off_season, rtol=1e-6
    )
    # Arithmetic: 13 degree days on each day from 1 March on, none brought over from before.
    of_season = rows.numbers["degree_day_sum_c_day"][~is_before]
    assert of_season[0] == pytest.approx((TMAX_C + TMIN_C) / 2.0 - FLOOR_C)


def test_books_that_begin_within_the_season_count_its_degree_days_from_its_start(
    own_service: Service,
) -> None:
    first = TODAY - timedelta(days=10)
    load_vines(own_service, f"balance_start = {first}")
    bring_evening(own_service, TODAY)
    rows = ledger(own_service)
    assert rows.days[0] == np.datetime64(first)
    day_count = (first - FIRST_WEATHER).days + 1
    assert rows.numbers["degree_day_sum_c_day"][0] == pytest.approx(
        day_count * ((TMAX_C + TMIN_C) / 2.0 - FLOOR_C)
    )


def test_a_bridged_gap_settles_when_its_weather_comes(vines: Service) -> None:
    bring_evening(vines, TODAY)
    # Beyond the forecast of the first evening, which would stand in otherwise.
    gap = (TODAY + timedelta(days=9), TODAY + timedelta(days=14))
    later = TODAY + timedelta(days=16)
    bring_evening(vines, later, weather_from=TODAY, without=gap)
    assert plan_of(vines, later + ONE_DAY).status != "no-weather"
    bridged = ledger(vines)
    silent = (bridged.days >= np.datetime64(gap[0])) & (bridged.days <= np.datetime64(gap[1]))
    assert silent.sum() == 6
    assert not bridged.is_observed[silent].any()
    assert (bridged.flags[silent] & PlanFlag.REFERENCE_ET_FILLED != 0).all()
    assert settled_day(vines) == gap[0] - ONE_DAY
    bring_evening(vines, later, weather_from=gap[0])
    known = ledger(vines)
    assert known.is_observed[silent].all()
    assert not (known.flags & PlanFlag.REFERENCE_ET_FILLED).any()
    assert settled_day(vines) == later - ONE_DAY


def settled_day(service: Service) -> date:
    with service.unit_of_work(write=False) as unit:
        key = unit.blocks.get_block_key(BLOCK_ID)
        found: date = unit.ledger.read_states(np.array([key])).settled_day[0].item()
    return found
