"""How long laterals take, compared with the same march in plain Python and with EPANET.

    python -m tests.benchmarks.laterals [--laterals 1000] [--without-epanet]

All laterals are invented. The bars are 20 ms for one lateral of 300 emitters and 1 s for 1,000
laterals of 100. Ratios are of one process: how many times longer the plain march takes, which ends
as exactly, and EPANET 2.2 through wntr, whose time has the writing and reading of its files in it.
"""

from __future__ import annotations

import argparse
import math
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from service.waterworks.lateral import (
    GRAVITY_M_S2,
    SMOOTH_PLASTIC_ROUGHNESS_MM,
    WATER_VISCOSITY_M2_S,
    Emitter,
    Lateral,
    Pipe,
    solve_lateral,
    solve_laterals,
)

HEAD_M = 10.0
ROUNDS = 20
PLAIN_COUNT = 20
"""Laterals that the plain march solves; the others would take as long each."""
AGREEMENT = 1e-6
"""Of every flow, between this service and the plain march."""
M3_S_PER_L_PER_H = 1.0 / 3.6e6


def main() -> None:
    """Solve one long lateral and many, and print times and ratios."""
    parser = argparse.ArgumentParser(description="times of laterals")
    parser.add_argument("--laterals", type=int, default=1000)
    parser.add_argument("--without-epanet", action="store_true")
    options = parser.parse_args()
    long = Lateral(Emitter(2.0), Pipe(16.0), 300, 0.46)
    solve_lateral(long, HEAD_M)  # compiled, or read from the cache
    ours_s = _best_s(lambda: solve_lateral(long, HEAD_M))
    plain_s = _best_s(lambda: march(long, HEAD_M), rounds=3)
    _agree(solve_lateral(long, HEAD_M).emitter_flow_l_per_h.tolist(), march(long, HEAD_M))
    print(
        f"1 lateral of 300 emitters: {1e3 * ours_s:.2f} ms; plain Python {plain_s / ours_s:.0f} x"
    )
    if not options.without_epanet:
        epanet_s = _epanet_s(long)
        print(f"  EPANET through wntr: {1e3 * epanet_s:.0f} ms, {epanet_s / ours_s:.0f} x")
    many = _invented(options.laterals)
    ours_s = _best_s(lambda: solve_laterals(many, HEAD_M), rounds=5)
    found = solve_laterals(many[:PLAIN_COUNT], HEAD_M).emitter_flow_l_per_h
    started = time.perf_counter()
    plain = [march(line, HEAD_M) for line in many[:PLAIN_COUNT]]
    plain_s = (time.perf_counter() - started) / len(plain) * len(many)
    for row, flows in enumerate(plain):
        _agree(found[row].tolist(), flows)
    print(
        f"{len(many)} laterals of 100 emitters: {ours_s:.3f} s; plain Python"
        f" {plain_s / ours_s:.0f} x (from {len(plain)} of them)"
    )


def _invented(count: int) -> list[Lateral]:
    """Laterals of 100 emitters, no two alike, on ground that falls or rises up to 1 %."""
    random = np.random.default_rng(20_260_401)
    return [
        Lateral(
            Emitter(float(flow), flow_exponent=float(exponent)),
            Pipe(float(diameter)),
            100,
            float(spacing),
            profile=((0.0, 0.0), (100.0, float(rise))),
        )
        for flow, exponent, diameter, spacing, rise in zip(
            random.uniform(1.0, 2.5, count),
            random.uniform(0.4, 0.6, count),
            random.uniform(14.0, 18.0, count),
            random.uniform(0.3, 0.6, count),
            random.uniform(-1.0, 1.0, count),
            strict=True,
        )
    ]


def march(line: Lateral, inlet_head_m: float) -> list[float]:
    """Flow of every emitter [L/h] on even ground, with the last head found by halving."""
    slope = line.profile[-1][1] / 100.0 if len(line.profile) > 1 else 0.0
    emitter = line.emitter
    coefficient = emitter.nominal_flow_l_per_h / emitter.nominal_head_m**emitter.flow_exponent
    diameter_m = line.pipe.inner_diameter_mm / 1000.0
    low, high = 0.0, inlet_head_m + 5.0
    flows: list[float] = []
    for _ in range(60):
        last = 0.5 * (low + high)
        head, total = last, 0.0
        flows = []
        for _ in range(line.emitter_count):
            flow = coefficient * head**emitter.flow_exponent
            flows.append(flow)
            total += flow
            gradient = _gradient(total * M3_S_PER_L_PER_H, diameter_m)
            head += (gradient + slope) * line.emitter_spacing_m
            if head < 0.0:
                break
        if head < inlet_head_m:
            low = last
        else:
            high = last
    return flows[::-1]


def _gradient(flow_m3_s: float, diameter_m: float) -> float:
    """Head per metre by Darcy-Weisbach with the friction factor of EPANET 2.2's source."""
    reynolds = 4.0 * flow_m3_s / (math.pi * diameter_m * WATER_VISCOSITY_M2_S)
    rough = SMOOTH_PLASTIC_ROUGHNESS_MM / 1000.0 / diameter_m
    if reynolds <= 2000.0:
        factor = 64.0 / reynolds
    elif reynolds >= 4000.0:
        factor = 0.25 / math.log10(rough / 3.7 + 5.74 / reynolds**0.9) ** 2
    else:
        # As EPANET's source has it: joined to the turbulent law at 4,000 in value and slope.
        at_4000 = 5.74 / 4000.0**0.9
        y2 = rough / 3.7 + at_4000
        y3 = -2.0 * math.log10(y2)
        fa = y3**-2
        fb = fa * (2.0 - 3.6 / math.log(10.0) * at_4000 / (y2 * y3))
        r = reynolds / 2000.0
        factor = (
            7.0 * fa - fb
            + r * (0.128 - 17.0 * fa + 2.5 * fb
            + r * (-0.128 + 13.0 * fa - 2.0 * fb + r * (0.032 - 3.0 * fa + 0.5 * fb)))
        )  # fmt: skip
    return factor * 8.0 * flow_m3_s**2 / (GRAVITY_M_S2 * math.pi**2 * diameter_m**5)


def _epanet_s(line: Lateral) -> float:
    from tests.validation.epanet_networks import epanet_lateral

    with tempfile.TemporaryDirectory() as folder:
        return _best_s(lambda: epanet_lateral(line, HEAD_M, Path(folder)), rounds=3)


def _best_s(call: Callable[[], object], *, rounds: int = ROUNDS) -> float:
    best = math.inf
    for _ in range(rounds):
        started = time.perf_counter()
        call()
        best = min(best, time.perf_counter() - started)
    return best


def _agree(ours: Sequence[float], theirs: Sequence[float]) -> None:
    apart = float(np.max(np.abs(np.divide(ours, theirs) - 1.0)))
    if not apart < AGREEMENT:
        message = f"flows differ from the plain march by {apart:.1e}: nothing to compare"
        raise SystemExit(message)


if __name__ == "__main__":
    main()
