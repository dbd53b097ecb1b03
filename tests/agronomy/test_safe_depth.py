"""The safe depth under a forecast with a spread: what it is made of, and how it moves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.agronomy.records import Floats, SoilBatch
from service.agronomy.risk_attitude import COST_RATIOS, CostRatios, RiskAttitude, costs_of
from service.agronomy.risk_guard import (
    RiskGuard,
    WeighedRisk,
    guarded_credit_mm,
    risk_guards,
)
from service.agronomy.safe_depth import CHUNK_BLOCKS, RiskDays, SafeDepth, safe_depth
from service.agronomy.watering_rules import WaterNeed
from service.agronomy.weather_members import (
    MemberBatch,
    MemberOrigin,
    no_members,
    weighted_quantile,
)

DAYS = np.arange("2026-07-01", "2026-07-06", dtype="datetime64[D]")


def members_of(rain_mm: Floats, et0_mm: Floats, weights: Floats | None = None) -> MemberBatch:
    """Members (sites, members, days), of equal weight unless weights are given."""
    if weights is None:
        weights = np.full(rain_mm.shape[:2], 1.0 / rain_mm.shape[1])
    origin = np.full(rain_mm.shape[0], MemberOrigin.ENSEMBLE, dtype=np.int64)
    return MemberBatch(DAYS, rain_mm, et0_mm, weights, origin)


def random_members(sites: int = 4, members: int = 31, seed: int = 1) -> MemberBatch:
    """Invented courses in which four days in ten are wet."""
    random = np.random.default_rng(seed)
    shape = (sites, members, DAYS.size)
    rain = np.where(random.random(shape) < 0.4, random.gamma(0.8, 8.0, shape), 0.0)
    return members_of(rain, random.uniform(2.0, 7.0, shape))


def risk_days(depletion_mm: Floats, *, taw_mm: float = 40.0, site_count: int = 4) -> RiskDays:
    """Blocks with RAW half of TAW at 5 mm, all ground wet, on sites in turn."""
    shape = (DAYS.size, depletion_mm.size)
    one = np.ones(depletion_mm.size)
    return RiskDays(
        site_index=np.arange(depletion_mm.size) % site_count,
        soil=SoilBatch(one, 0 * one, one, one, one, one, 0 * one, one, np.nan * one),
        depletion_midnight_mm=depletion_mm,
        crop_coefficient=np.ones(shape),
        zone_share=np.ones(shape),
        taw_mm=np.full(shape, taw_mm),
        table_depletion_fraction=0.5 * one,
        is_dormant=np.zeros(shape, dtype=np.bool_),
        later_day_mm=9.0 * one,
        rain_room_fraction=0.3 * one,
    )


def balanced(count: int, attitude: RiskAttitude = RiskAttitude.BALANCED) -> CostRatios:
    return costs_of(np.full(count, attitude))


def test_with_one_member_and_no_fill_the_depth_is_what_passes_readily_available_water() -> None:
    alone = members_of(np.zeros((1, 1, 5)), np.full((1, 1, 5), 5.0))
    days = risk_days(np.array([10.0, 18.0]), site_count=1)
    depth = safe_depth(days, alone, balanced(2), fill_share=0.0)
    # 18 + 5 - 20 is needed tomorrow; 10 mm last three days, and each later day can add 9.
    assert depth.need_mm.tolist() == [0.0, 3.0]
    assert depth.planned_depletion_mm.tolist() == [15.0, 23.0]


def test_a_system_that_adds_little_on_a_day_begins_earlier() -> None:
    alone = members_of(np.zeros((1, 1, 5)), np.full((1, 1, 5), 5.0))
    days = replace(risk_days(np.array([10.0]), site_count=1), later_day_mm=np.array([4.0]))
    # Without water 35 mm are missing on day 5, 20 are allowed; four later days add 16 of the 15.
    assert safe_depth(days, alone, balanced(1), fill_share=0.0).must_mm.tolist() == [0.0]
    slow = replace(days, later_day_mm=np.array([2.0]))
    assert safe_depth(slow, alone, balanced(1), fill_share=0.0).must_mm.tolist() == [7.0]


def test_half_of_what_would_still_fit_is_given_along() -> None:
    alone = members_of(np.zeros((1, 1, 5)), np.full((1, 1, 5), 5.0))
    depth = safe_depth(risk_days(np.array([18.0]), site_count=1), alone, balanced(1))
    assert depth.fill_mm.tolist() == [17.0]  # 23 less the room for rain, 0.3 of 20
    assert depth.need_mm.tolist() == [3.0 + 0.5 * 14.0]


def test_quantiles_are_those_of_the_members_also_with_unequal_weights_and_missing_ones() -> None:
    random = np.random.default_rng(5)
    batch = random_members(sites=3)
    weights = random.uniform(0.1, 1.0, (3, 31))
    weights[1] = 1.0
    weights[1:, 20:] = 0.0
    weights /= weights.sum(axis=1, keepdims=True)
    missing = weights[..., np.newaxis] > 0.0
    batch = replace(
        batch,
        weights=weights,
        rain_mm=np.where(missing, batch.rain_mm, np.nan),
        et0_mm=np.where(missing, batch.et0_mm, np.nan),
    )
    days = risk_days(np.full(3, 15.0), site_count=3)
    depth = safe_depth(days, batch, balanced(3))
    entering = np.where(
        batch.rain_mm[:, :, 0] < 0.2 * batch.et0_mm[:, :, 0], 0.0, batch.rain_mm[:, :, 0]
    )
    left = np.maximum(0.0, 15.0 - entering) + batch.et0_mm[:, :, 0]
    expected = weighted_quantile(left, weights, 1.0 - depth.credit_fraction)
    assert depth.planned_depletion_mm == pytest.approx(expected, abs=1e-12)
    credit = weighted_quantile(entering, weights, depth.credit_fraction)
    assert depth.rain_credit_mm == pytest.approx(credit, abs=1e-12)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), cost=st.floats(1.0, 200.0), more=st.floats(0.0, 300.0))
def test_depth_rises_with_depletion_and_with_what_thirst_costs(
    seed: int, cost: float, more: float
) -> None:
    depletion = np.linspace(0.0, 30.0, 16)
    batch = random_members(sites=1, seed=seed)
    days = risk_days(depletion, site_count=1)
    one = np.ones(16)
    low = safe_depth(days, batch, CostRatios(one, one, cost * one))
    assert (np.diff(low.need_mm) >= -1e-9).all()
    high = safe_depth(days, batch, CostRatios(one, one, (cost + more) * one))
    assert (high.must_mm >= low.must_mm - 1e-9).all()
    assert (high.need_mm[high.must_mm == 0.0] == 0.0).all()


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), rain=st.floats(0.0, 20.0))
def test_depth_falls_with_more_rain_in_every_member(seed: int, rain: float) -> None:
    days = risk_days(np.linspace(0.0, 30.0, 16), site_count=1)
    batch = random_members(sites=1, seed=seed)
    wetter = replace(batch, rain_mm=batch.rain_mm + rain)
    dry, wet = (safe_depth(days, each, balanced(16)) for each in (batch, wetter))
    assert (wet.must_mm <= dry.must_mm + 1e-9).all()
    assert (wet.need_mm <= dry.need_mm + 1e-9).all()
    assert (wet.rain_credit_mm >= dry.rain_credit_mm - 1e-9).all()


def test_a_dry_copy_of_every_member_never_lowers_the_depth() -> None:
    batch = random_members(sites=1)
    doubled = members_of(
        np.concatenate([batch.rain_mm, 0.0 * batch.rain_mm], axis=1),
        np.concatenate([batch.et0_mm, batch.et0_mm], axis=1),
    )
    days = risk_days(np.linspace(0.0, 30.0, 31), site_count=1)
    before, after = (safe_depth(days, each, balanced(31)) for each in (batch, doubled))
    assert (after.must_mm >= before.must_mm - 1e-9).all()


def test_blocks_are_decided_alike_alone_and_among_thousands() -> None:
    depletion = np.linspace(0.0, 30.0, CHUNK_BLOCKS + 7)
    batch = random_members()
    whole = safe_depth(risk_days(depletion), batch, balanced(depletion.size))
    last = replace(risk_days(depletion[-1:]), site_index=np.array([(depletion.size - 1) % 4]))
    alone = safe_depth(last, batch, balanced(1))
    assert whole.need_mm.shape == depletion.shape
    assert alone.need_mm[0] == whole.need_mm[-1]


def test_without_members_or_with_an_unknown_ledger_nothing_is_decided() -> None:
    days = risk_days(np.array([18.0, np.nan, 18.0, 18.0]))
    none = safe_depth(days, no_members(DAYS, 4), balanced(4))
    assert np.isnan(none.need_mm).all()
    some = random_members()
    weights = some.weights.copy()
    weights[2] = 0.0
    depth = safe_depth(days, replace(some, weights=weights), balanced(4))
    assert depth.has_members.tolist() == [True, False, False, True]


def test_dormant_days_ask_for_nothing() -> None:
    days = risk_days(np.array([30.0]), site_count=1)
    tomorrow = days.is_dormant.copy()
    tomorrow[:] = True
    depth = safe_depth(replace(days, is_dormant=tomorrow), random_members(sites=1), balanced(1))
    assert depth.must_mm.tolist() == depth.need_mm.tolist() == [0.0]


def test_attitudes_are_ordered_by_what_they_leave_to_chance() -> None:
    depths = {
        attitude: safe_depth(
            risk_days(np.full(4, 18.0)), random_members(), balanced(4, attitude)
        ).credit_fraction
        for attitude in COST_RATIOS
    }
    assert (depths[RiskAttitude.CAREFUL_CROP] < depths[RiskAttitude.BALANCED]).all()
    assert (depths[RiskAttitude.BALANCED] < depths[RiskAttitude.CAREFUL_WATER]).all()


def guards_of(depth: SafeDepth, **changed: object) -> list[int]:
    size = depth.need_mm.size
    given_facts: dict[str, object] = {
        "later_day_mm": np.full(size, 9.0),
        "was_short": np.zeros(size, dtype=np.bool_),
        "has_other_task": np.zeros(size, dtype=np.bool_),
    }
    found: list[int] = risk_guards(depth, **{**given_facts, **changed}).tolist()  # type: ignore[arg-type]  # the facts by name
    return found


def test_guards_hold_where_another_rule_is_better() -> None:
    depth = safe_depth(risk_days(np.full(4, 8.0)), random_members(), balanced(4))
    assert guards_of(depth) == [RiskGuard.NONE] * 4
    slow = guards_of(depth, later_day_mm=np.array([9.0, 4.0, 9.0, 9.0]))
    assert slow == [RiskGuard.NONE, RiskGuard.KEEP_UP, RiskGuard.NONE, RiskGuard.NONE]
    short = guards_of(depth, was_short=np.array([True, False, False, False]))
    assert short[0] == RiskGuard.SHORTFALL
    other = guards_of(depth, has_other_task=np.array([True, False, False, False]))
    assert other[0] == RiskGuard.AGRONOMY
    small = safe_depth(risk_days(np.full(4, 1.0), taw_mm=6.0), random_members(), balanced(4))
    assert guards_of(small) == [RiskGuard.SMALL_STORE] * 4
    none = safe_depth(risk_days(np.full(4, 8.0)), no_members(DAYS, 4), balanced(4))
    assert guards_of(none) == [RiskGuard.NO_SPREAD] * 4


def test_under_a_guard_the_evening_rule_counts_on_less_rain() -> None:
    depth = safe_depth(risk_days(np.full(4, 8.0)), random_members(), balanced(4))
    guard = np.array(
        [RiskGuard.NONE, RiskGuard.SHORTFALL, RiskGuard.KEEP_UP, RiskGuard.SMALL_STORE]
    )
    credit = guarded_credit_mm(np.full(4, 2.0), depth, guard)
    assert credit.tolist() == [2.0, 0.0, depth.dry_credit_mm[2], 2.0]


def weighed(depth: SafeDepth, attitude: list[int], guard: list[int]) -> WeighedRisk:
    return WeighedRisk(
        attitude=np.array(attitude),
        guard=np.array(guard),
        depth=depth,
        smallest_mm=np.full(len(attitude), 50.0),
    )


def test_the_need_is_the_safe_depth_only_where_it_decides() -> None:
    depth = safe_depth(risk_days(np.full(4, 18.0)), random_members(), balanced(4))
    rule = WaterNeed(*np.arange(24.0).reshape(6, 4))
    risk = weighed(depth, [0, 2, 2, 1], [0, 0, RiskGuard.KEEP_UP, 0])
    need = risk.need(rule)
    assert need.need_mm.tolist() == [16.0, 50.0, 18.0, 50.0]  # never less than the shortest pulse
    assert need.urgent_need_mm[[1, 3]].tolist() == depth.must_mm[[1, 3]].tolist()
    assert need.depletion_after_rain_mm[1] == depth.wet_depletion_mm[1]
    assert need.trigger_mm[[0, 2]].tolist() == rule.trigger_mm[[0, 2]].tolist()
    assert need.trigger_mm[1] == min(depth.raw_mm[1], depth.planned_depletion_mm[1])
    assert risk.rule_credit_mm(np.full(4, 2.0)).tolist() == [2.0, 2.0, depth.dry_credit_mm[2], 2.0]
    assert risk.credit_mm(np.full(4, 2.0))[[0, 1]].tolist() == [2.0, depth.rain_credit_mm[1]]
    some = risk.of_blocks(np.array([1]))
    assert some.need(WaterNeed(*np.zeros((6, 1)))).need_mm.tolist() == [50.0]


def test_a_break_in_the_days_ahead_calls_for_water_before_it() -> None:
    alone = members_of(np.zeros((1, 1, 5)), np.full((1, 1, 5), 5.0))
    days = risk_days(np.array([10.0]), site_count=1)
    open_days = np.array([9.0, 9.0, 9.0, 9.0, 9.0])[:, np.newaxis]
    closed = np.array([9.0, 0.0, 0.0, 9.0, 9.0])[:, np.newaxis]
    usual = safe_depth(replace(days, later_day_mm=open_days), alone, balanced(1), fill_share=0.0)
    ahead = safe_depth(replace(days, later_day_mm=closed), alone, balanced(1), fill_share=0.0)
    # On the third day 25 mm would be missing, 5 more than allowed, and none can come before.
    assert (usual.must_mm.tolist(), ahead.must_mm.tolist()) == ([0.0], [5.0])
