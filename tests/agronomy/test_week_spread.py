"""The coming week under every course of the weather: bands, and chances of running short."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.agronomy.block_batch import BlockBatch
from service.agronomy.effective_rain import rain_entering_mm
from service.agronomy.outlook import Outlook, day_capacity_min, look_ahead, open_minutes
from service.agronomy.records import Floats
from service.agronomy.watering_rules import net_rate_mm_per_min, pulse_limits
from service.agronomy.weather_members import MemberBatch, MemberOrigin, no_members
from service.agronomy.week_spread import WeekDays, WeekSpread, week_spread
from tests.factories import batch_of, make_block, windows_of

DAYS = np.arange("2026-07-01", "2026-07-08", dtype="datetime64[D]")
WINDOW = ((240, 1260),)


def members_of(rain_mm: Floats, et0_mm: Floats, weights: Floats | None = None) -> MemberBatch:
    """Members (sites, members, days), of equal weight unless weights are given."""
    if weights is None:
        weights = np.full(rain_mm.shape[:2], 1.0 / rain_mm.shape[1])
    origin = np.full(rain_mm.shape[0], MemberOrigin.ENSEMBLE, dtype=np.int64)
    return MemberBatch(DAYS, rain_mm, et0_mm, weights, origin)


def random_members(members: int = 31, seed: int = 1) -> MemberBatch:
    """Invented courses of one site in which four days in ten are wet."""
    random = np.random.default_rng(seed)
    shape = (1, members, DAYS.size)
    rain = np.where(random.random(shape) < 0.4, random.gamma(0.8, 8.0, shape), 0.0)
    return members_of(rain, random.uniform(2.0, 7.0, shape))


def week_of(blocks: BlockBatch, *, supply_flow_l_per_h: float = 1e9, **changed: Any) -> WeekDays:
    """Blocks of TAW 20 and RAW 10 mm with a Kc of 1, of which 2 mm are missing."""
    count = blocks.area_m2.size
    shape = (DAYS.size, count)
    system, one = blocks.system, np.ones(count)
    windows = windows_of(*[WINDOW] * count)
    carried_l = supply_flow_l_per_h * open_minutes(windows, system, 1) / 60.0
    terms: dict[str, Any] = {
        "site_index": np.zeros(count, dtype=np.int64),
        "soil": blocks.soil,
        "system": system,
        "crop_coefficient": np.ones(shape),
        "zone_share": np.ones(shape),
        "taw_mm": np.full(shape, 20.0),
        "raw_mm": np.full(shape, 10.0),
        "is_dormant": np.zeros(shape, dtype=np.bool_),
        "depletion_midnight_mm": 2.0 * one,
        "planned_net_mm": 0.0 * one,
        "early_share": 0.25 * one,
        "net_rate_mm_per_min": net_rate_mm_per_min(system, blocks.soil),
        "capacity_min": np.broadcast_to(
            day_capacity_min(system, pulse_limits(system, blocks.soil), windows), shape
        ),
        "expected_min": np.zeros(shape),
        "fixed_min": np.full(shape, np.nan),
        "carried_l": np.broadcast_to(carried_l, (DAYS.size, 1)),
    }
    return WeekDays(**{**terms, **changed})


def outlook_of(
    week: WeekDays, blocks: BlockBatch, course: MemberBatch, *, supply_flow_l_per_h: float = 1e9
) -> Outlook:
    """What the outlook says of the same days if the one course comes for certain."""
    et0_mm, rain_mm = course.et0_mm[0, 0][:, None], course.rain_mm[0, 0][:, None]
    count = week.site_index.size
    return look_ahead(
        week.system,
        crop_et_mm=week.crop_coefficient * week.zone_share * et0_mm,
        is_dormant=week.is_dormant,
        rain_credit_mm=rain_entering_mm(
            np.repeat(rain_mm, count, axis=1), np.repeat(et0_mm, count, axis=1), week.soil
        ),
        taw_mm=week.taw_mm,
        raw_mm=week.raw_mm,
        depletion_midnight_mm=week.depletion_midnight_mm,
        planned_net_mm=week.planned_net_mm,
        planned_early_net_mm=0.25 * week.planned_net_mm,
        net_rate_mm_per_min=week.net_rate_mm_per_min,
        limits=pulse_limits(week.system, week.soil),
        windows_of_day=[windows_of(*[WINDOW] * count)] * DAYS.size,
        supply_flow_l_per_h=np.array([supply_flow_l_per_h]),
        fixed_min=week.fixed_min,
    )


def spread_of(members: MemberBatch, blocks: BlockBatch | None = None, **changed: Any) -> WeekSpread:
    return week_spread(week_of(blocks or batch_of(make_block()), **changed), members)


FARM = batch_of(
    make_block(),
    make_block(daily_maximum_min=60.0),
    make_block(priority=2),
    make_block(rain_room_fraction=0.1),
)


@pytest.mark.parametrize("supply_flow_l_per_h", [1e9, 9_000.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_with_one_course_the_bands_are_the_outlook(seed: int, supply_flow_l_per_h: float) -> None:
    alone = random_members(members=1, seed=seed)
    planned = np.array([3.0, 0.0, 1.0, 0.0])
    fixed_min = np.full((DAYS.size, 4), np.nan)
    fixed_min[3, 3] = 25.0
    is_dormant = np.zeros((DAYS.size, 4), dtype=np.bool_)
    is_dormant[2, 0] = True
    week = week_of(
        FARM, supply_flow_l_per_h=supply_flow_l_per_h, planned_net_mm=planned,
        early_share=np.where(planned > 0.0, 0.25, 1.0), fixed_min=fixed_min,
        is_dormant=is_dormant, depletion_midnight_mm=np.array([2.0, 8.0, 4.0, 12.0]),
    )  # fmt: skip
    outlook = outlook_of(week, FARM, alone, supply_flow_l_per_h=supply_flow_l_per_h)
    found = week_spread(week, alone)
    for share in range(3):
        np.testing.assert_allclose(found.band_min[share], outlook.expected_min, atol=1e-6)
        np.testing.assert_allclose(
            found.band_depletion_mm[share], outlook.depletion_end_mm, atol=1e-9
        )


def test_bands_are_the_quantiles_of_the_members_taken_one_by_one() -> None:
    members = random_members()
    week = week_of(FARM)
    found = week_spread(week, members)
    alone = [
        week_spread(week, members_of(members.rain_mm[:, [m]], members.et0_mm[:, [m]]))
        for m in range(31)
    ]
    minutes = np.stack([each.band_min[0] for each in alone])
    level_mm = np.stack([each.band_depletion_mm[0] for each in alone])
    for row, share in enumerate((0.1, 0.5, 0.9)):
        np.testing.assert_array_equal(
            found.band_min[row], np.quantile(minutes, share, axis=0, method="inverted_cdf")
        )
        np.testing.assert_array_equal(
            found.band_depletion_mm[row],
            np.quantile(level_mm, share, axis=0, method="inverted_cdf"),
        )
    for name in ("short_tomorrow_fraction", "short_horizon_fraction"):
        share_of = np.mean([getattr(each, name) for each in alone], axis=0)
        np.testing.assert_allclose(getattr(found, name), share_of, atol=1e-12)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), missing=st.floats(0.0, 20.0), flow=st.sampled_from([1e9, 9e3]))
def test_bands_rise_with_their_share_and_chances_lie_between_none_and_all(
    seed: int, missing: float, flow: float
) -> None:
    found = week_spread(
        week_of(FARM, depletion_midnight_mm=np.full(4, missing), supply_flow_l_per_h=flow),
        random_members(seed=seed),
    )
    for band in (found.band_min, found.band_depletion_mm):
        assert np.isfinite(band).all() and (band >= 0.0).all()
        assert (np.diff(band, axis=0) >= 0.0).all()
    tomorrow, horizon = found.short_tomorrow_fraction, found.short_horizon_fraction
    assert ((tomorrow >= 0.0) & (tomorrow <= horizon + 1e-12) & (horizon <= 1.0 + 1e-12)).all()


def test_more_rain_in_every_course_never_raises_a_chance_or_the_week_s_driest_level() -> None:
    members = random_members()
    wetter = replace(members, rain_mm=members.rain_mm + 5.0)
    dry, wet = spread_of(members), spread_of(wetter)
    assert (wet.short_horizon_fraction <= dry.short_horizon_fraction).all()
    assert (wet.band_depletion_mm[2, 0] <= dry.band_depletion_mm[2, 0]).all()


def test_once_short_stays_short_although_rain_comes_later() -> None:
    rain_mm = np.zeros((1, 4, DAYS.size))
    rain_mm[0, :2, 0] = 50.0  # two courses bring rain tomorrow, all do from the third day on
    rain_mm[0, :, 2:] = 50.0
    found = spread_of(
        members_of(rain_mm, np.full(rain_mm.shape, 4.5)),
        depletion_midnight_mm=np.array([6.0]),
    )
    # 6 + 4.5 pass 10 mm tomorrow where it stays dry; else 9 by the second day, then rain.
    assert found.short_tomorrow_fraction.tolist() == [0.5]
    assert found.short_horizon_fraction.tolist() == [0.5]


def test_what_is_not_known_is_never_nought() -> None:
    nothing = spread_of(no_members(DAYS, 1))
    assert nothing.member_count.tolist() == [0]
    for each in (nothing.band_min, nothing.band_depletion_mm, nothing.short_horizon_fraction):
        assert np.isnan(each).all()
    members = random_members()
    ends = replace(members, rain_mm=members.rain_mm.copy(), et0_mm=members.et0_mm.copy())
    ends.rain_mm[..., 5:] = ends.et0_mm[..., 5:] = np.nan
    early = spread_of(ends)
    np.testing.assert_array_equal(early.band_min[:, :5], spread_of(members).band_min[:, :5])
    assert np.isnan(early.band_min[:, 5:]).all()
    assert np.isfinite(early.short_horizon_fraction).all()
    unknown = spread_of(members, depletion_midnight_mm=np.array([np.nan]))
    assert unknown.member_count.tolist() == [0]
    assert np.isnan(unknown.short_tomorrow_fraction).all()


def test_courses_that_are_all_dry_have_bands_of_their_use_alone() -> None:
    dry = members_of(np.zeros((1, 31, DAYS.size)), np.full((1, 31, DAYS.size), 5.0))
    found = spread_of(dry)
    np.testing.assert_array_equal(found.band_min[0], found.band_min[2])
    assert found.short_tomorrow_fraction.tolist() == [0.0]  # 2 + 5 of 10 mm
    assert found.short_horizon_fraction == pytest.approx(1.0)


def test_blocks_of_one_supply_with_members_leave_what_others_are_expected_to_take() -> None:
    """The second block's site has no members; what it takes is not there for the first."""
    blocks = batch_of(make_block(), make_block())
    members = random_members()
    both = replace(
        members,
        rain_mm=np.concatenate([members.rain_mm, np.full(members.rain_mm.shape, np.nan)]),
        et0_mm=np.concatenate([members.et0_mm, np.full(members.et0_mm.shape, np.nan)]),
        weights=np.concatenate([members.weights, 0.0 * members.weights]),
        origin=np.array([2, 0]),
    )
    flow = 1.2 * float(blocks.system.flow_l_per_h[0])
    week = week_of(blocks, site_index=np.array([0, 1]), supply_flow_l_per_h=flow / 10.0)
    taken = replace(week, expected_min=np.full((DAYS.size, 2), 60.0))
    free, less = week_spread(week, both), week_spread(taken, both)
    assert np.isnan(free.band_min[:, :, 1]).all()
    assert (less.band_min[2, 1:, 0] <= free.band_min[2, 1:, 0]).all()
    assert less.band_min[2, 1:, 0].sum() < free.band_min[2, 1:, 0].sum()


def test_coverage_is_that_of_the_band() -> None:
    """One course in ten lies below, one above: of new courses of the same weather likewise."""
    band = spread_of(random_members(members=2_000, seed=3)).band_depletion_mm[:, :, 0]
    new = random_members(members=2_000, seed=4)
    week = week_of(batch_of(make_block()))
    level_mm = np.stack([
        week_spread(week, members_of(new.rain_mm[:, [m]], new.et0_mm[:, [m]])).band_depletion_mm[0]
        for m in range(0, 2_000, 10)
    ])[:, :, 0]  # fmt: skip
    within = (level_mm >= band[0]) & (level_mm <= band[2])
    # 200 courses: three standard errors of 0.8 are 0.085; ties on days at the limit widen it.
    assert (within.mean(axis=0) > 0.8 - 0.085).all()
