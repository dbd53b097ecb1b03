"""Travel and fill: the benchmark lateral's figures, and how the times must behave."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.waterworks.block_hydraulics import Block, Manifold, Submain, solve_block
from service.waterworks.lateral import Emitter, Lateral, Pipe, solve_lateral
from service.waterworks.travel_time import (
    block_travel,
    lateral_travel_min,
    pipe_travel_min,
    pipe_volume_l,
)

LINE = Lateral(Emitter(2.0), Pipe(16.0), 100, 0.46)


def test_benchmark_lateral_takes_14_and_a_half_minutes_to_its_last_emitter() -> None:
    # CV49, computed once with other code from EPANET flows of the same lateral: 14.49 min to the
    # last emitter, 6.31 to the 90th, 8.11 to the 95th, 11.70 to the 99th.
    travel = lateral_travel_min(LINE, solve_lateral(LINE, 10.0).emitter_flow_l_per_h)
    assert travel[-1] == pytest.approx(14.49, abs=0.01)
    assert travel[[89, 94, 98]] == pytest.approx([6.31, 8.11, 11.70], abs=0.01)


def test_long_lateral_takes_20_minutes_and_holds_28_litres() -> None:
    line = replace(LINE, emitter_count=300)
    travel = lateral_travel_min(line, solve_lateral(line, 10.0).emitter_flow_l_per_h)
    assert travel[-1] == pytest.approx(20.2, abs=0.05)
    assert pipe_volume_l(line.pipe, line.length_m) == pytest.approx(27.7, abs=0.05)


def test_formula_for_even_flow_is_the_limit_of_the_sum() -> None:
    # A S / q (ln N + 0.5772): the harmonic sum, whose next term is 1 / (2 N).
    exact = lateral_travel_min(LINE, np.full(100, 2.0))[-1]
    segment_min = pipe_travel_min(LINE.pipe, LINE.emitter_spacing_m, 2.0)
    formula = segment_min * (math.log(LINE.emitter_count) + np.euler_gamma)
    assert formula == pytest.approx(14.38, abs=0.005)
    assert exact - formula == pytest.approx(segment_min / 200.0, rel=0.01)


def test_filling_is_far_quicker_than_travel() -> None:
    solved = solve_lateral(LINE, 10.0)
    fill = pipe_travel_min(LINE.pipe, LINE.length_m, solved.inlet_flow_l_per_h)
    assert fill == pytest.approx(2.8, abs=0.05)
    assert lateral_travel_min(LINE, solved.emitter_flow_l_per_h)[-1] > 5.0 * fill


def test_travel_to_an_emitter_that_water_does_not_reach_never_ends() -> None:
    steep = replace(LINE, profile=((0.0, 0.0), (100.0, 40.0)))
    solved = solve_lateral(steep, 10.0)
    travel = lateral_travel_min(steep, solved.emitter_flow_l_per_h)
    reached = solved.reached_emitter_count
    assert np.all(np.isfinite(travel[:reached]))
    assert np.all(np.isinf(travel[reached:]))


def test_pipe_without_flow_is_never_passed_and_pipe_without_length_at_once() -> None:
    assert math.isinf(pipe_travel_min(Pipe(50.0), 10.0, 0.0))
    assert pipe_travel_min(Pipe(50.0), 0.0, 0.0) == 0.0


def test_block_adds_submain_manifold_and_lateral() -> None:
    block = Block(
        manifold=Manifold(Pipe(51.0), 3.0),
        laterals=(LINE,) * 20,
        submain=Submain(Pipe(60.0), 100.0),
    )
    flow = solve_block(block, 10.0)
    travel = block_travel(block, flow)
    submain = pipe_travel_min(Pipe(60.0), 100.0, flow.inlet_flow_l_per_h)
    first = pipe_travel_min(Pipe(51.0), 3.0, flow.inlet_flow_l_per_h)
    assert travel.takeoff_travel_min[0] == pytest.approx(submain + first)
    own = lateral_travel_min(LINE, flow.emitter_flow_l_per_h[-1])
    assert travel.last_travel_min == pytest.approx(travel.takeoff_travel_min[-1] + own[-1])
    assert travel.most_travel_min < travel.last_travel_min
    litres = 20 * pipe_volume_l(Pipe(16.0), 46.0)
    litres += pipe_volume_l(Pipe(51.0), 60.0) + pipe_volume_l(Pipe(60.0), 100.0)
    assert travel.volume_l == pytest.approx(litres)
    assert travel.fill_time_min == pytest.approx(60.0 * litres / flow.inlet_flow_l_per_h)


def test_two_rows_at_a_takeoff_share_its_time() -> None:
    block = Block(Manifold(Pipe(51.0), 3.0), (LINE,) * 8, laterals_per_takeoff_count=2)
    travel = block_travel(block, solve_block(block, 10.0))
    assert travel.takeoff_travel_min.shape == (4,)
    np.testing.assert_allclose(
        travel.emitter_travel_min[0], travel.emitter_travel_min[1], rtol=1e-9
    )


def test_block_without_water_has_no_times() -> None:
    block = Block(Manifold(Pipe(51.0), 3.0), (LINE,) * 4)
    travel = block_travel(block, solve_block(block, 0.0))
    assert math.isinf(travel.fill_time_min)
    assert math.isinf(travel.last_travel_min)
    assert math.isinf(travel.most_travel_min)


@given(
    count=st.integers(1, 200),
    spacing_m=st.floats(0.1, 2.0),
    diameter_mm=st.floats(8.0, 30.0),
    head_m=st.floats(1.0, 30.0),
)
def test_travel_grows_along_the_lateral_and_never_beats_filling(
    count: int, spacing_m: float, diameter_mm: float, head_m: float
) -> None:
    line = Lateral(Emitter(2.0), Pipe(diameter_mm), count, spacing_m)
    solved = solve_lateral(line, head_m)
    travel = lateral_travel_min(line, solved.emitter_flow_l_per_h)
    arrived = travel[np.isfinite(travel)]
    assert np.all(np.diff(arrived) > 0.0)
    fill = pipe_travel_min(line.pipe, line.length_m, solved.inlet_flow_l_per_h)
    assert travel[-1] >= fill * (1.0 - 1e-9)
