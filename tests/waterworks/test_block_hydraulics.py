"""A block on its manifold: it agrees with its laterals, with itself, and with plain reason.

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
from service.waterworks.block_hydraulics import (
    Block,
    Manifold,
    Regulator,
    RegulatorFinding,
    Submain,
    regulated_head_m,
    solve_block,
    solve_regulated_block,
)
from service.waterworks.lateral import (
    Emitter,
    Lateral,
    Pipe,
    solve_lateral,
    solve_laterals,
)
from tests.waterworks.friction import friction_head_m_per_m

LINE = Lateral(Emitter(2.0, manufacturer_variation_ratio=0.03), Pipe(16.0), 100, 0.46)
MANIFOLD = Manifold(Pipe(51.0), 3.0)
BLOCK = Block(MANIFOLD, (LINE,) * 20)
COMPENSATED = Emitter(
    2.0, flow_exponent=0.0, compensates_from_head_m=5.0, compensates_to_head_m=35.0
)

lines = st.builds(
    Lateral,
    emitter=st.builds(
        Emitter,
        nominal_flow_l_per_h=st.floats(0.5, 8.0),
        flow_exponent=st.floats(0.0, 1.0),
    ),
    pipe=st.builds(Pipe, inner_diameter_mm=st.floats(10.0, 25.0)),
    emitter_count=st.integers(1, 60),
    emitter_spacing_m=st.floats(0.2, 1.0),
    profile=st.floats(-0.03, 0.05).map(lambda slope: ((0.0, 0.0), (1.0, slope))),
)
blocks = st.builds(
    Block,
    manifold=st.builds(
        Manifold,
        pipe=st.builds(Pipe, inner_diameter_mm=st.floats(15.0, 80.0)),
        takeoff_spacing_m=st.floats(0.5, 4.0),
        first_segment_m=st.one_of(st.none(), st.floats(0.0, 10.0)),
        profile=st.floats(-0.05, 0.05).map(lambda slope: ((0.0, 0.0), (1.0, slope))),
    ),
    laterals=st.lists(lines, min_size=1, max_size=8).map(lambda some: tuple(some) * 2),
    laterals_per_takeoff_count=st.sampled_from([1, 2]),
    submain=st.one_of(
        st.none(),
        st.builds(
            Submain,
            pipe=st.builds(Pipe, inner_diameter_mm=st.floats(40.0, 100.0)),
            length_m=st.floats(0.0, 200.0),
            rise_m=st.floats(-1.0, 1.0),
        ),
    ),
)


def test_each_lateral_is_the_lateral_alone_at_the_head_of_its_takeoff() -> None:
    solved = solve_block(BLOCK, 10.0)
    alone = solve_laterals(BLOCK.laterals, solved.takeoff_head_m)
    np.testing.assert_allclose(solved.emitter_flow_l_per_h, alone.emitter_flow_l_per_h, rtol=1e-7)


def test_manifold_loses_the_friction_of_the_flow_that_it_carries() -> None:
    solved = solve_block(BLOCK, 10.0)
    head, carried = 10.0, solved.inlet_flow_l_per_h
    for takeoff in range(20):
        head -= 3.0 * friction_head_m_per_m(Pipe(51.0), carried)
        assert solved.takeoff_head_m[takeoff] == pytest.approx(head, abs=1e-6)
        carried -= solved.lateral_flow_l_per_h[takeoff]


def test_submain_takes_its_friction_and_its_rise_first() -> None:
    submain = Submain(Pipe(60.0), 100.0, rise_m=0.5)
    solved = solve_block(replace(BLOCK, submain=submain), 12.0)
    left = 12.0 - 0.5 - 100.0 * friction_head_m_per_m(Pipe(60.0), solved.inlet_flow_l_per_h)
    without = solve_block(BLOCK, left)
    assert without.inlet_flow_l_per_h == pytest.approx(solved.inlet_flow_l_per_h, rel=1e-6)


def test_rows_on_both_sides_share_a_takeoff() -> None:
    solved = solve_block(replace(BLOCK, laterals_per_takeoff_count=2), 10.0)
    assert solved.takeoff_head_m.shape == (10,)
    np.testing.assert_allclose(
        solved.lateral_flow_l_per_h[::2], solved.lateral_flow_l_per_h[1::2], rtol=1e-9
    )


def test_block_uniformity_counts_the_emitters_of_all_laterals() -> None:
    solved = solve_block(BLOCK, 10.0)
    flow = solved.emitter_flow_l_per_h
    ratio = flow.min() / flow.mean()
    assert solved.design_uniformity_pct == pytest.approx(100.0 * (1.0 - 1.27 * 0.03) * ratio)
    worst = solve_lateral(LINE, float(solved.takeoff_head_m[-1]))
    assert solved.design_uniformity_pct < worst.design_uniformity_pct
    lowest = np.sort(flow.ravel())[:500].mean()
    assert solved.low_quarter_uniformity_pct == pytest.approx(100.0 * lowest / flow.mean())


def test_thinner_manifold_waters_less_evenly() -> None:
    thin = solve_block(replace(BLOCK, manifold=Manifold(Pipe(32.0), 3.0)), 10.0)
    assert thin.low_quarter_uniformity_pct < solve_block(BLOCK, 10.0).low_quarter_uniformity_pct


def test_compensating_emitters_make_up_for_the_manifold_within_their_range() -> None:
    line = replace(LINE, emitter=COMPENSATED)
    block = Block(Manifold(Pipe(32.0), 3.0), (line,) * 20)
    within, below = solve_block(block, 25.0), solve_block(block, 6.0)
    assert within.outside_range_count == 0
    assert within.low_quarter_uniformity_pct == pytest.approx(100.0)
    assert within.inlet_flow_l_per_h == pytest.approx(4000.0)
    assert 0 < below.outside_range_count < 2000
    assert below.low_quarter_uniformity_pct < 100.0


def test_takeoffs_above_the_pressure_are_dry() -> None:
    hill = replace(BLOCK, manifold=replace(MANIFOLD, profile=((0.0, 0.0), (10.0, 2.0))))
    solved = solve_block(hill, 5.0)
    assert 5 < solved.reached_takeoff_count <= 8  # 5 m of head climb at most 25 m of manifold
    assert np.all(solved.takeoff_head_m[solved.reached_takeoff_count :] == 0.0)
    assert np.all(solved.lateral_flow_l_per_h[solved.reached_takeoff_count :] == 0.0)
    assert solved.dry_emitter_count == 100 * (20 - solved.reached_takeoff_count)
    assert solved.design_uniformity_pct == 0.0


def test_manifold_far_too_thin_gives_water_only_to_its_first_takeoffs() -> None:
    thin = replace(BLOCK, laterals=(LINE,) * 50, manifold=Manifold(Pipe(10.0), 3.0))
    solved = solve_block(thin, 10.0)
    assert 5 < solved.reached_takeoff_count < 50
    assert solved.inlet_flow_l_per_h > 200.0


def test_laterals_that_water_just_passes_a_crest_of_are_solved() -> None:
    crest = replace(LINE, profile=((0.0, 0.0), (20.0, 3.0), (40.0, -3.0)))
    block = replace(BLOCK, laterals=(crest,) * 20)
    flows = [solve_block(block, head).inlet_flow_l_per_h for head in np.linspace(2.5, 4.5, 21)]
    assert np.all(np.diff(flows) > 0.0)


@pytest.mark.parametrize("head_m", [0.0, -2.0])
def test_block_without_pressure_is_dry(head_m: float) -> None:
    solved = solve_block(BLOCK, head_m)
    assert solved.inlet_flow_l_per_h == 0.0
    assert solved.dry_emitter_count == 2000


def test_regulator_holds_its_setting_while_it_has_pressure_to_spare() -> None:
    regulator = Regulator(10.0, 3.0, 500.0, 6000.0, highest_supply_head_m=60.0)
    assert regulated_head_m(regulator, 30.0) == 10.0
    assert regulated_head_m(regulator, 13.0) == 10.0
    assert regulated_head_m(regulator, 11.0) == 8.0
    assert regulated_head_m(regulator, 1.0) == 0.0


@pytest.mark.parametrize(
    ("rows", "supply_head_m", "findings"),
    [
        (20, 30.0, ()),
        (20, 11.0, (RegulatorFinding.PRESSURE_TOO_LOW,)),
        (20, 70.0, (RegulatorFinding.PRESSURE_TOO_HIGH,)),
        (2, 30.0, (RegulatorFinding.FLOW_TOO_LOW,)),
        (40, 30.0, (RegulatorFinding.FLOW_TOO_HIGH,)),
    ],
)
def test_regulator_outside_its_range_is_found(
    rows: int, supply_head_m: float, findings: tuple[RegulatorFinding, ...]
) -> None:
    regulator = Regulator(10.0, 3.0, 500.0, 6000.0, highest_supply_head_m=60.0)
    checked = solve_regulated_block(
        replace(BLOCK, laterals=(LINE,) * rows), regulator, supply_head_m
    )
    assert checked.findings == findings
    assert checked.flow.inlet_head_m == checked.outlet_head_m


@pytest.mark.parametrize(
    ("block", "text"),
    [
        (replace(BLOCK, laterals=()), "laterals"),
        (replace(BLOCK, laterals=(LINE,) * 3, laterals_per_takeoff_count=2), "laterals"),
        (replace(BLOCK, manifold=replace(MANIFOLD, takeoff_spacing_m=0.0)), "takeoff_spacing_m"),
        (replace(BLOCK, manifold=replace(MANIFOLD, profile=((1.0, 0.0),))), "profile"),
        (replace(BLOCK, submain=Submain(Pipe(0.0), 10.0)), "submain: inner_diameter_mm"),
        (replace(BLOCK, laterals=(LINE, replace(LINE, emitter_count=0))), "lateral 2"),
    ],
)
def test_block_that_cannot_be_built_says_where(block: Block, text: str) -> None:
    with pytest.raises(InputInvalid, match=text):
        solve_block(block, 10.0)


def test_regulator_that_cannot_be_is_refused() -> None:
    with pytest.raises(InputInvalid, match="highest_flow_l_per_h"):
        solve_regulated_block(BLOCK, Regulator(10.0, 3.0, 600.0, 500.0), 20.0)
    with pytest.raises(InputInvalid, match="inlet_head_m"):
        solve_block(BLOCK, math.inf)


@given(blocks, st.floats(0.5, 40.0))
def test_what_enters_the_block_leaves_its_emitters(block: Block, head_m: float) -> None:
    solved = solve_block(block, head_m)
    emitted = float(np.nansum(solved.emitter_flow_l_per_h))
    assert solved.inlet_flow_l_per_h == pytest.approx(emitted)
    head, carried = head_m, solved.inlet_flow_l_per_h
    if block.submain is not None:
        head -= block.submain.rise_m
        head -= block.submain.length_m * friction_head_m_per_m(block.submain.pipe, carried)
    slope = block.manifold.profile[1][1]
    by_takeoff = solved.lateral_flow_l_per_h.reshape(-1, block.laterals_per_takeoff_count)
    for takeoff in range(solved.reached_takeoff_count):
        length_m = block.manifold.takeoff_spacing_m if takeoff else block.manifold.inlet_segment_m
        head -= length_m * (friction_head_m_per_m(block.manifold.pipe, carried) + slope)
        assert solved.takeoff_head_m[takeoff] == pytest.approx(head, abs=2e-4 * max(1.0, head_m))
        carried -= float(by_takeoff[takeoff].sum())


@given(blocks, st.floats(0.5, 40.0), st.floats(0.0, 20.0))
def test_more_head_never_lowers_any_flow_of_the_block(
    block: Block, head_m: float, more_m: float
) -> None:
    before = solve_block(block, head_m)
    after = solve_block(block, head_m + more_m)
    # When water begins to pass a crest, the emitters before it lose some: that is no error.
    is_level = all(line.profile[1][1] >= 0.0 for line in block.laterals)
    assume(is_level or np.array_equal(before.reached_emitter_count, after.reached_emitter_count))
    # Solved to 1e-8 of the head: where the head is nearly nothing, the flow is less sharp.
    slack = 1e-4 * np.nanmax(after.emitter_flow_l_per_h)
    low, high = before.emitter_flow_l_per_h, after.emitter_flow_l_per_h
    assert np.all((high >= low - slack) | np.isnan(low))
