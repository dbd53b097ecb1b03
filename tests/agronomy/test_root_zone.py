"""The managed root zone: wetted share, growth with age, available water, bulbs and depths."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.records import SoilBatch, SystemBatch
from service.agronomy.root_zone import (
    application_rate_mm_per_h,
    depletion_fraction,
    depth_limit_min,
    event_volume_limit_mm,
    gross_depth_mm,
    readily_available_water_mm,
    running_min,
    size_by_age,
    total_available_water_mm,
    volume_at_depth_l,
    wetted_fraction,
)
from tests.agronomy.wetted_bulb import wetted_depth_m, wetted_width_m


def make_soil(conductivity_mm_per_h: float = 50.3, root_depth_m: float = 0.45) -> SoilBatch:
    """A drip-wetted sandy loam of one block."""
    return SoilBatch(
        field_capacity=np.array([0.18]),
        wilting_point=np.array([0.08]),
        saturated_conductivity_mm_per_h=np.array([conductivity_mm_per_h]),
        root_depth_m=np.array([root_depth_m]),
        wetted_fraction=np.array([0.33]),
        root_share_of_wetted=np.array([1.0]),
        mulch_cover_fraction=np.array([0.0]),
        mulch_rain_pass_fraction=np.array([1.0]),
        curve_number=np.array([np.nan]),
    )


def make_system(emitter_flow_l_per_h: float = 2.0, rate_mm_per_h: float = 2.0) -> SystemBatch:
    one = np.ones(1)
    return SystemBatch(
        application_rate_mm_per_h=rate_mm_per_h * one,
        emitter_flow_l_per_h=emitter_flow_l_per_h * one,
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


def strip(
    flow: float, group: int, *, spacing_m: float = 0.2, laterals: int = 1, gap: float | None = None
) -> float:
    """Strip width in metres: the wetted fraction of rows 10 m apart, times 10."""
    return 10.0 * float(
        wetted_fraction(
            flow,
            spacing_m,
            group,
            row_spacing_m=10.0,
            laterals_per_row_count=laterals,
            lateral_gap_m=gap,
        )
    )


def test_strip_width_between_table_rows_lies_on_a_straight_line() -> None:
    assert strip(3.0, 1) == pytest.approx((0.8 + 1.2) / 2)


def test_strip_width_beyond_the_table_is_that_of_its_end() -> None:
    assert strip(0.6, 0) == pytest.approx(strip(1.5, 0))
    assert strip(30.0, 2) == pytest.approx(6 * 0.3048)


def test_a_second_lateral_widens_the_strip_by_the_gap_but_by_no_more_than_a_strip() -> None:
    assert strip(2.0, 1, laterals=2, gap=0.3) == pytest.approx(1.1)
    assert strip(2.0, 1, laterals=2, gap=2.0) == pytest.approx(1.6)
    assert strip(2.0, 1, laterals=2) == pytest.approx(1.6)


def test_emitters_wider_apart_than_recommended_break_the_strip() -> None:
    assert strip(2.0, 0, spacing_m=0.3) == pytest.approx(0.4)
    assert strip(2.0, 0, spacing_m=0.6) == pytest.approx(0.2)


def test_narrow_rows_are_wetted_whole_and_not_more() -> None:
    fraction = wetted_fraction(4.0, 0.5, 2, row_spacing_m=1.0, laterals_per_row_count=2)
    assert fraction == 1.0


def test_wetted_fraction_takes_blocks_of_different_texture_at_once() -> None:
    fractions = wetted_fraction(
        np.array([2.0, 2.0, 2.0]),
        np.array([0.3, 0.3, 0.3]),
        np.array([0, 1, 2]),
        row_spacing_m=np.full(3, 4.0),
        laterals_per_row_count=np.ones(3),
    )
    np.testing.assert_allclose(fractions, [0.1, 0.2, 0.3])


@given(full=st.floats(1.0, 12.0), ages=st.lists(st.floats(0.0, 30.0), min_size=2, max_size=9))
def test_plants_grow_with_age_up_to_full_size(full: float, ages: list[float]) -> None:
    for share in size_by_age(np.sort(ages), full):
        assert (np.diff(share) >= 0.0).all()
        assert (share > 0.0).all()
        assert (share <= 1.0).all()
    for share in size_by_age([full, full + 5.0], full):
        assert share.tolist() == [1.0, 1.0]


def test_a_planting_with_no_years_to_grow_is_full_from_the_start() -> None:
    assert [float(share) for share in size_by_age(0.0, 0.0)] == [1.0, 1.0, 1.0]


def test_unknown_age_gives_unknown_size_only_for_its_block() -> None:
    for share in size_by_age([np.nan, 9.0], [5.0, 5.0]):
        assert np.isnan(share[0])
        assert share[1] == 1.0


@pytest.mark.parametrize(
    ("age_years", "share"), [(0.0, 0.501), (1.0, 0.683), (2.0, 0.792), (5.0, 1.0)]
)
def test_young_roots_draw_from_wet_soil_beside_them(age_years: float, share: float) -> None:
    # A choice of this project, no source: .10, .28, .46 and 1 to the power 0.3, by hand.
    assert size_by_age(age_years, 5.0).root_share_of_wetted == pytest.approx(share, abs=5e-4)


def test_available_water_is_that_of_the_managed_share_only() -> None:
    whole = total_available_water_mm(make_soil())[0]
    assert whole == pytest.approx(1000 * 0.10 * 0.45 * 0.33)


def test_depletion_fraction_stays_between_its_limits() -> None:
    assert depletion_fraction(0.2, 12.0) == 0.1
    assert depletion_fraction(0.7, 0.0) == 0.8
    assert depletion_fraction(0.35, 6.5) == pytest.approx(0.29)
    assert readily_available_water_mm(20.0, depletion_fraction(0.5, 5.0)) == 10.0


@given(volume=st.floats(0.05, 50.0), flow=st.floats(0.3, 12.0), conductivity=st.floats(0.5, 150.0))
def test_the_volume_that_wets_to_a_depth_wets_to_that_depth(
    volume: float, flow: float, conductivity: float
) -> None:
    depth = wetted_depth_m(volume, flow, conductivity)
    assert volume_at_depth_l(depth, flow, conductivity) == pytest.approx(volume, rel=1e-9)


def test_permeable_soil_is_wetted_deeper_and_narrower() -> None:
    conductivity = np.array([4.3, 15.5, 50.3, 96.7])
    assert (np.diff(wetted_depth_m(4.0, 2.0, conductivity)) > 0.0).all()
    assert (np.diff(wetted_width_m(4.0, 2.0, conductivity)) < 0.0).all()


def test_a_pulse_of_the_limit_wets_to_its_share_of_the_root_depth() -> None:
    soil, system = make_soil(), make_system()
    minutes = depth_limit_min(system, soil, depth_share=0.6)
    depth = wetted_depth_m(minutes / 60.0 * 2.0, 2.0, 50.3)
    assert depth[0] == pytest.approx(0.6 * 0.45)
    assert depth_limit_min(system, soil)[0] == minutes[0]


def test_the_event_limit_as_depth_is_the_emitter_volume_over_its_ground() -> None:
    # 2 L/h at 2 mm/h: one emitter waters 1 m2, so that litres are millimetres, less EU.
    limit = event_volume_limit_mm(make_system(), make_soil())
    assert limit[0] == pytest.approx(0.90 * float(volume_at_depth_l(0.45, 2.0, 50.3)))


def test_two_laterals_apply_twice_the_rate_of_one() -> None:
    one = application_rate_mm_per_h(2.0, 0.46, 3.0, laterals_per_row_count=1)
    two = application_rate_mm_per_h(2.0, 0.46, 3.0, laterals_per_row_count=2)
    assert two == pytest.approx(2.0 * one)


def test_gross_depth_covers_uneven_emitters_and_unrooted_ground() -> None:
    assert gross_depth_mm(4.5, 90.0, 0.5) == pytest.approx(10.0)


def test_leaching_up_to_a_tenth_adds_nothing_and_more_replaces_the_transmission_ratio() -> None:
    def gross(leaching: float) -> float:
        return float(
            gross_depth_mm(9.0, 90.0, 1.0, transmission_ratio=1.05, leaching_fraction=leaching)
        )

    assert gross(0.0) == gross(0.1) == pytest.approx(10.5)
    assert gross(0.2) == pytest.approx(12.5)


@given(gross=st.floats(0.0, 60.0), rate=st.floats(0.1, 20.0))
def test_running_minutes_at_the_rate_apply_the_gross_depth(gross: float, rate: float) -> None:
    assert float(running_min(gross, rate)) / 60.0 * rate == pytest.approx(gross)
