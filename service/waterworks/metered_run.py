"""One metered run: how long water flowed in it, and which volumes its block can have passed.

In: minutes, volume and pulses of a run; flows of the block, its pipes and its supply; the flow
ratios of earlier runs. Out: the minutes that a volume is compared by, the band within which a run
is as expected, and the flows at which a volume is questioned (:class:`PassableFlow`). What changes
over a season is found by :mod:`service.waterworks.flow_check`.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from service.pulses import Pulse
from service.waterworks.flow_watch import flow_noise

BAND_FRACTION = 0.10  # [-] narrowest band of a run, of the expected volume; [CHOICE]
BAND_SPREADS = 2.0  # [sd] the band in spreads of the block's own runs; [CHOICE]
BAND_RUN_COUNT = 20  # [-] fewer runs do not tell their spread; [CHOICE]
SPREAD_RUN_COUNT = 60  # [-] latest runs that the spread is taken from; [CHOICE]
WIDEST_BAND_FRACTION = 0.5  # [-] below half of the expected a volume is questioned anyway
LEAST_PASSED_RATIO, MOST_PASSED_RATIO = 0.5, 1.5  # [-] of the design flow; [CHOICE]
"""The flow of a simple emitter goes with the root of its pressure (Keller and Karmeli 1974, from
memory): 0.5 to 1.5 are a quarter to 2.25 times the design pressure. Gallons taken for litres
(0.26), litres for gallons (3.8) and cubic metres for litres (0.001) are outside.
"""
PIPES_MARGIN_FRACTION = 0.25  # [-] by which meter, gauge and emitters may be off together; [CHOICE]
PIPES_MARGIN_SPREADS = 3.0  # [sd] the same, in spreads of the block's own runs; [CHOICE]


class FlowLimit(enum.StrEnum):
    """What decides how much water a run can have taken."""

    EMITTERS = "emitters"
    """The flow that the block's emitters are made for."""
    PIPES = "pipes"
    """What intact lines pass at the pressure of the supply, without their regulator."""
    SUPPLY = "supply"
    """The flow of the supply."""


class PassableFlow(NamedTuple):
    """Between which flows a run's mean flow can be right, by the meter."""

    least_l_per_h: float
    most_l_per_h: float
    limit: FlowLimit
    """What sets the upper one."""

    def holds(self, volume_l: float, duration_min: float) -> bool:
        """Whether a volume can have passed in these minutes."""
        hours = duration_min / 60.0
        return 0.0 < self.least_l_per_h * hours <= volume_l <= self.most_l_per_h * hours


def flowing_min(
    start_min: float, duration_min: float, pulses: Sequence[Pulse], *, design_min: float
) -> float:
    """Minutes of a run in which water flowed, as far as its volume and the plan tell.

    Shapes: scalars, and the pulses planned around the run, on its clock.
    design_min: minutes that the volume takes at the block's design flow [min].
    Returns: minutes of the run [min], or of the planned pulses within it where it spans several of
    them, with the rests between, and their sum fits the volume better.
    Source: [CHOICE], the smaller |ln(design minutes / minutes)|. An injection changes pulses before
    they are published, so that this holds for it too.
    >>> flowing_min(300.0, 300.0, (Pulse(300, 60), Pulse(540, 60)), design_min=130.0)
    120.0
    >>> flowing_min(300.0, 300.0, (Pulse(300, 60), Pulse(540, 60)), design_min=280.0)
    300.0
    """
    end_min = start_min + duration_min
    overlaps = [min(end_min, each.end_min) - max(start_min, each.start_min) for each in pulses]
    covered = [minutes for minutes in overlaps if minutes > 0.0]
    if len(covered) < 2 or not design_min > 0.0:
        return duration_min
    by_pulses = abs(math.log(design_min / sum(covered)))
    return sum(covered) if by_pulses < abs(math.log(design_min / duration_min)) else duration_min


def run_band_fraction(ratio: ArrayLike) -> float:
    """How far the flow ratio of one run may be from 1 before a fault is suspected.

    Shapes: ratio (runs,) of earlier runs by time, without NaN.
    Returns: fraction [-] of the expected volume, 0.1 to 0.5; 0.1 with fewer than 20 runs.
    Source: [CHOICE], max(0.1, 2 spreads of the latest 60 runs) by
    :func:`service.waterworks.flow_watch.flow_noise`.
    >>> run_band_fraction([1.0, 1.3] * 5)
    0.1
    >>> round(run_band_fraction([0.85, 1.15, 1.0, 1.15, 0.85] * 8), 2)
    0.32
    """
    spread = run_spread_fraction(ratio)
    band = BAND_FRACTION if math.isnan(spread) else max(BAND_FRACTION, BAND_SPREADS * spread)
    return min(band, WIDEST_BAND_FRACTION)


def run_spread_fraction(ratio: ArrayLike) -> float:
    """How much the runs of a block differ from run to run.

    Shapes: ratio (runs,) by time, without NaN.
    Returns: spread [-] of the latest 60 runs, as a share of their level; NaN with fewer than 20.
    Source: :func:`service.waterworks.flow_watch.flow_noise`.
    """
    values = np.asarray(ratio, dtype=np.float64)[-SPREAD_RUN_COUNT:]
    return flow_noise(values).spread_fraction if values.size >= BAND_RUN_COUNT else math.nan


def passable_flow(
    design_l_per_h: float,
    *,
    pipes_l_per_h: float = math.nan,
    supply_l_per_h: float = math.inf,
    spread_fraction: float = math.nan,
) -> PassableFlow:
    """Between which flows a run's volume is booked without a question.

    Shapes: scalars.
    design_l_per_h, pipes_l_per_h: by the meter; pipes: what intact lines pass at the pressure of
    the supply, NaN where they are not described; supply_l_per_h: flow of the supply.
    Returns: bounds [L/h] of the mean flow; without pipes 0.5 to 1.5 of the design.
    Source: [CHOICE], the smaller of pipes and supply, and a quarter more or three spreads of the
    block's own runs.
    >>> passable_flow(1000.0)
    PassableFlow(least_l_per_h=500.0, most_l_per_h=1500.0, limit=<FlowLimit.EMITTERS: 'emitters'>)
    >>> passable_flow(1000.0, pipes_l_per_h=1600.0, supply_l_per_h=4000.0).most_l_per_h
    2000.0
    """
    least = LEAST_PASSED_RATIO * design_l_per_h
    if math.isnan(pipes_l_per_h):
        return PassableFlow(least, MOST_PASSED_RATIO * design_l_per_h, FlowLimit.EMITTERS)
    spreads = 0.0 if math.isnan(spread_fraction) else PIPES_MARGIN_SPREADS * spread_fraction
    margin = 1.0 + max(PIPES_MARGIN_FRACTION, spreads)
    limit = FlowLimit.SUPPLY if supply_l_per_h < pipes_l_per_h else FlowLimit.PIPES
    return PassableFlow(least, margin * min(pipes_l_per_h, supply_l_per_h), limit)
