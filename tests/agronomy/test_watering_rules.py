"""The evening's rules, worked by hand. The thresholds are this project's choices."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.block_batch import BlockBatch
from service.agronomy.watering_rules import (
    WaterNeed,
    credited_rain_mm,
    net_rate_mm_per_min,
    pulse_limits,
    shortfall_mm,
    uniform_share,
    water_need,
)
from tests.agronomy.wetted_bulb import wetted_depth_m
from tests.factories import batch_of, make_block


def need_of(
    depletion_mm: float, credit_mm: float, crop_et_mm: float, raw_mm: float = 10.0, **block: Any
) -> WaterNeed:
    return water_need(
        np.array([depletion_mm]),
        rain_credit_mm=np.array([credit_mm]),
        crop_et_mm=np.array([crop_et_mm]),
        raw_mm=np.array([raw_mm]),
        system=batch_of(make_block(**block)).system,
    )


def test_likely_rain_is_credited_by_its_probability() -> None:
    credit = credited_rain_mm([5.0, 5.0, 5.0, 5.0], [1.0, 0.3, 0.299, 0.0])
    np.testing.assert_allclose(credit, [5.0, 1.5, 0.0, 0.0])


def test_rain_of_unknown_probability_is_not_credited_and_unknown_rain_stays_unknown() -> None:
    credit = credited_rain_mm([5.0, np.nan], [np.nan, 0.1])
    assert credit[0] == 0.0
    assert np.isnan(credit[1])


def test_below_the_trigger_nothing_is_needed() -> None:
    # RAW 10, trigger 7: 3.0 at midnight less 1.0 of rain plus 4.9 is 6.9.
    need = need_of(3.0, 1.0, 4.9)
    assert need.depletion_after_rain_mm[0] == pytest.approx(2.0)
    assert need.planned_depletion_mm[0] == pytest.approx(6.9)
    assert need.need_mm[0] == 0.0
    assert need.urgent_need_mm[0] == 0.0


def test_from_the_trigger_on_the_zone_is_filled_up_to_the_room_for_rain() -> None:
    need = need_of(2.0, 0.0, 5.0)
    assert need.planned_depletion_mm[0] == need.trigger_mm[0] == 7.0
    assert need.need_mm[0] == pytest.approx(4.0)  # 7 less 0.3 x 10
    assert need.urgent_need_mm[0] == 0.0


def test_the_part_beyond_raw_is_urgent() -> None:
    need = need_of(8.0, 0.0, 5.0)
    assert need.need_mm[0] == pytest.approx(10.0)
    assert need.urgent_need_mm[0] == pytest.approx(3.0)


def test_more_rain_than_depletion_leaves_a_full_zone_not_a_credit() -> None:
    need = need_of(2.0, 30.0, 5.0)
    assert need.depletion_after_rain_mm[0] == 0.0
    assert need.planned_depletion_mm[0] == 5.0


def test_planned_depletion_is_not_capped_where_a_day_uses_more_than_the_zone_gives() -> None:
    need = need_of(0.0, 0.0, 6.0, raw_mm=1.5)
    assert need.planned_depletion_mm[0] == 6.0
    assert need.need_mm[0] == pytest.approx(5.55)
    assert need.urgent_need_mm[0] == pytest.approx(4.5)


def test_the_grower_sets_trigger_and_rain_room() -> None:
    need = need_of(2.0, 0.0, 4.0, trigger_fraction=0.5, rain_room_fraction=0.1)
    assert need.need_mm[0] == pytest.approx(5.0)


def test_urgent_need_is_never_more_than_the_need() -> None:
    # A rain room beyond RAW leaves less need than what lies beyond RAW.
    need = need_of(8.0, 0.0, 5.0, rain_room_fraction=1.2)
    assert need.need_mm[0] == pytest.approx(1.0)
    assert need.urgent_need_mm[0] == pytest.approx(1.0)


@pytest.mark.parametrize("unknown", range(3))
def test_an_unknown_input_makes_the_need_unknown(unknown: int) -> None:
    given_mm = [5.0, 0.0, 4.0]
    given_mm[unknown] = np.nan
    need = need_of(*given_mm)
    assert np.isnan(need.need_mm[0])
    assert np.isnan(need.urgent_need_mm[0])


def limits_of(**block: Any) -> tuple[int, int, bool]:
    blocks = batch_of(make_block(**block))
    limits = pulse_limits(blocks.system, blocks.soil)
    return (
        int(limits.shortest_pulse_min[0]),
        int(limits.longest_pulse_min[0]),
        bool(limits.shortest_passes_depth[0]),
    )


def test_a_pulse_lasts_ten_minutes_or_three_fills_at_least() -> None:
    assert limits_of(fill_time_min=2.0)[0] == 10
    assert limits_of(fill_time_min=7.2)[0] == 22  # 21.6 rounded up


def test_the_longest_pulse_wets_six_tenths_of_the_root_depth() -> None:
    blocks = batch_of(make_block())
    limits = pulse_limits(blocks.system, blocks.soil)
    longest_min = int(limits.longest_pulse_min[0])
    # Schwartzman & Zur 1986 (from memory): the depth of the bulb from 2 L/h for that long.
    assert wetted_depth_m(2.0 * longest_min / 60.0, 2.0, 50.3) <= 0.6 * 0.45
    assert wetted_depth_m(2.0 * (longest_min + 1) / 60.0, 2.0, 50.3) > 0.6 * 0.45


def test_the_grower_may_shorten_pulses_but_not_below_the_shortest_useful_one() -> None:
    assert limits_of(longest_pulse_min=30.9)[1] == 30
    assert limits_of(longest_pulse_min=5.0)[:2] == (10, 10)


def test_where_the_shortest_pulse_wets_too_deep_it_stands_with_a_warning() -> None:
    shortest, longest, warns = limits_of(fill_time_min=25.0, root_depth_m=0.2)
    assert shortest == longest == 75
    assert warns
    assert not limits_of()[2]


@pytest.mark.parametrize("root_share", [1.0, 0.45])
def test_the_event_limit_is_the_net_depth_of_the_minutes_that_wet_the_whole_root_depth(
    root_share: float,
) -> None:
    # However few roots there are, the emitter wets to 0.45 m after the same 6.40 L (Schwartzman &
    # Zur 1986, from memory): 192 min at 2 L/h.
    blocks = batch_of(make_block(root_share_of_wetted=root_share))
    limits = pulse_limits(blocks.system, blocks.soil)
    minutes = limits.event_limit_mm / net_rate_mm_per_min(blocks.system, blocks.soil)
    assert minutes[0] == pytest.approx(192.0, abs=0.5)


def test_limits_of_a_block_that_is_not_fully_known_do_not_disturb_the_others() -> None:
    blocks = batch_of(make_block("a"), make_block("b", saturated_conductivity_mm_per_h=np.nan))
    limits = pulse_limits(blocks.system, blocks.soil)
    alone = batch_of(make_block("a"))
    expected = pulse_limits(alone.system, alone.soil)
    assert limits.longest_pulse_min[0] == expected.longest_pulse_min[0]
    assert np.isnan(limits.depth_limit_min[1])


def rates_of(**block: Any) -> tuple[float, BlockBatch]:
    blocks = batch_of(make_block(**block))
    return float(net_rate_mm_per_min(blocks.system, blocks.soil)[0]), blocks


def test_net_rate_is_what_the_low_quarter_brings_to_rooted_soil() -> None:
    # 2 L/h on 0.69 m2 is 2.89855 mm/h gross, x 0.9 x 0.5 / 60.
    rate, blocks = rates_of(root_share_of_wetted=0.5)
    assert rate == pytest.approx(2.0 / 0.69 * 0.9 * 0.5 / 60.0)
    assert float(uniform_share(blocks.system)[0]) == pytest.approx(0.9)


def test_leaching_and_transmission_count_only_where_set() -> None:
    plain, _ = rates_of()
    assert rates_of(transmission_ratio=1.05)[0] == pytest.approx(plain / 1.05)
    assert rates_of(leaching_fraction=0.08)[0] == pytest.approx(plain)  # NEH 623: 0.1 or less
    assert rates_of(leaching_fraction=0.2)[0] == pytest.approx(plain * 0.8)


def test_shortfall_is_what_lacks_below_raw_and_at_most_the_unmet_need() -> None:
    need = need_of(8.0, 0.0, 5.0)  # planned 13, need 10, RAW 10
    raw_mm = np.array([10.0])
    for net_mm, expected_mm in ((0.0, 3.0), (2.0, 1.0), (3.0, 0.0), (10.0, 0.0)):
        assert shortfall_mm(need, np.array([net_mm]), raw_mm)[0] == pytest.approx(expected_mm)
    roomy = need_of(8.0, 0.0, 5.0, rain_room_fraction=1.2)  # need 1, beyond RAW 3
    assert shortfall_mm(roomy, np.array([0.0]), raw_mm)[0] == pytest.approx(1.0)
    assert shortfall_mm(roomy, np.array([0.4]), raw_mm)[0] == pytest.approx(0.6)


def test_no_shortfall_without_a_need_and_an_unknown_one_where_the_need_is_unknown() -> None:
    raw_mm = np.array([10.0])
    assert shortfall_mm(need_of(1.0, 0.0, 2.0), np.array([0.0]), raw_mm)[0] == 0.0
    assert np.isnan(shortfall_mm(need_of(np.nan, 0.0, 2.0), np.array([np.nan]), raw_mm)[0])


depths = st.floats(0.0, 60.0)


@given(depletion_mm=depths, credit_mm=depths, more_mm=depths, crop_et_mm=depths, raw_mm=depths)
def test_more_credited_rain_never_asks_for_more_water(
    depletion_mm: float, credit_mm: float, more_mm: float, crop_et_mm: float, raw_mm: float
) -> None:
    dry = need_of(depletion_mm, credit_mm, crop_et_mm, raw_mm)
    wet = need_of(depletion_mm, credit_mm + more_mm, crop_et_mm, raw_mm)
    assert wet.need_mm[0] <= dry.need_mm[0]
    assert wet.urgent_need_mm[0] <= dry.urgent_need_mm[0]
    assert 0.0 <= dry.urgent_need_mm[0] <= dry.need_mm[0]


def test_rules_are_those_of_each_block_not_of_the_batch() -> None:
    blocks = batch_of(
        make_block("a"), make_block("b", trigger_fraction=0.4, emission_uniformity_pct=80.0)
    )
    flipped = replace(blocks.system, trigger_fraction=blocks.system.trigger_fraction[::-1].copy())
    facts = {
        "rain_credit_mm": np.zeros(2),
        "crop_et_mm": np.full(2, 3.0),
        "raw_mm": np.full(2, 10.0),
    }
    asked = water_need(np.full(2, 2.0), **facts, system=blocks.system)
    assert asked.need_mm.tolist() == [0.0, 2.0]
    assert water_need(np.full(2, 2.0), **facts, system=flipped).need_mm.tolist() == [2.0, 0.0]
