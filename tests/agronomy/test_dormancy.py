"""The watering season of a block, and what a plan says outside it."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from service.agronomy.block_days import crop_days
from service.agronomy.crop_table import CROPS
from service.agronomy.daily_plan import coming_days, plan_tomorrow
from service.agronomy.dormancy import (
    WHOLE_YEAR,
    default_watering_season,
    dormant_days,
    is_dormant,
)
from service.agronomy.outlook import NEVER
from service.agronomy.pulse_plan import ShortfallCause
from service.agronomy.reasoning import one_sentence
from service.agronomy.records import CurveDefinition
from tests.factories import batch_of, even_days, make_block, windows_of

PEACH = CurveDefinition(
    basis="days", season_start=(3, 1), stage_knots=(20.0, 90.0, 210.0, 240.0)
)  # FAO-56 Table 11, stone fruit; the last day is 26 October


def test_the_season_of_the_crop_has_fourteen_days_before_and_after() -> None:
    # 15 February to 9 November.
    assert default_watering_season(PEACH, is_evergreen=False) == (46, 313)


def test_a_season_may_pass_the_turn_of_the_year() -> None:
    # 1 September + 240 days is 28 April: 18 August to 12 May.
    south = CurveDefinition(basis="days", season_start=(9, 1), stage_knots=PEACH.stage_knots)
    first, last = default_watering_season(south, is_evergreen=False)
    assert (first, last) == (230, 132)
    days = np.array(["2025-08-17", "2025-08-18", "2026-05-12", "2026-05-13"], "M8[D]")
    dormant = is_dormant(days, np.array([float(first)]), np.array([float(last)]))
    assert dormant[:, 0].tolist() == [True, False, False, True]


@pytest.mark.parametrize(
    ("curve", "crop_key"),
    [
        (PEACH, "citrus-70-bare"),
        (
            CurveDefinition(
                basis="degree-days",
                season_start=(1, 1),
                stage_knots=(200.0, 800.0, 2000.0, 3500.0),
                degree_day_floor_c=10.0,
            ),
            "grape-wine",
        ),
        (
            CurveDefinition(basis="table", season_start=(1, 1), points=((1, 1, 0.4), (12, 1, 0.4))),
            "blueberry",
        ),
        (
            CurveDefinition(
                basis="days", season_start=(2, 1), stage_knots=(60.0, 120.0, 250.0, 310.0)
            ),
            "blueberry",
        ),
    ],
)
def test_no_dormancy_where_the_crop_has_none(curve: CurveDefinition, crop_key: str) -> None:
    assert default_watering_season(curve, is_evergreen=CROPS[crop_key].is_evergreen) == WHOLE_YEAR


def test_a_table_of_ones_own_that_leaves_the_winter_out_has_a_dormancy() -> None:
    own = CurveDefinition(
        basis="table", season_start=(3, 15), points=((3, 15, 0.3), (6, 1, 1.0), (10, 31, 0.3))
    )
    assert default_watering_season(own, is_evergreen=False) == (60, 318)


def test_evergreen_crops_are_those_of_the_table_that_keep_their_leaves() -> None:
    evergreen = {key for key, row in CROPS.items() if row.is_evergreen}
    assert {"avocado", "olive", "date-palm", "banana-first-year", "citrus-70-bare"} <= evergreen
    assert evergreen.isdisjoint({"grape-wine", "blueberry", "apple-bare-frost"})


def test_a_block_without_known_days_is_watered_all_year() -> None:
    days = np.array(["2025-01-01", "2025-07-01"], "M8[D]")
    assert not is_dormant(days, np.array([np.nan]), np.array([np.nan])).any()
    assert dormant_days(date(2025, 1, 1), np.array([np.nan]), np.array([np.nan])) == 0.0


def test_a_leap_day_counts_as_the_day_before() -> None:
    days = np.array(["2024-02-28", "2024-02-29", "2024-03-01"], "M8[D]")
    dormant = is_dormant(days, np.array([60.0]), np.array([365.0]))
    assert dormant[:, 0].tolist() == [True, True, False]


def test_a_dormant_block_gets_no_water_and_its_balance_goes_on() -> None:
    blocks = batch_of(make_block(watering_start_doy=100.0, watering_end_doy=300.0))
    weather = even_days(first_day=date(2025, 4, 8), tmax_c=18.0, tmin_c=8.0)  # season from the 10th
    crop = crop_days(blocks, weather)
    windows = windows_of(((240, 1260),))
    plan = plan_tomorrow(
        blocks,
        weather,
        crop,
        depletion_midnight_mm=np.array([9.0]),
        windows=windows,
        supply_flow_l_per_h=np.array([1e9]),
    )
    outlook = coming_days(
        blocks,
        weather,
        crop,
        plan=plan,
        windows_of_day=[windows] * 7,
        supply_flow_l_per_h=np.array([1e9]),
    )
    assert crop.is_dormant[:, 0].tolist() == [True, True, *[False] * 5]
    assert plan.schedule.planned_min[0] == 0
    assert plan.need.need_mm[0] == plan.need.urgent_need_mm[0] == plan.shortfall_mm[0] == 0.0
    assert plan.schedule.cause[0] == ShortfallCause.DORMANT
    assert outlook.expected_min[:2, 0].tolist() == [0.0, 0.0]
    assert outlook.expected_min[2, 0] > 0.0
    assert outlook.depletion_end_mm[1, 0] > outlook.depletion_end_mm[0, 0] > 9.0
    assert outlook.keeps_up[0]


def test_a_block_that_rests_through_the_outlook_does_not_run_short() -> None:
    blocks = batch_of(make_block(watering_start_doy=200.0, watering_end_doy=300.0))
    weather = even_days(first_day=date(2025, 4, 8))
    crop = crop_days(blocks, weather)
    windows = windows_of(((240, 1260),))
    ample = np.array([1e9])
    plan = plan_tomorrow(
        blocks,
        weather,
        crop,
        depletion_midnight_mm=np.array([9.0]),
        windows=windows,
        supply_flow_l_per_h=ample,
    )
    outlook = coming_days(
        blocks,
        weather,
        crop,
        plan=plan,
        windows_of_day=[windows] * 7,
        supply_flow_l_per_h=ample,
    )
    assert outlook.unwatered_passes_raw_day[0] == NEVER
    assert outlook.keeps_up[0]


def test_the_sentence_of_a_dormant_block_says_so() -> None:
    numbers = {
        "planned_depletion_mm": 3.0, "trigger_mm": 7.0, "cause": float(ShortfallCause.DORMANT),
        "watering_start_doy": 46.0, "watering_end_doy": 313.0,
    }  # fmt: skip
    assert one_sentence(numbers, []) == (
        "Dormant: no water is planned outside the watering season, Feb 15 to Nov 9; the balance"
        " goes on."
    )


def test_days_until_the_season_are_counted_across_the_turn_of_the_year() -> None:
    ends = np.array([46.0]), np.array([313.0])
    assert dormant_days(date(2025, 11, 9), *ends).tolist() == [0.0]
    assert dormant_days(date(2025, 11, 10), *ends).tolist() == [97.0]
    assert dormant_days(date(2026, 2, 14), *ends).tolist() == [1.0]
