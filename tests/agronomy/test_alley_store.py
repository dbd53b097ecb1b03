"""The store outside the wet strip: only rain fills it, the crop empties it first.

That a crop takes first what rain has left outside the strip is our choice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from service.agronomy.alley_store import alley_days, alley_share
from service.agronomy.block_batch import BlockBatch
from service.agronomy.block_days import (
    CropDays,
    SiteDays,
    crop_days,
    expected_crop_days,
    with_alley,
)
from service.agronomy.daily_plan import keep_ledger, plan_tomorrow
from service.agronomy.records import CurveDefinition, Floats
from service.agronomy.season import SeasonRun, run_season
from tests.factories import batch_of, even_days, make_block, windows_of

KC_ONE = CurveDefinition(basis="table", season_start=(1, 1), points=((7, 1, 1.0),))
DAY_COUNT = 60
RAIN = arrays(
    np.float64,
    (DAY_COUNT, 1),
    elements=st.one_of(st.just(0.0), st.just(0.0), st.floats(0.0, 60.0)),
)
ET0 = arrays(np.float64, (DAY_COUNT, 1), elements=st.floats(0.5, 9.0))
FRACTIONS = st.floats(0.0, 1.0)
AMPLE = np.array([1e9])


def blocks_with(*fractions: float, **changes: float) -> BlockBatch:
    """Blocks that differ only in their roots outside the strip, which wets a third."""
    return batch_of(
        *(
            make_block(f"b{place}", curve=KC_ONE, alley_root_fraction=fraction, **changes)
            for place, fraction in enumerate(fractions)
        )
    )


def days_with_alley(blocks: BlockBatch, weather: SiteDays, start_mm: float = 0.0) -> CropDays:
    crop = crop_days(blocks, weather)
    start = np.full(blocks.area_m2.size, start_mm)
    return with_alley(crop, start, rain_mm=crop.alley_rain_mm)


def season_of(blocks: BlockBatch, weather: SiteDays, forecast: SiteDays | None = None) -> SeasonRun:
    count, day_count = blocks.area_m2.size, weather.days.size
    return run_season(
        lambda _year: blocks,
        weather,
        forecast or weather,
        windows_of_day=[windows_of(*[((0, 1440),)] * count)] * day_count,
        day_length_min=np.full(day_count, 1440),
        supply_flow_l_per_h=AMPLE,
        depletion_start_mm=np.zeros(count),
    )


@given(RAIN, ET0, FRACTIONS, st.floats(0.0, 40.0))
def test_what_rain_brings_is_stored_used_or_drained(
    rain_mm: Floats, et0_mm: Floats, fraction: float, start_mm: float
) -> None:
    weather = even_days(day_count=DAY_COUNT, et0_mm=et0_mm, rain_mm=rain_mm)
    crop = days_with_alley(blocks_with(fraction), weather, start_mm)
    if not crop.has_alley[0]:
        start_mm = 0.0
    brought = crop.alley_rain_mm.sum()
    left = crop.alley_store_mm[-1, 0] - start_mm
    spent = crop.alley_et_mm.sum() + crop.alley_drainage_mm.sum()
    assert brought == pytest.approx(left + spent, abs=1e-9)
    assert np.all(crop.alley_store_mm >= 0.0)
    assert np.all(crop.alley_store_mm <= crop.alley_capacity_mm)
    assert np.all(crop.alley_et_mm <= crop.crop_et_mm)


@given(RAIN, ET0, FRACTIONS)
def test_the_ledger_of_the_zone_closes_with_what_came_from_outside(
    rain_mm: Floats, et0_mm: Floats, fraction: float
) -> None:
    weather = even_days(day_count=DAY_COUNT, et0_mm=et0_mm, rain_mm=rain_mm)
    crop = days_with_alley(blocks_with(fraction), weather)
    nothing = np.zeros((DAY_COUNT, 1))
    ledger = keep_ledger(
        np.zeros(1),
        crop,
        first_day_index=np.zeros(1, dtype=np.int64),
        early_net_mm=nothing,
        day_net_mm=nothing,
    )
    from_zone_mm = ledger.actual_crop_et_mm - crop.alley_et_mm
    change_mm = ledger.depletion_end_mm - ledger.depletion_start_mm
    booked_mm = from_zone_mm - ledger.rain_entering_mm + ledger.rain_drainage_mm
    np.testing.assert_allclose(change_mm, booked_mm, atol=1e-9)
    np.testing.assert_array_equal(ledger.crop_et_mm, crop.crop_et_mm)
    np.testing.assert_allclose(
        ledger.stress_ratio * crop.crop_et_mm, ledger.actual_crop_et_mm, atol=1e-9
    )
    assert np.all(ledger.stress_ratio <= 1.0 + 1e-12)


@given(RAIN, ET0, FRACTIONS, FRACTIONS)
def test_more_roots_outside_never_ask_more_of_the_zone_on_any_day(
    rain_mm: Floats, et0_mm: Floats, one: float, other: float
) -> None:
    weather = even_days(day_count=DAY_COUNT, et0_mm=et0_mm, rain_mm=rain_mm)
    crop = days_with_alley(blocks_with(min(one, other), max(one, other)), weather)
    assert np.all(crop.zone_et_mm[:, 1] <= crop.zone_et_mm[:, 0] + 1e-9)


@settings(max_examples=40)  # each is two seasons
@given(RAIN, ET0, FRACTIONS, FRACTIONS)
def test_more_roots_outside_never_ask_more_water_in_a_season(
    rain_mm: Floats, et0_mm: Floats, one: float, other: float
) -> None:
    # With trigger and rain room at one depletion a block is watered whenever it passes it, so that
    # no season ends with one block just watered and the other about to be; what is left of that
    # is less than a pulse.
    weather = even_days(day_count=DAY_COUNT, et0_mm=et0_mm, rain_mm=rain_mm)
    rules = {"trigger_fraction": 0.301, "rain_room_fraction": 0.3, "fill_time_min": 0.0}
    blocks = blocks_with(min(one, other), max(one, other), **rules)
    season = season_of(blocks, weather)
    asked_mm = (season.ledger.early_net_mm + season.ledger.day_net_mm).sum(axis=0)
    pulse_mm = season.ledger.raw_mm.max() * 0.001 + 10.0 * 0.05
    assert asked_mm[1] <= asked_mm[0] + pulse_mm


def test_without_roots_outside_a_season_is_what_it_was_to_the_last_bit() -> None:
    rain_mm = np.where(np.arange(DAY_COUNT) % 7 == 3, 14.0, 0.0)[:, None]
    weather = even_days(day_count=DAY_COUNT, rain_mm=rain_mm)
    dry = even_days(day_count=DAY_COUNT)
    alone = season_of(blocks_with(0.0), weather, dry)
    beside = season_of(blocks_with(0.0, 1.0), weather, dry)
    for name in ("depletion_end_mm", "actual_crop_et_mm", "stress_ratio", "early_net_mm"):
        np.testing.assert_array_equal(
            getattr(beside.ledger, name)[:, 0], getattr(alone.ledger, name)[:, 0]
        )
    np.testing.assert_array_equal(beside.gross_mm[:, 0], alone.gross_mm[:, 0])
    foreseen = season_of(blocks_with(0.0, 1.0), weather).gross_mm.sum(axis=0)
    assert foreseen[1] < foreseen[0]
    crop = crop_days(blocks_with(0.0), weather)
    assert with_alley(crop, np.zeros(1), rain_mm=crop.alley_rain_mm) is crop


def test_a_rainy_day_by_hand() -> None:
    # 12 mm of rain on 0.67 x 0.5 of the ground: 4.02 mm. The store holds 0.5 x 45 mm x 0.335 =
    # 7.5375 mm. The crop uses 5 mm a day: all of the 4.02 mm, and 0.98 mm of the strip.
    rain_mm = np.array([12.0, 0.0, 40.0, 0.0])[:, None]
    weather = even_days(day_count=4, rain_mm=rain_mm)
    crop = days_with_alley(blocks_with(0.5), weather)
    assert crop.alley_capacity_mm[0, 0] == pytest.approx(7.5375)
    assert crop.alley_rain_mm[:, 0] == pytest.approx([4.02, 0.0, 13.4, 0.0])
    assert crop.alley_et_mm[:, 0] == pytest.approx([4.02, 0.0, 5.0, 2.5375])
    assert crop.alley_drainage_mm[:, 0] == pytest.approx([0.0, 0.0, 5.8625, 0.0])
    assert crop.zone_et_mm[:, 0] == pytest.approx([0.98, 5.0, 0.0, 2.4625])
    np.testing.assert_allclose(crop.alley_start_mm[:, 0], [0.0, 0.0, 0.0, 2.5375], atol=1e-12)


def test_rain_that_only_evaporates_or_runs_off_does_not_fill_it() -> None:
    light = even_days(day_count=1, rain_mm=np.array([[0.9]]))  # less than a fifth of 5 mm
    assert days_with_alley(blocks_with(1.0), light).alley_rain_mm[0, 0] == 0.0
    # CN 75 takes 9.287 mm off 50 mm (SCS, from memory).
    heavy = even_days(day_count=1, rain_mm=np.array([[50.0]]))
    found = days_with_alley(blocks_with(1.0, curve_number=75.0), heavy).alley_rain_mm[0, 0]
    assert found == pytest.approx((50.0 - 9.287) * 0.67, abs=1e-3)


def test_a_store_that_becomes_smaller_drains_what_it_cannot_hold() -> None:
    days = alley_days(
        np.array([8.0]),
        rain_mm=np.zeros((1, 1)),
        crop_et_mm=np.zeros((1, 1)),
        capacity_mm=np.full((1, 1), 3.0),
    )
    assert (days.store_mm[0, 0], days.drainage_mm[0, 0]) == (3.0, 5.0)


def test_a_forecast_counts_by_its_chance_there_too() -> None:
    blocks = blocks_with(0.5)
    weather = replace(
        even_days(day_count=3, rain_mm=np.full((3, 1), 12.0)),
        rain_probability_fraction=np.array([[0.5], [0.2], [1.0]]),
    )
    crop = expected_crop_days(
        blocks,
        weather,
        degree_day_start_c_day=np.array([np.nan]),
        alley_store_start_mm=np.array([np.nan]),
    )
    assert crop.alley_rain_mm[:, 0] == pytest.approx([2.01, 0.0, 4.02])


def test_the_plan_asks_for_less_by_what_is_stored() -> None:
    blocks = blocks_with(0.5)
    weather = even_days(day_count=1)
    plans = [
        plan_tomorrow(
            blocks,
            weather,
            days_with_alley(blocks, weather, start_mm),
            depletion_midnight_mm=np.array([5.0]),
            windows=windows_of(((0, 1440),)),
            supply_flow_l_per_h=AMPLE,
        )
        for start_mm in (0.0, 3.0)
    ]
    needs_mm = [plan.need.need_mm[0] for plan in plans]
    assert needs_mm[0] - needs_mm[1] == pytest.approx(3.0)
    assert [plan.alley_et_mm[0] for plan in plans] == [0.0, 3.0]
    # The share that is easy to take up follows the whole use of the crop.
    assert plans[0].raw_mm[0] == plans[1].raw_mm[0]


def test_an_evening_starts_from_the_store_as_it_was_and_not_as_it_was_forecast() -> None:
    # 30 mm fall on day 0 that nobody foresaw: 0.67 x 0.5 x 30 = 10.05 mm reach a store of 7.5375,
    # and the crop takes 5 of it. The evening of day 0 still expects an empty store, so the plan of
    # day 1 counts on nothing; that of day 2 was made knowing what day 0 had left, 2.5375 mm, all
    # of which is used on day 1. On day 3 it rains again as foreseen.
    rain_mm = np.array([30.0, 0.0, 0.0, 9.0])[:, None]
    dry_mm = np.array([0.0, 0.0, 0.0, 9.0])[:, None]
    closed = run_season(
        lambda _year: blocks_with(0.5, root_depth_m=0.45),
        even_days(day_count=4, rain_mm=rain_mm),
        even_days(day_count=4, rain_mm=dry_mm),
        windows_of_day=[windows_of(())] * 4,
        day_length_min=np.full(4, 1440),
        supply_flow_l_per_h=AMPLE,
        depletion_start_mm=np.zeros(1),
    )
    assert closed.crop.alley_et_mm[:, 0] == pytest.approx([5.0, 2.5375, 0.0, 3.015])
    # Depletion after rain and use as planned, from the needs: D_plan = need + 0.3 RAW.
    raw_mm = closed.crop.raw_mm[:, 0]
    planned_mm = closed.need_mm[:, 0] + 0.3 * raw_mm
    assert planned_mm[1] == pytest.approx(5.0 + 5.0)
    assert planned_mm[2] == pytest.approx(0.0 + (5.0 - 2.5375) + 5.0)


def test_roots_reach_out_as_the_canopy_does() -> None:
    young = batch_of(
        make_block("young", alley_root_fraction=0.5, planting_year=2023.0),
        make_block("grown", alley_root_fraction=0.5),
        make_block("none"),
        make_block("old", alley_root_fraction=np.nan),
    ).alley_share
    # At planting 0.02 of the canopy of full size is there.
    assert young == pytest.approx([0.67 * 0.5 * 0.02, 0.67 * 0.5, 0.0, 0.0])
    assert alley_share(1.0, 1.0, 1.0) == 0.0


def test_a_day_of_unknown_weather_leaves_other_blocks_alone() -> None:
    rain_mm = np.array([12.0, np.nan, 12.0])[:, None]
    crop = days_with_alley(blocks_with(0.5, 0.0), even_days(day_count=3, rain_mm=rain_mm))
    assert np.isnan(crop.zone_et_mm[1:, 0]).all()
    np.testing.assert_array_equal(crop.zone_et_mm[:, 1], crop.crop_et_mm[:, 1])
