"""The coming week, worked by hand on even days."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from service.agronomy.block_batch import BlockBatch
from service.agronomy.outlook import (
    NEVER,
    Outlook,
    day_capacity_min,
    look_ahead,
    share_supplies,
)
from service.agronomy.records import WindowBatch
from service.agronomy.watering_rules import net_rate_mm_per_min, pulse_limits
from tests.factories import batch_of, make_block, windows_of

RATE = 2.0 / 0.69 * 0.9 / 60.0  # mm net a minute of the ordinary block
DAY = ((240, 1260),)


def ahead(
    blocks: BlockBatch | None = None,
    *,
    depletion_mm: float | list[float] = 2.0,
    planned_net_mm: float | list[float] = 0.0,
    crop_et_mm: Any = 5.0,
    rain_credit_mm: Any = 0.0,
    taw_mm: float = 20.0,
    raw_mm: float = 10.0,
    day_count: int = 7,
    windows: WindowBatch | None = None,
    supply_flow_l_per_h: float = 1e9,
) -> Outlook:
    batch = blocks or batch_of(make_block())
    count = batch.area_m2.size
    shape = (day_count, count)

    def over_days(value: Any) -> Any:
        return np.broadcast_to(np.asarray(value, dtype=np.float64), shape)

    return look_ahead(
        batch.system,
        crop_et_mm=over_days(crop_et_mm),
        is_dormant=over_days(0.0) > 0.0,
        rain_credit_mm=over_days(rain_credit_mm),
        taw_mm=over_days(taw_mm),
        raw_mm=over_days(raw_mm),
        depletion_midnight_mm=np.broadcast_to(np.asarray(depletion_mm, np.float64), (count,)),
        planned_net_mm=np.broadcast_to(np.asarray(planned_net_mm, np.float64), (count,)),
        planned_early_net_mm=np.broadcast_to(np.asarray(planned_net_mm, np.float64), (count,)),
        net_rate_mm_per_min=net_rate_mm_per_min(batch.system, batch.soil),
        limits=pulse_limits(batch.system, batch.soil),
        windows_of_day=[windows or windows_of(*[DAY] * count)] * day_count,
        supply_flow_l_per_h=np.array([supply_flow_l_per_h]),
    )


def test_tomorrow_gets_what_is_planned_and_later_days_what_the_rule_asks() -> None:
    # RAW 10, trigger 7, rain room 3. Tomorrow 2 + 5 - 4 = 3; then 3 + 5 = 8 asks 5, and so on.
    outlook = ahead(planned_net_mm=4.0)
    np.testing.assert_allclose(outlook.depletion_end_mm[:, 0], 3.0)
    np.testing.assert_allclose(outlook.expected_min[0, 0], 4.0 / RATE)
    np.testing.assert_allclose(outlook.expected_min[1:, 0], 5.0 / RATE)


def test_days_below_the_trigger_get_no_minutes() -> None:
    # 2 a day from full: 2, 4, 6, then 8 passes the trigger of 7 and asks 5.
    outlook = ahead(depletion_mm=0.0, crop_et_mm=2.0, day_count=4)
    np.testing.assert_allclose(outlook.depletion_end_mm[:, 0], [2.0, 4.0, 6.0, 3.0])
    np.testing.assert_allclose(outlook.expected_min[:, 0], [0.0, 0.0, 0.0, 5.0 / RATE])


def test_an_unwatered_block_passes_raw_on_the_day_its_depletion_does() -> None:
    # 2 + 3 x 3 = 11 on the third day; with 4 mm of rain that day only on the fifth.
    assert ahead(crop_et_mm=3.0).unwatered_passes_raw_day.tolist() == [2]
    rain_mm = np.zeros((7, 1))
    rain_mm[2] = 4.0
    assert ahead(crop_et_mm=3.0, rain_credit_mm=rain_mm).unwatered_passes_raw_day.tolist() == [4]


def test_rain_beyond_the_depletion_is_no_store_for_later() -> None:
    rain_mm = np.zeros((7, 1))
    rain_mm[0] = 100.0
    # From full after the rain: 3, 6, 9, 12.
    assert ahead(crop_et_mm=3.0, rain_credit_mm=rain_mm).unwatered_passes_raw_day.tolist() == [3]


def test_a_block_that_does_not_run_short_within_the_days_never_does() -> None:
    assert ahead(crop_et_mm=1.0).unwatered_passes_raw_day.tolist() == [NEVER]


def test_a_system_that_can_give_the_need_keeps_up() -> None:
    assert ahead(planned_net_mm=4.0).keeps_up.tolist() == [True]


def test_a_system_with_too_few_minutes_does_not_keep_up() -> None:
    # 60 minutes give 2.6 mm of the 5 used: 2 + 5 - 2.6 = 4.4, 6.8, 9.2, then 11.6 less what is not
    # used beyond RAW: 20 - 10 exp(-1.6 / 10).
    blocks = batch_of(make_block(daily_maximum_min=60.0))
    outlook = ahead(blocks, planned_net_mm=60.0 * RATE, day_count=4)
    gain_mm = 5.0 - 60.0 * RATE
    linear_mm = 2.0 + gain_mm * np.arange(1, 5)
    linear_mm[3] = 20.0 - 10.0 * np.exp(-(linear_mm[3] - 10.0) / 10.0)
    np.testing.assert_allclose(outlook.depletion_end_mm[:, 0], linear_mm, atol=1e-9)
    np.testing.assert_allclose(outlook.expected_min[1:, 0], 60.0)
    assert outlook.keeps_up.tolist() == [False]
    assert ahead(blocks, planned_net_mm=60.0 * RATE, day_count=3).keeps_up.tolist() == [True]


def test_depletion_never_passes_what_the_zone_holds() -> None:
    # 7, then 2 mm of ET beyond RAW: 20 - 10 exp(-0.2), and 5 more each day.
    blocks = batch_of(make_block(daily_maximum_min=0.0))
    outlook = ahead(blocks, day_count=6)
    beyond_mm = np.array([2.0, 7.0, 12.0, 17.0, 22.0])
    np.testing.assert_allclose(
        outlook.depletion_end_mm[:, 0], [7.0, *(20.0 - 10.0 * np.exp(-beyond_mm / 10.0))]
    )


def test_a_short_supply_is_shared_in_proportion() -> None:
    # Two blocks of 11,594 L/h on a supply of 11,594 L/h, open 100 minutes a day.
    blocks = batch_of(make_block("a"), make_block("b"))
    flow_l_per_h = float(blocks.system.flow_l_per_h[0])
    outlook = ahead(
        blocks,
        day_count=2,
        crop_et_mm=[5.0, 5.0],
        depletion_mm=[5.0, 5.0],
        planned_net_mm=0.0,
        windows=windows_of(((240, 340),), ((240, 340),)),
        supply_flow_l_per_h=flow_l_per_h,
    )
    np.testing.assert_allclose(outlook.expected_min[1], [50.0, 50.0], atol=1e-4)


def test_an_unknown_day_is_unknown_from_then_on_and_for_that_block_alone() -> None:
    crop_et_mm = np.full((5, 2), 5.0)
    crop_et_mm[2, 0] = np.nan
    blocks = batch_of(make_block("a"), make_block("b"))
    outlook = ahead(blocks, day_count=5, crop_et_mm=crop_et_mm, planned_net_mm=[4.0, 4.0])
    assert np.isnan(outlook.depletion_end_mm[:, 0]).tolist() == [False, False, True, True, True]
    np.testing.assert_allclose(outlook.depletion_end_mm[:, 1], 3.0)
    np.testing.assert_allclose(outlook.expected_min[1:, 1], 5.0 / RATE)


def test_blocks_of_different_need_get_different_minutes_of_a_short_supply() -> None:
    # Both could run 300 minutes at most; 300 L are there: 400 s + 320 s = 300, 167 and 133 min.
    # In proportion to what they could run, each would be shown 150.
    blocks = np.zeros(2, dtype=np.int64)
    minutes = share_supplies(
        np.array([400.0, 320.0]),
        np.array([300.0, 300.0]),
        flow_l_per_h=np.array([60.0, 60.0]),
        supply_index=blocks,
        priority=blocks,
        carried_l=np.array([300.0]),
    )
    np.testing.assert_allclose(minutes, [400.0 * 5.0 / 12.0, 320.0 * 5.0 / 12.0], atol=1e-3)


def test_blocks_of_a_lower_rank_get_what_the_higher_leave_of_a_short_supply() -> None:
    # 100 min of one block's flow; the second asks 80 and is served first.
    minutes = share_supplies(
        np.array([80.0, 80.0, 40.0, np.nan]),
        np.full(4, 600.0),
        flow_l_per_h=np.full(4, 60.0),
        supply_index=np.zeros(4, dtype=np.int64),
        priority=np.array([5, 1, 5, 1]),
        carried_l=np.array([100.0]),
    )
    assert minutes[:3].tolist() == pytest.approx([20 * 80 / 120, 80.0, 20 * 40 / 120], abs=1e-3)
    assert np.isnan(minutes[3])


def test_a_block_that_can_have_no_more_leaves_the_rest_of_a_supply_to_the_others() -> None:
    # The first can run 50 minutes whatever there is; of 400 L the second gets 350.
    minutes = share_supplies(
        np.array([100.0, 400.0, 30.0]),
        np.array([50.0, 400.0, 300.0]),
        flow_l_per_h=np.array([60.0, 60.0, 60.0]),
        supply_index=np.array([0, 0, 1]),
        priority=np.full(3, 5),
        carried_l=np.array([400.0, 1000.0]),
    )
    np.testing.assert_allclose(minutes, [50.0, 350.0, 30.0], atol=1e-3)


def capacity_of(*spans: tuple[int, int], **block: Any) -> float:
    blocks = batch_of(make_block(**block))
    limits = pulse_limits(blocks.system, blocks.soil)
    return float(day_capacity_min(blocks.system, limits, windows_of(spans))[0])


def test_capacity_shares_the_window_between_pulses_and_off_times() -> None:
    # Seven pulses of 78.46 min with six rests as long fill the 1020 minutes.
    assert capacity_of((240, 1260)) == pytest.approx(1020.0 * 7.0 / 13.0)
    assert capacity_of((240, 1260), daily_maximum_min=120.0) == 120.0
    assert capacity_of() == 0.0


def test_capacity_of_a_short_window_is_one_pulse() -> None:
    assert capacity_of((240, 300)) == 60.0


def test_no_supply_at_all_is_not_needed_where_no_block_asks() -> None:
    outlook = ahead(crop_et_mm=0.5, supply_flow_l_per_h=1.0)
    np.testing.assert_array_equal(outlook.expected_min, 0.0)
