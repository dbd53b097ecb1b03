"""The rate of a block as its meter shows it: what its emitters give, against what they are said to.

In: the flow ratios of a block's metered runs, water that reaches emitters over design. Out: the
median of the latest runs, how sure it is by the block's own spread, and whether it is far enough
from the design to be offered for coming plans (:class:`LearnedRate`). It is never taken over by
itself; a change within the season is the subject of :mod:`service.waterworks.flow_check`.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from service.waterworks.flow_watch import flow_noise

LEAST_RATE_RUN_COUNT = 5  # [-] fewer runs offer nothing; [CHOICE]
RATE_RUN_COUNT = 20  # [-] latest runs whose median is the rate; [CHOICE]
LEAST_RATE_CHANGE_FRACTION = 0.03  # [-] a smaller difference is within a meter's error; [CHOICE]
SURE_ERRORS = 2.0  # [-] standard errors that the median must be from the design; [CHOICE]
MEDIAN_ERROR_RATIO = math.sqrt(math.pi / 2.0)  # [-] of the median to the mean, of normal values


class LearnedRate(NamedTuple):
    """The flow of a block by its meter, as a ratio to its design."""

    run_count: int
    """Runs whose median it is."""
    rate_ratio: float
    """NaN with too few runs."""
    error_fraction: float
    """Standard error of that ratio."""

    @property
    def is_enough(self) -> bool:
        """Whether there are runs enough to say anything."""
        return self.run_count >= LEAST_RATE_RUN_COUNT

    @property
    def is_clear(self) -> bool:
        """Whether the rate is surely another one than the design."""
        least = max(LEAST_RATE_CHANGE_FRACTION, SURE_ERRORS * self.error_fraction)
        return self.is_enough and abs(self.rate_ratio - 1.0) > least


def learned_rate(ratio: ArrayLike) -> LearnedRate:
    """The rate of a block by the median of its latest runs.

    Shapes: ratio (runs,) by time, without NaN.
    Returns: ratio [-] of up to 20 runs and its standard error; NaN with fewer than five.
    Equation: error = sqrt(pi / 2) s sqrt((1 + m) / (1 - m) / n), that of a median of normal values,
    with spread s and memory m of the runs by :func:`service.waterworks.flow_watch.flow_noise`.
    >>> found = learned_rate([1.15, 1.13, 1.17, 1.16, 1.14, 1.15])
    >>> found.rate_ratio, found.is_clear
    (1.15, True)
    >>> learned_rate([1.15, 0.9, 1.2, 0.95, 1.05]).is_clear
    False
    """
    values = np.asarray(ratio, dtype=np.float64)[-RATE_RUN_COUNT:]
    if values.size < LEAST_RATE_RUN_COUNT:
        return LearnedRate(values.size, math.nan, math.nan)
    noise = flow_noise(values)
    per_run = (1.0 + noise.memory) / (1.0 - noise.memory) / values.size
    level = float(np.median(values))
    error = MEDIAN_ERROR_RATIO * noise.spread_fraction * level * math.sqrt(per_run)
    return LearnedRate(values.size, level, error)
