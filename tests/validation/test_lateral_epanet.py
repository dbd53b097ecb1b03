"""The stepwise lateral and block against EPANET 2.2, a solver that shares no code with ours.

EPANET (Rossman et al. 2020, EPA/600/R-20/133) solves all nodes of a network at once by a gradient
method; ours marches from one end. Friction and emitter laws are the same. EPANET's gravity is 32.2
ft/s2, so that its Darcy-Weisbach friction is 0.08 % less than ours: the tolerance is 0.1 % of each
emitter's flow.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from service.waterworks.block_hydraulics import Block, Manifold, Submain, solve_block
from service.waterworks.lateral import Emitter, FrictionLaw, Lateral, Pipe, solve_lateral
from tests.validation.epanet_networks import epanet_block, epanet_lateral

FLOW_TOLERANCE = 1e-3  # [-] of each emitter's flow
BENCHMARK = Lateral(
    emitter=Emitter(2.0, manufacturer_variation_ratio=0.03),
    pipe=Pipe(16.0),
    emitter_count=100,
    emitter_spacing_m=0.46,
)
CASES = {
    "flat": BENCHMARK,
    "down": replace(BENCHMARK, profile=((0.0, 0.0), (100.0, -1.0))),
    "up": replace(BENCHMARK, profile=((0.0, 0.0), (100.0, 1.0))),
    "long": replace(BENCHMARK, emitter_count=300),
    "narrow": replace(BENCHMARK, pipe=Pipe(12.0)),
}
# EPANET 2.2 through wntr 1.5.0: first and last emitter [L/h].
KEPT_EPANET = {
    "flat": (1.99956, 1.98579),
    "down": (2.00001, 2.03117),
    "up": (1.99911, 1.93936),
    "long": (1.99757, 1.72400),
    "narrow": (1.99835, 1.94173),
}
# A stepwise solution with EPANET's friction factor, computed once with other code: inlet flow
# [L/h], last head [m], qmin/qavg, EU (Cv .03) [%], low-quarter uniformity [%].
KEPT_STEPWISE = {
    "flat": (198.93, 9.8585, 0.99822, 96.02, 99.83),
    "down": (201.22, 10.3141, 0.99393, 95.61, 99.44),
    "up": (196.61, 9.4028, 0.98639, 94.88, 98.94),
    "long": (539.32, 7.4305, 0.95898, 92.24, 95.99),
    "narrow": (195.62, 9.4258, 0.99259, 95.48, 99.29),
}
GENERATED_COUNT = 48


def generated_lateral(number: int) -> tuple[Lateral, float]:
    """A lateral and an inlet head, the same for the same number; water reaches its end."""
    random = np.random.default_rng([20_260_101, number])
    while True:
        exponent = float(random.choice([0.0, 0.05, 0.2, 0.4, 0.5, 0.5, 0.6, 0.8, 1.0]))
        count = int(random.integers(5, 301))
        spacing_m = float(random.uniform(0.2, 1.5))
        length_m = count * spacing_m
        kind = random.choice(["flat", "even", "broken"])
        slopes = random.uniform(-0.04, 0.04, size=3)
        profile = [(0.0, 0.0)]
        if kind == "even":
            profile.append((length_m, length_m * float(slopes[0])))
        if kind == "broken":
            for part, slope in enumerate(slopes):
                along, height = profile[-1]
                profile.append(((part + 1) * length_m / 3, height + length_m / 3 * float(slope)))
                assert profile[-1][0] > along
        lateral = Lateral(
            emitter=Emitter(float(random.uniform(0.5, 8.0)), flow_exponent=exponent),
            pipe=Pipe(
                inner_diameter_mm=float(random.choice([10.0, 13.6, 16.0, 17.4, 20.0, 25.0])),
                friction_law=FrictionLaw(
                    random.choice(["darcy-weisbach"] * 3 + ["hazen-williams"])
                ),
                roughness_mm=float(random.choice([0.0015, 0.0015, 0.02])),
            ),
            emitter_count=count,
            emitter_spacing_m=spacing_m,
            first_segment_m=float(random.uniform(0.0, 2.0)) + 0.01,
            connection_length_m=float(random.choice([0.0, 0.1, 0.3])),
            profile=tuple(profile),
        )
        head_m = float(random.uniform(3.0, 30.0))
        # EPANET lets air in nowhere: only laterals under pressure from end to end compare.
        if solve_lateral(lateral, head_m).emitter_head_m.min() > 0.5:
            return lateral, head_m


@pytest.mark.parametrize("name", CASES)
def test_benchmark_lateral_agrees_with_epanet_at_every_emitter(name: str, tmp_path: Path) -> None:
    solved = solve_lateral(CASES[name], 10.0)
    flow, head = epanet_lateral(CASES[name], 10.0, tmp_path)
    np.testing.assert_allclose(solved.emitter_flow_l_per_h, flow, rtol=2e-4)
    np.testing.assert_allclose(solved.emitter_head_m, head, atol=0.003)
    assert (flow[0], flow[-1]) == pytest.approx(KEPT_EPANET[name], abs=2e-5)


@pytest.mark.parametrize("name", CASES)
def test_benchmark_lateral_gives_the_kept_figures(name: str) -> None:
    solved = solve_lateral(CASES[name], 10.0)
    inlet_flow, last_head, ratio, uniformity, low_quarter = KEPT_STEPWISE[name]
    assert solved.inlet_flow_l_per_h == pytest.approx(inlet_flow, abs=0.05)
    assert solved.emitter_head_m[-1] == pytest.approx(last_head, abs=0.002)
    assert solved.lowest_over_mean_ratio == pytest.approx(ratio, abs=5e-5)
    assert solved.design_uniformity_pct == pytest.approx(uniformity, abs=0.01)
    assert solved.low_quarter_uniformity_pct == pytest.approx(low_quarter, abs=0.01)


@pytest.mark.parametrize("number", range(GENERATED_COUNT))
def test_generated_lateral_agrees_with_epanet_at_every_emitter(number: int, tmp_path: Path) -> None:
    lateral, head_m = generated_lateral(number)
    solved = solve_lateral(lateral, head_m)
    flow, _ = epanet_lateral(lateral, head_m, tmp_path)
    np.testing.assert_allclose(solved.emitter_flow_l_per_h, flow, rtol=FLOW_TOLERANCE)


def test_generated_laterals_cover_what_they_claim_to() -> None:
    cases = [generated_lateral(number) for number in range(GENERATED_COUNT)]
    exponents = {lateral.emitter.flow_exponent for lateral, _ in cases}
    assert {0.0, 0.5, 1.0} <= exponents
    assert {len(lateral.profile) for lateral, _ in cases} == {1, 2, 4}
    assert {lateral.pipe.friction_law for lateral, _ in cases} == set(FrictionLaw)
    falls = [lateral.profile[1][1] for lateral, _ in cases if len(lateral.profile) == 2]
    assert min(falls) < 0 < max(falls)
    losses = [
        1.0 - solve_lateral(lateral, head_m).emitter_head_m.min() / head_m
        for lateral, head_m in cases
    ]
    assert max(losses) > 0.5


@pytest.mark.parametrize("sides", [1, 2])
def test_block_with_unlike_laterals_agrees_with_epanet(sides: int, tmp_path: Path) -> None:
    line = replace(BENCHMARK, emitter_count=40)
    other = replace(BENCHMARK, emitter_count=60, profile=((0.0, 0.0), (10.0, -0.5), (20.0, 0.2)))
    block = Block(
        manifold=Manifold(Pipe(32.0), 2.5, 1.0, profile=((0.0, 0.0), (10.0, 0.5), (20.0, 0.2))),
        laterals=(line, other) * 6,
        laterals_per_takeoff_count=sides,
        submain=Submain(Pipe(40.0), 80.0, rise_m=1.0),
    )
    solved = solve_block(block, 12.0)
    flow, head = epanet_block(block, 12.0, tmp_path)
    is_emitter = np.isfinite(solved.emitter_flow_l_per_h)
    np.testing.assert_allclose(solved.emitter_flow_l_per_h[is_emitter], flow, rtol=FLOW_TOLERANCE)
    np.testing.assert_allclose(solved.emitter_head_m[is_emitter], head, atol=0.01)
