"""One lateral: published formulas, limits that can be worked by hand, and what always holds.

The comparison with EPANET is in tests/validation/test_lateral_epanet.py.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from service.errors import InputInvalid
from service.waterworks.lateral import (
    GRAVITY_M_S2,
    WATER_VISCOSITY_M2_S,
    Emitter,
    FrictionLaw,
    Lateral,
    Pipe,
    emitter_flow_l_per_h,
    longest_row,
    rise_along_m,
    solve_lateral,
    solve_laterals,
)
from tests.waterworks.friction import christiansen_factor, friction_head_m_per_m

LINE = Lateral(Emitter(2.0, manufacturer_variation_ratio=0.03), Pipe(16.0), 100, 0.46)
COMPENSATED = Emitter(
    2.0, flow_exponent=0.0, compensates_from_head_m=5.0, compensates_to_head_m=35.0
)

heads = st.floats(0.2, 60.0)
emitters = st.builds(
    Emitter,
    nominal_flow_l_per_h=st.floats(0.3, 12.0),
    nominal_head_m=st.just(10.0),
    flow_exponent=st.floats(0.0, 1.0),
)
pipes = st.builds(
    Pipe,
    inner_diameter_mm=st.floats(6.0, 32.0),
    friction_law=st.sampled_from(FrictionLaw),
)
profiles = st.one_of(
    st.just(((0.0, 0.0),)),
    st.lists(st.floats(-3.0, 3.0), min_size=1, max_size=4).map(
        lambda heights: ((0.0, 0.0), *((15.0 * (n + 1), h) for n, h in enumerate(heights)))
    ),
)
laterals = st.builds(
    Lateral,
    emitter=emitters,
    pipe=pipes,
    emitter_count=st.integers(1, 150),
    emitter_spacing_m=st.floats(0.1, 2.0),
    first_segment_m=st.one_of(st.none(), st.floats(0.0, 5.0)),
    connection_length_m=st.floats(0.0, 0.3),
    profile=profiles,
)


def test_orifice_emitter_follows_the_square_root_of_the_head() -> None:
    np.testing.assert_allclose(
        emitter_flow_l_per_h(Emitter(2.0), [8.0, 10.0, 12.0, 0.0, -3.0]),
        [1.7889, 2.0, 2.1909, 0.0, 0.0],
        atol=5e-5,
    )


def test_compensating_emitter_holds_its_flow_in_its_range_and_is_an_orifice_outside() -> None:
    flow = emitter_flow_l_per_h(COMPENSATED, [1.25, 5.0, 20.0, 35.0, 140.0])
    np.testing.assert_allclose(flow, [1.0, 2.0, 2.0, 2.0, 4.0])


def test_laminar_friction_is_hagen_and_poiseuille() -> None:
    # 32 nu v / (g D^2), for Re = 64: any textbook.
    flow_l_per_h = 3.0
    velocity = flow_l_per_h / 3.6e6 / (math.pi / 4.0 * 0.016**2)
    exact = 32.0 * WATER_VISCOSITY_M2_S * velocity / (GRAVITY_M_S2 * 0.016**2)
    assert friction_head_m_per_m(Pipe(16.0), flow_l_per_h) == pytest.approx(exact, rel=1e-12)


def test_turbulent_friction_is_near_blasius_in_a_smooth_pipe() -> None:
    # Blasius f = 0.3164 / Re^0.25; Swamee and Jain stay within 3 % of it up to Re 100,000.
    for flow_l_per_h in (250.0, 500.0, 1000.0, 3000.0):
        velocity = flow_l_per_h / 3.6e6 / (math.pi / 4.0 * 0.016**2)
        reynolds = velocity * 0.016 / WATER_VISCOSITY_M2_S
        blasius = 0.3164 / reynolds**0.25 * velocity**2 / (2.0 * GRAVITY_M_S2 * 0.016)
        smooth = Pipe(16.0, roughness_mm=0.0)
        assert friction_head_m_per_m(smooth, flow_l_per_h) == pytest.approx(blasius, rel=0.03)


def test_friction_has_no_step_between_its_laws() -> None:
    for reynolds in (2000.0, 4000.0):
        flow = reynolds * WATER_VISCOSITY_M2_S * math.pi / 4.0 * 0.016 * 3.6e6
        below = friction_head_m_per_m(Pipe(16.0), flow * (1 - 1e-9))
        above = friction_head_m_per_m(Pipe(16.0), flow * (1 + 1e-9))
        assert above == pytest.approx(below, rel=1e-7)


def test_hazen_williams_friction_is_its_formula() -> None:
    # 10.67 Q^1.852 / (C^1.852 D^4.871), SI.
    exact = 10.67 * (200.0 / 3.6e6) ** 1.852 / (150.0**1.852 * 0.016**4.871)
    pipe = Pipe(16.0, FrictionLaw.HAZEN_WILLIAMS)
    assert friction_head_m_per_m(pipe, 200.0) == pytest.approx(exact, rel=1e-12)


@pytest.mark.parametrize(
    ("exponent", "count", "factor"),
    [
        (1.75, 100, 0.36865),
        (1.852, 100, 0.35565),
        (2.0, 100, 0.33835),
        (1.75, 10, 0.41508),
        (1.852, 10, 0.40217),
        (2.0, 10, 0.38500),
    ],
)
def test_christiansen_factor_is_its_formula(exponent: float, count: int, factor: float) -> None:
    # CV48 and its neighbours: Christiansen 1942, from memory; values computed from the formula.
    assert christiansen_factor(count, exponent) == pytest.approx(factor, abs=1e-5)


def test_constant_flow_under_hazen_williams_loses_christiansens_share() -> None:
    # With outlets that all give the same, the factor is the sum's own expansion.
    emitter = Emitter(2.0, flow_exponent=0.0)
    pipe = Pipe(16.0, FrictionLaw.HAZEN_WILLIAMS)
    line = Lateral(emitter, pipe, 100, 0.46)
    lost_m = 10.0 - solve_lateral(line, 10.0).emitter_head_m[-1]
    full_m = friction_head_m_per_m(pipe, 200.0) * 46.0
    assert lost_m == pytest.approx(christiansen_factor(100, 1.852) * full_m, rel=2e-4)


def test_connection_loss_is_the_friction_of_longer_segments() -> None:
    # The same friction length, with emitters that much closer.
    with_barbs = solve_lateral(replace(LINE, connection_length_m=0.1), 10.0)
    longer = solve_lateral(replace(LINE, emitter_spacing_m=0.56), 10.0)
    np.testing.assert_allclose(
        with_barbs.emitter_flow_l_per_h, longer.emitter_flow_l_per_h, rtol=1e-9
    )


def test_one_emitter_is_solved_by_hand() -> None:
    # Laminar: 10 = H + c q with q = 2 sqrt(H / 10), c the friction of 100 m of 6 mm pipe.
    line = Lateral(Emitter(2.0), Pipe(6.0), 1, 100.0)
    solved = solve_lateral(line, 10.0)
    flow, head = float(solved.emitter_flow_l_per_h[0]), float(solved.emitter_head_m[0])
    assert head + 100.0 * friction_head_m_per_m(Pipe(6.0), flow) == pytest.approx(10.0)
    assert flow == pytest.approx(2.0 * math.sqrt(head / 10.0))
    assert solved.inlet_flow_l_per_h == flow


def test_uniformities_of_the_solution_are_those_of_its_flows() -> None:
    solved = solve_lateral(LINE, 10.0)
    flow = solved.emitter_flow_l_per_h
    assert solved.lowest_over_mean_ratio == pytest.approx(flow.min() / flow.mean())
    assert solved.design_uniformity_pct == pytest.approx(
        100.0 * (1.0 - 1.27 * 0.03) * flow.min() / flow.mean()
    )
    lowest = np.sort(flow)[:25].mean()
    assert solved.low_quarter_uniformity_pct == pytest.approx(100.0 * lowest / flow.mean())
    assert solved.first_dry_emitter is None


def test_row_too_steep_for_its_head_says_from_which_emitter_on_it_is_dry() -> None:
    steep = replace(LINE, profile=((0.0, 0.0), (100.0, 40.0)))
    solved = solve_lateral(steep, 10.0)
    # Less than 10 m of head lifts water to at most 25 m along the row: emitter 54 at 0.46 m.
    assert solved.first_dry_emitter is not None
    assert 45 < solved.first_dry_emitter <= 55
    first = solved.first_dry_emitter - 1
    assert np.all(solved.emitter_flow_l_per_h[:first] > 0.0)
    assert np.all(solved.emitter_flow_l_per_h[first:] == 0.0)
    assert np.all(solved.emitter_head_m[first:] == 0.0)
    assert solved.design_uniformity_pct == 0.0
    assert solved.inlet_flow_l_per_h == pytest.approx(solved.emitter_flow_l_per_h.sum())


def test_water_is_not_drawn_over_a_crest_that_its_pressure_does_not_reach() -> None:
    crest = replace(LINE, profile=((0.0, 0.0), (20.0, 11.0), (40.0, -10.0)))
    solved = solve_lateral(crest, 10.0)
    assert solved.first_dry_emitter is not None
    assert solved.first_dry_emitter <= 43  # the crest, at 20 m
    assert np.all(solved.emitter_flow_l_per_h[solved.first_dry_emitter - 1 :] == 0.0)


def test_crest_that_the_pressure_reaches_is_passed() -> None:
    crest = replace(LINE, profile=((0.0, 0.0), (20.0, 8.0), (40.0, -10.0)))
    solved = solve_lateral(crest, 10.0)
    assert solved.first_dry_emitter is None
    assert solved.emitter_head_m[-1] > solved.inlet_head_m


def test_tube_far_too_thin_for_its_emitters_runs_dry_on_the_way() -> None:
    thin = Lateral(Emitter(20.0), Pipe(4.0), 1000, 0.46)
    solved = solve_lateral(thin, 10.0)
    assert solved.first_dry_emitter is not None
    assert 5 < solved.first_dry_emitter < 200
    assert solved.inlet_flow_l_per_h > 50.0


@pytest.mark.parametrize("head_m", [0.0, -5.0])
def test_lateral_without_pressure_is_dry_from_the_first_emitter_on(head_m: float) -> None:
    solved = solve_lateral(LINE, head_m)
    assert solved.first_dry_emitter == 1
    assert solved.inlet_flow_l_per_h == 0.0
    assert solved.low_quarter_uniformity_pct == 0.0


def test_compensating_lateral_gives_every_emitter_the_same_within_its_range() -> None:
    line = replace(LINE, emitter=COMPENSATED, profile=((0.0, 0.0), (100.0, 8.0)))
    solved = solve_lateral(line, 20.0)
    np.testing.assert_allclose(solved.emitter_flow_l_per_h, 2.0)
    assert solved.low_quarter_uniformity_pct == pytest.approx(100.0)


def test_profile_is_followed_point_by_point_and_its_last_slope_goes_on() -> None:
    profile = ((0.0, 50.0), (10.0, 51.0), (20.0, 50.0))
    np.testing.assert_allclose(
        rise_along_m(profile, [0.0, 5.0, 10.0, 15.0, 40.0]), [0.0, 0.5, 1.0, 0.5, -2.0]
    )


def test_longest_row_meets_the_target_and_one_more_emitter_misses_it() -> None:
    found = longest_row(LINE, 10.0, 90.0)
    assert found.design_uniformity_pct >= 90.0
    assert found.length_m == pytest.approx(found.emitter_count * 0.46)
    assert not found.is_search_limit
    kept = solve_lateral(replace(LINE, emitter_count=found.emitter_count), 10.0)
    assert kept.design_uniformity_pct == pytest.approx(found.design_uniformity_pct)
    longer = solve_lateral(replace(LINE, emitter_count=found.emitter_count + 1), 10.0)
    assert longer.design_uniformity_pct < 90.0


def test_row_downhill_may_be_longer_than_one_on_the_level() -> None:
    level = longest_row(LINE, 10.0, 90.0)
    downhill = longest_row(replace(LINE, profile=((0.0, 0.0), (100.0, -1.0))), 10.0, 90.0)
    assert downhill.emitter_count > level.emitter_count


def test_no_row_is_even_enough_where_the_emitters_themselves_are_not() -> None:
    poor = replace(LINE, emitter=Emitter(2.0, manufacturer_variation_ratio=0.15))
    found = longest_row(poor, 10.0, 90.0)
    assert found.emitter_count == 0
    assert math.isnan(found.design_uniformity_pct)


def test_search_that_ends_at_its_own_limit_says_so() -> None:
    found = longest_row(LINE, 10.0, 50.0, search_limit_count=40)
    assert (found.emitter_count, found.is_search_limit) == (40, True)


def test_every_fault_of_a_lateral_is_named() -> None:
    wrong = Lateral(
        Emitter(-2.0, flow_exponent=1.4), Pipe(0.0), 0, 0.46, profile=((1.0, 0.0), (0.0, 0.0))
    )
    with pytest.raises(InputInvalid) as caught:
        solve_lateral(wrong, 10.0)
    places = {fault.where.split(": ")[-1] for fault in caught.value.faults}
    assert places >= {
        "nominal_flow_l_per_h",
        "flow_exponent",
        "inner_diameter_mm",
        "emitter_count",
        "profile",
    }


def test_head_that_is_no_number_is_refused() -> None:
    with pytest.raises(InputInvalid, match="inlet_head_m"):
        solve_lateral(LINE, math.nan)


@given(laterals, heads)
def test_inflow_is_the_sum_of_the_emitters_and_heads_keep_the_energy(
    lateral: Lateral, head_m: float
) -> None:
    solved = solve_lateral(lateral, head_m)
    flow, head = solved.emitter_flow_l_per_h, solved.emitter_head_m
    reached = solved.reached_emitter_count
    assert solved.inlet_flow_l_per_h == pytest.approx(flow.sum())
    assert np.all(flow[:reached] > 0.0)
    assert np.all(flow[reached:] == 0.0)
    # From the inlet down: what each segment takes is its friction and its rise.
    rise = rise_along_m(
        lateral.profile,
        lateral.inlet_segment_m + lateral.emitter_spacing_m * np.arange(lateral.emitter_count),
    )
    expected, before, carried = head_m, 0.0, float(flow.sum())
    for position in range(reached):
        length = lateral.emitter_spacing_m if position else lateral.inlet_segment_m
        length += lateral.connection_length_m
        expected -= length * friction_head_m_per_m(lateral.pipe, carried) + rise[position] - before
        assert head[position] == pytest.approx(expected, abs=1e-5 * max(1.0, head_m))
        before, carried = rise[position], carried - flow[position]


@given(laterals, heads)
def test_pressure_falls_along_level_ground(lateral: Lateral, head_m: float) -> None:
    solved = solve_lateral(replace(lateral, profile=((0.0, 0.0),)), head_m)
    assert np.all(np.diff(solved.emitter_head_m) <= 1e-12)
    assert np.all(np.diff(solved.emitter_flow_l_per_h) <= 1e-12)


@given(laterals, heads, st.floats(0.0, 20.0))
def test_more_inlet_head_never_lowers_any_flow(
    lateral: Lateral, head_m: float, more_m: float
) -> None:
    before = solve_lateral(lateral, head_m)
    after = solve_lateral(lateral, head_m + more_m)
    # When water begins to pass a crest, the emitters before it lose some: that is no error.
    assume(after.reached_emitter_count == before.reached_emitter_count or is_rising(lateral))
    # Where the flow dies out on the way, the last drops are cut off at some emitter.
    slack = 1e-4 * lateral.emitter.nominal_flow_l_per_h
    assert np.all(after.emitter_flow_l_per_h >= before.emitter_flow_l_per_h - slack)


def is_rising(lateral: Lateral) -> bool:
    """No crest: the ground never falls again."""
    return all(np.diff([height for _, height in lateral.profile]) >= 0.0)


@given(st.lists(st.tuples(laterals, heads), min_size=1, max_size=8))
def test_batch_is_the_loop(cases: list[tuple[Lateral, float]]) -> None:
    together = solve_laterals([lateral for lateral, _ in cases], [head for _, head in cases])
    for index, (lateral, head_m) in enumerate(cases):
        alone = solve_lateral(lateral, head_m)
        count = lateral.emitter_count
        np.testing.assert_array_equal(
            together.emitter_flow_l_per_h[index, :count], alone.emitter_flow_l_per_h
        )
        assert np.all(np.isnan(together.emitter_flow_l_per_h[index, count:]))
        assert together.design_uniformity_pct[index] == alone.design_uniformity_pct
        assert together.low_quarter_uniformity_pct[index] == alone.low_quarter_uniformity_pct
        assert together.reached_emitter_count[index] == alone.reached_emitter_count
