"""The season loop: each evening knows what an evening knows."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pytest

from service.agronomy.block_batch import BlockBatch
from service.agronomy.block_days import SiteDays, crop_days, days_of
from service.agronomy.daily_plan import plan_tomorrow, ready_min
from service.agronomy.records import CurveDefinition
from service.agronomy.season import SeasonRun, run_season
from service.agronomy.water_balance import step_day
from tests.agronomy.ledger_error import mass_balance_error_mm
from tests.factories import batch_of, even_days, make_block, windows_of

KC_ONE = CurveDefinition(basis="table", season_start=(1, 1), points=((7, 1, 1.0),))
AMPLE = np.array([1e9])


def run(
    blocks: BlockBatch,
    weather: SiteDays,
    forecast: SiteDays | None = None,
    *,
    start_mm: float = 0.0,
    windows: Any = ((240, 1260),),
    **options: Any,
) -> SeasonRun:
    count, day_count = blocks.area_m2.size, weather.days.size
    return run_season(
        lambda _year: blocks,
        weather,
        forecast or weather,
        windows_of_day=[windows_of(*[windows] * count)] * day_count,
        day_length_min=np.full(day_count, 1440),
        supply_flow_l_per_h=AMPLE,
        depletion_start_mm=np.full(count, start_mm),
        **options,
    )


def test_a_season_is_the_evening_plan_and_the_daily_step_in_turn() -> None:
    blocks = batch_of(make_block(curve=KC_ONE))
    et0_mm = np.array([4.0, 6.0, 5.0, 3.0, 7.0, 5.0])[:, None]
    rain_mm = np.array([0.0, 0.0, 9.0, 0.0, 0.0, 0.0])[:, None]
    weather = even_days(day_count=6, et0_mm=et0_mm, rain_mm=rain_mm)
    season = run(blocks, weather, start_mm=3.0)
    crop = crop_days(blocks, weather)
    depletion_mm, not_before_min = np.array([3.0]), np.array([0])
    for day in range(6):
        one = days_of(weather, day, day + 1)
        plan = plan_tomorrow(
            blocks,
            one,
            crop_days(blocks, one),
            depletion_midnight_mm=depletion_mm,
            windows=windows_of(((240, 1260),)),
            supply_flow_l_per_h=AMPLE,
            not_before_min=not_before_min,
        )
        ledger = step_day(
            depletion_mm,
            taw_mm=crop.taw_mm[day],
            raw_mm=crop.raw_mm[day],
            rain_entering_mm=crop.rain_entering_mm[day],
            crop_et_mm=crop.crop_et_mm[day],
            early_net_mm=plan.schedule.early_net_mm,
            day_net_mm=plan.schedule.day_net_mm,
        )
        depletion_mm = ledger.depletion_end_mm
        not_before_min = np.maximum(0, ready_min(plan.schedule) - 1440)
        assert season.planned_min[day, 0] == plan.schedule.planned_min[0]
        assert season.ledger.depletion_end_mm[day, 0] == pytest.approx(depletion_mm[0])
        assert season.rain_credit_mm[day, 0] == pytest.approx(rain_mm[day, 0] * 0.33)


def test_a_wrong_forecast_reaches_the_next_plan_only_a_day_later() -> None:
    # The forecast of day 0 was 8 mm too high. Its own plan and that of day 1 (made on the evening
    # of day 0, before the day was seen whole) rest on it; that of day 2 knows better.
    blocks = batch_of(make_block(curve=KC_ONE, root_depth_m=0.9))
    actual = even_days(day_count=4, et0_mm=np.array([1.0, 5.0, 5.0, 5.0])[:, None])
    expected = even_days(day_count=4, et0_mm=np.array([9.0, 5.0, 5.0, 5.0])[:, None])
    closed = run(blocks, actual, expected, start_mm=1.0, windows=())
    # Needs show what each evening expected: D1 + forecast ET - 0.3 RAW, beyond 0.7 RAW.
    raw_mm = crop_days(blocks, expected).raw_mm[:, 0]
    assert closed.need_mm[0, 0] == pytest.approx(1.0 + 9.0 - 0.3 * raw_mm[0])
    assert closed.need_mm[1, 0] == pytest.approx(1.0 + 9.0 + 5.0 - 0.3 * raw_mm[1])
    assert closed.need_mm[2, 0] == pytest.approx(1.0 + 1.0 + 5.0 + 5.0 - 0.3 * raw_mm[2])
    assert closed.ledger.depletion_end_mm[:, 0] == pytest.approx([2.0, 7.0, 12.0, 17.0], abs=0.5)


def test_rain_that_nobody_foresaw_drains_irrigation_and_is_told_apart_from_rain() -> None:
    # Roots of 0.9 m: watered on the first and the third day. On the third, 60 mm of rain fill the
    # zone in the night; of the 10 mm planned for that day the crop uses 5 and 5 drain.
    blocks = batch_of(make_block(curve=KC_ONE, root_depth_m=0.9))
    rain_mm = np.zeros((4, 1))
    rain_mm[2] = 60.0
    wet, dry = even_days(day_count=4, rain_mm=rain_mm), even_days(day_count=4)
    foreseen = run(blocks, wet, start_mm=6.0)
    surprised = run(blocks, wet, dry, start_mm=6.0)
    assert np.all(foreseen.ledger.irrigation_drainage_mm == 0.0)
    assert foreseen.planned_min[2, 0] == 0
    ledger = surprised.ledger
    net_mm = ledger.early_net_mm[2, 0] + ledger.day_net_mm[2, 0]
    assert net_mm == pytest.approx(10.0, abs=0.2)
    assert ledger.irrigation_drainage_mm[2, 0] == pytest.approx(net_mm - 5.0)
    before_rain_mm = ledger.depletion_end_mm[1, 0]
    assert ledger.rain_drainage_mm[2, 0] == pytest.approx(60.0 * 0.33 - before_rain_mm)
    assert np.abs(mass_balance_error_mm(ledger)).max() < 1e-9


def test_the_off_time_of_the_last_pulse_holds_across_midnight() -> None:
    # Only the last and first hour of the day are open: the pulse that ends at 24:00 keeps the
    # block off for as long again (off ratio 2, or 1 if the plan had to shorten it).
    blocks = batch_of(make_block(curve=KC_ONE, off_ratio=2.0))
    season = run(blocks, even_days(day_count=8), start_mm=6.0, windows=((0, 180), (1380, 1440)))
    for today, tomorrow in zip(season.pulses[:-1], season.pulses[1:], strict=True):
        if today.start_min.size and tomorrow.start_min.size:
            ends = today.start_min[-1] + today.duration_min[-1]
            gap_min = 1440 - ends + tomorrow.start_min[0]
            assert gap_min >= today.duration_min[-1]
    late = [pulses.start_min[-1] >= 1380 for pulses in season.pulses if pulses.start_min.size]
    assert any(late)


@pytest.mark.parametrize("day_length_min", [1380, 1440, 1500])
def test_the_length_of_the_day_counts_for_the_off_time(day_length_min: int) -> None:
    # The last hour of the first day holds one pulse of 60 min. Its off time is held across midnight
    # at one pulse length: until minute 60 of the second day, were the first of 23, 24 or 25 hours.
    blocks = batch_of(make_block(curve=KC_ONE, root_depth_m=0.9, daily_maximum_min=60.0))
    weather = even_days(day_count=2)
    season = run_season(
        lambda _year: blocks,
        weather,
        weather,
        windows_of_day=[
            windows_of(((day_length_min - 60, day_length_min),)),
            windows_of(((0, 600),)),
        ],
        day_length_min=np.full(2, day_length_min),
        supply_flow_l_per_h=AMPLE,
        depletion_start_mm=np.array([20.0]),
    )
    assert season.pulses[0].start_min.tolist() == [day_length_min - 60]
    assert season.pulses[0].duration_min.tolist() == [60]
    assert season.pulses[1].start_min[0] == 60


def test_degree_days_carry_over_the_new_year_and_the_sizes_change_with_it() -> None:
    heat = CurveDefinition(
        basis="degree-days",
        season_start=(11, 1),
        stage_knots=(500.0, 600.0, 2000.0, 3000.0),
        degree_day_floor_c=10.0,
    )
    young = make_block(
        curve=heat, planting_year=2021.0, root_depth_is_scaled=True, years_to_full_size=4.0
    )
    weather = even_days(day_count=4, first_day=date(2022, 12, 30), et0_mm=1.0)
    season = run_season(
        lambda year: batch_of(young, season_year=year),
        weather,
        weather,
        windows_of_day=[windows_of(((240, 1260),))] * 4,
        day_length_min=np.full(4, 1440),
        supply_flow_l_per_h=AMPLE,
        depletion_start_mm=np.zeros(1),
        degree_day_start_c_day=np.array([200.0]),
    )
    assert season.crop.degree_day_sum_c_day[:, 0].tolist() == [215.0, 230.0, 245.0, 260.0]
    # 0.4 + 0.6 age / 4 of 14.85 mm: ages 1 and 2.
    np.testing.assert_allclose(season.ledger.taw_mm[:, 0], 14.85 * np.array([0.55, 0.55, 0.7, 0.7]))


def test_many_blocks_give_what_each_gives_alone() -> None:
    blocks = [
        make_block("a", curve=KC_ONE),
        make_block("b", curve=KC_ONE, root_depth_m=0.2),
        make_block("c", curve=KC_ONE, emission_uniformity_pct=75.0),
    ]
    weather = even_days(day_count=10, et0_mm=4.0 + np.arange(10.0)[:, None] / 3.0)
    together = run(batch_of(*blocks), weather)
    for column, block in enumerate(blocks):
        alone = run(batch_of(block), weather)
        np.testing.assert_array_equal(together.planned_min[:, column], alone.planned_min[:, 0])
        np.testing.assert_array_equal(
            together.ledger.depletion_end_mm[:, column], alone.ledger.depletion_end_mm[:, 0]
        )


def test_an_unknown_day_makes_the_rest_of_the_block_unknown_and_no_other() -> None:
    blocks = batch_of(
        make_block("a", curve=KC_ONE),
        make_block("b", curve=KC_ONE, site_id="far"),
        site_ids=("hill", "far"),
    )
    et0_mm = np.full((6, 2), 5.0)
    et0_mm[2, 1] = np.nan
    season = run(blocks, even_days(day_count=6, site_count=2, et0_mm=et0_mm))
    alone = run(batch_of(make_block("a", curve=KC_ONE)), even_days(day_count=6))
    np.testing.assert_array_equal(season.planned_min[:, 0], alone.planned_min[:, 0])
    assert np.all(season.planned_min[2:, 1] == 0)
    assert np.isnan(season.ledger.depletion_end_mm[2:, 1]).all()


def test_progress_counts_the_days() -> None:
    reported: list[int] = []
    run(batch_of(make_block(curve=KC_ONE)), even_days(day_count=3), progress=reported.append)
    assert reported == [1, 2, 3]
