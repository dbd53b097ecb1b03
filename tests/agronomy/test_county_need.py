"""The weekly need of counties: what counts as rain, the rank, and what is not known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.county_need import (
    Basis,
    CountyNeed,
    days_by_basis,
    net_need_band_mm,
    weekly_need,
)
from service.agronomy.records import Floats, SoilBatch, SystemBatch
from service.agronomy.weather_flags import FieldFlag


def make_soil(wetted_fraction: float = 0.33) -> SoilBatch:
    one = np.ones(1)
    return SoilBatch(
        field_capacity=0.18 * one,
        wilting_point=0.08 * one,
        saturated_conductivity_mm_per_h=50.0 * one,
        root_depth_m=0.45 * one,
        wetted_fraction=wetted_fraction * one,
        root_share_of_wetted=one,
        mulch_cover_fraction=0.0 * one,
        mulch_rain_pass_fraction=one,
        curve_number=np.nan * one,
    )


def make_system() -> SystemBatch:
    one = np.ones(1)
    return SystemBatch(
        application_rate_mm_per_h=2.0 * one,
        emitter_flow_l_per_h=2.0 * one,
        emission_uniformity_pct=90.0 * one,
        flow_l_per_h=20_000.0 * one,
        fill_time_min=2.0 * one,
        grower_longest_pulse_min=240.0 * one,
        daily_maximum_min=1440.0 * one,
        off_ratio=one,
        valve_gap_s=0.0 * one,
        leaching_fraction=0.0 * one,
        transmission_ratio=one,
        trigger_fraction=0.7 * one,
        rain_room_fraction=0.3 * one,
        freeze_hold_c=0.0 * one,
        watering_start_doy=1.0 * one,
        watering_end_doy=365.0 * one,
        supply_index=np.zeros(1, dtype=np.int64),
        daily_pulse_count=12.0 * one,
        leakage_fraction=0.0 * one,
        priority=np.full(1, 5),
    )


def week(
    et0_mm: Floats, rain_mm: Floats, *, kc: float = 0.8, normal_mm: Floats | None = None
) -> CountyNeed:
    return weekly_need(
        et0_mm,
        rain_mm,
        np.full(et0_mm.shape, kc),
        soil=make_soil(),
        system=make_system(),
        normal_et0_mm=np.full(et0_mm.shape, 5.0) if normal_mm is None else normal_mm,
    )


def test_a_dry_week_needs_its_whole_crop_use() -> None:
    need = week(np.full((7, 1), 5.0), np.zeros((7, 1)))
    assert need.reference_et_mm[0] == pytest.approx(35.0)
    assert need.crop_et_mm[0] == pytest.approx(28.0)
    assert need.rain_entering_mm[0] == pytest.approx(0.0)
    assert need.net_need_mm[0] == pytest.approx(28.0)
    assert need.gross_need_mm[0] == pytest.approx(28.0 / 0.9)
    assert need.running_h[0] == pytest.approx(28.0 / 0.9 / 2.0)
    assert need.percent_of_normal[0] == pytest.approx(100.0)


def test_rain_counts_only_as_far_as_it_finds_room() -> None:
    rain = np.zeros((7, 2))
    rain[0, 0] = 100.0  # on a full zone
    rain[3, 1] = 100.0  # after three days of use
    need = week(np.full((7, 2), 5.0), rain)
    np.testing.assert_allclose(need.rain_entering_mm, [0.0, 12.0], atol=1e-12)
    np.testing.assert_allclose(need.net_need_mm, [28.0, 16.0])


def test_counties_are_ranked_from_the_largest_need_and_equal_needs_share_a_rank() -> None:
    et0 = np.tile([4.0, 6.0, 5.0, 6.0, np.nan], (7, 1))
    assert week(et0, np.zeros((7, 5))).rank.tolist() == [4, 1, 3, 1, 0]


def test_a_county_with_a_missing_day_is_unknown_and_no_other() -> None:
    et0 = np.full((7, 3), 5.0)
    rain = np.zeros((7, 3))
    et0[2, 0] = np.nan
    rain[4, 1] = np.nan
    need = week(et0, rain)
    assert np.isnan(need.net_need_mm).tolist() == [True, True, False]
    assert np.isnan(need.running_h).tolist() == [True, True, False]
    assert need.rank.tolist() == [0, 0, 1]


@pytest.mark.parametrize("normal", [np.nan, 0.0])
def test_without_a_normal_there_is_no_percentage(normal: float) -> None:
    need = week(np.full((7, 1), 5.0), np.zeros((7, 1)), normal_mm=np.full((7, 1), normal))
    assert np.isnan(need.percent_of_normal[0])
    assert np.isfinite(need.net_need_mm[0])


@given(seed=st.integers(0, 9999), more=st.floats(0.0, 80.0), on_day=st.integers(0, 6))
def test_more_rain_never_raises_the_need(seed: int, more: float, on_day: int) -> None:
    generator = np.random.default_rng(seed)
    et0 = generator.uniform(1.0, 8.0, (7, 4))
    rain = generator.gamma(0.3, 20.0, (7, 4))
    wetter = rain.copy()
    wetter[on_day] += more
    dry, wet = week(et0, rain), week(et0, wetter)
    assert (wet.net_need_mm <= dry.net_need_mm + 1e-9).all()
    np.testing.assert_allclose(dry.crop_et_mm, dry.net_need_mm + dry.rain_entering_mm)
    assert (dry.rain_entering_mm >= -1e-9).all()


def test_the_normal_need_is_the_crop_at_normal_reference_et_without_rain() -> None:
    need = week(
        np.full((7, 2), 6.0), np.full((7, 2), 3.0), normal_mm=np.full((7, 2), [5.0, np.nan])
    )
    assert need.normal_et0_mm[0] == pytest.approx(35.0)
    assert need.normal_need_mm[0] == pytest.approx(0.8 * 35.0)
    assert np.isnan([need.normal_et0_mm[1], need.normal_need_mm[1]]).all()


def test_each_day_rests_on_one_thing_and_a_county_on_the_weakest() -> None:
    # A measured week, one with a forecast, one with the season's normal, one with a day unknown.
    et0_mm = np.full((7, 4), 5.0)
    et0_mm[6, 3] = np.nan
    flags = np.zeros((7, 4), np.int32)
    flags[5:, 2] = int(FieldFlag.NORMAL_OF_SEASON)
    flags[4, 2] = int(FieldFlag.FILLED_FROM_NEIGHBOUR)
    is_measured = np.ones((7, 4), np.bool_)
    is_measured[3:, 1:] = False
    is_measured[4, 2] = True  # temperatures alone, so that reference ET is that of a neighbour
    found = days_by_basis(et0_mm, flags, is_measured)
    assert found.measured_days_count.tolist() == [7, 3, 3, 3]
    assert found.forecast_days_count.tolist() == [0, 4, 1, 3]
    assert found.stand_in_days_count.tolist() == [0, 0, 3, 0]
    assert found.unknown_days_count.tolist() == [0, 0, 0, 1]
    assert [found.of(county) for county in range(4)] == [
        Basis.MEASURED, Basis.FORECAST, Basis.STAND_IN, Basis.UNKNOWN,
    ]  # fmt: skip


def band(
    et0_mm: Floats, rain_mm: Floats, courses_mm: tuple[Floats, Floats], *, coming: int
) -> Floats:
    """The band of a week whose last days are coming; courses of reference ET and of rain."""
    members = courses_mm[0].shape[2]
    return net_need_band_mm(
        et0_mm,
        rain_mm,
        np.full(et0_mm.shape, 0.8),
        soil=make_soil(),
        is_coming=np.arange(et0_mm.shape[0]) >= et0_mm.shape[0] - coming,
        member_et0_mm=courses_mm[0],
        member_rain_mm=courses_mm[1],
        weights=np.full((et0_mm.shape[1], members), 1.0 / members),
    )


def test_one_course_that_is_the_forecast_is_the_need_to_the_last_digit() -> None:
    rng = np.random.default_rng(4)
    et0_mm, rain_mm = rng.uniform(2.0, 7.0, (7, 3)), rng.choice([0.0, 3.0, 22.0], (7, 3))
    found = band(et0_mm, rain_mm, (et0_mm[..., None], rain_mm[..., None]), coming=4)
    assert (found == week(et0_mm, rain_mm).net_need_mm).all()


def test_a_band_is_the_quantiles_of_the_needs_of_each_course() -> None:
    # Quantiles: numpy's "inverted_cdf", Hyndman and Fan (1996), type 1.
    rng = np.random.default_rng(5)
    et0_mm, rain_mm = rng.uniform(2.0, 7.0, (7, 2)), np.zeros((7, 2))
    ets_mm, rains_mm = rng.uniform(2.0, 7.0, (7, 2, 31)), rng.gamma(0.4, 12.0, (7, 2, 31))
    is_coming = (np.arange(7) >= 4)[:, np.newaxis]
    needs_mm = np.array(
        [
            week(
                np.where(is_coming, ets_mm[..., member], et0_mm),
                np.where(is_coming, rains_mm[..., member], rain_mm),
            ).net_need_mm
            for member in range(31)
        ]
    )
    expected = np.quantile(needs_mm, [0.1, 0.5, 0.9], axis=0, method="inverted_cdf")
    assert band(et0_mm, rain_mm, (ets_mm, rains_mm), coming=3) == pytest.approx(expected)


def test_courses_that_end_before_the_week_give_no_band() -> None:
    et0_mm, rain_mm = np.full((7, 1), 5.0), np.zeros((7, 1))
    courses_mm = np.full((7, 1, 15), 5.0), np.zeros((7, 1, 15))
    courses_mm[0][-1] = courses_mm[1][-1] = np.nan
    assert np.isnan(band(et0_mm, rain_mm, courses_mm, coming=3)).all()
    assert np.isnan(band(et0_mm, rain_mm, courses_mm, coming=0)).all()
