"""Watching a block's flow run by run: an alarm with a stated number of runs between false ones.

In: the flow ratio of each run, metered over expected. Out: the runs at which an alarm is raised
(:class:`FlowSignal`), the noise of the block (:class:`FlowNoise`), and how many runs a fault of a
given size takes to show. Every run is judged by the runs before it alone, so that looking after
each run or once a season gives the same alarms. What a run remembers of the one before it is taken
off as a first-order autoregression; the rest is compared with the mean and spread of its own past,
which makes a t value and by Wallace (1959, Annals of Mathematical Statistics 30:1121-1130) a normal
one; two cumulative sums add these up, one for sudden and one for slow changes (self-starting CUSUM:
Hawkins 1987, The Statistician 36:299-316; Hawkins and Olwell 1998; two sums side by side: Dragalin
1993). The decision limits follow from the run length of Siegmund (1985, Sequential Analysis); all
from memory. What this gives in fact is measured in tests/validation/test_flow_watch.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

RUNS_BETWEEN_FALSE_ALARMS = 3000.0  # [-] of a steady block; twenty seasons of 150 runs; [CHOICE]
SUDDEN_REFERENCE = 0.5  # [sd] k: half of the shift looked for, 1 sd
SLOW_REFERENCE = 0.25  # [sd] k of the sum for slow changes
SIEGMUND_SHIFT = 1.166  # [sd] the limit as a continuous sum would need it; Siegmund 1985
WARM_UP_COUNT = 8  # [-] runs that a sum learns from before it adds; [CHOICE]
OUTLIER_LIMIT = 4.0  # [sd] a single run beyond is set aside, a second one counts as this much:
# the rule of two in a row of Lucas and Crosier 1982, from memory
MEMORY_PRIOR = 0.3  # [-] correlation of successive runs before the runs tell; [CHOICE]
MEMORY_PRIOR_COUNT = 40.0  # [-] runs that this opinion weighs; [CHOICE]
MEMORY_LIMIT = 0.8  # [-] more cannot be told from a drift; [CHOICE]
SD_FLOOR_FRACTION = 0.005  # [-] of the level: no meter repeats better; [CHOICE]
SD_KEPT_SHARE = 0.5  # [-] of the spread before an alarm is the least after it; [CHOICE]
FAULTS_ASKED = (0.1, 0.2, 0.3, 0.5)  # [-] losses whose delay is stated
SLOW_FAULT_COUNT = 150  # [-] runs over which the slow losses are spread: a season
PAST_COUNT = 60.0  # [-] runs before the fault, where a delay is stated
LEAST_DELAY_COUNT = 3.0  # [-] runs: the first odd one waits for a second
LONGEST_DELAY_COUNT = 100.0  # [-] runs; what takes longer is lost in the noise; [CHOICE]


@dataclass(frozen=True, slots=True)
class FlowNoise:
    """How much the flow of a steady block differs from run to run."""

    spread_fraction: float
    """Standard deviation of a run's ratio, as a share of its level."""
    memory: float
    """Correlation of successive runs."""


class FlowSignal(NamedTuple):
    """An alarm, counted in metered runs."""

    run: int
    """The run that raised it."""
    change: int
    """First run since which the sum has grown: about where the change began."""
    is_rise: bool


class FaultDelay(NamedTuple):
    """How long a fault of one size takes to show."""

    loss_fraction: float
    sudden_run_count: float
    """Runs after which a sudden loss shows, on average; infinite where it is lost in the noise."""
    slow_run_count: float
    """Runs after which a loss of that size, spread evenly over 150 runs, shows; or infinite."""


class _Sum(NamedTuple):
    """One of the cumulative sums: its reference value, its limit and its direction."""

    reference: float
    limit: float
    sign: float


def mean_run_length(reference: float, limit: float, shift: float = 0.0) -> float:
    """Runs until a one-sided cumulative sum of standard normal values alarms, on average.

    Shapes: scalars. reference, limit: k and h [sd]; shift: of the mean [sd].
    Returns: runs [-].
    Source: Siegmund 1985, as in Montgomery, Statistical Quality Control; from memory:
    (exp(-2 D b) + 2 D b - 1) / (2 D^2), D = shift - k, b = h + 1.166; b^2 where D is 0.
    >>> round(mean_run_length(0.5, 5.0), 1), round(mean_run_length(0.5, 5.0, 1.0), 2)
    (938.2, 10.34)
    """
    drift, height = shift - reference, limit + SIEGMUND_SHIFT
    if abs(drift) < 1e-6:
        return height**2
    step = 2.0 * drift * height
    return (math.exp(min(-step, 700.0)) + step - 1.0) / (2.0 * drift**2)


def decision_limit(reference: float, run_length: float) -> float:
    """The limit h at which a one-sided sum has a given mean run length without a change.

    Shapes: scalars. reference: k [sd]; run_length: runs [-].
    Returns: h [sd].
    Source: :func:`mean_run_length`, solved by halving.
    >>> round(decision_limit(0.5, 938.2), 2)
    5.0
    """
    low, high = 0.0, 60.0
    for _ in range(60):
        middle = (low + high) / 2.0
        is_short = mean_run_length(reference, middle) < run_length
        low, high = (middle, high) if is_short else (low, middle)
    return (low + high) / 2.0


def _sums() -> tuple[_Sum, ...]:
    """Four sums, up and down for sudden and slow, that together alarm once in the stated runs."""
    alone = 4.0 * RUNS_BETWEEN_FALSE_ALARMS
    return tuple(
        _Sum(reference, decision_limit(reference, alone), sign)
        for reference in (SUDDEN_REFERENCE, SLOW_REFERENCE)
        for sign in (1.0, -1.0)
    )


_SUMS = _sums()


def flow_noise(ratio: ArrayLike) -> FlowNoise:
    """Spread and memory of a block's runs; jumps and slow changes hardly touch them.

    Shapes: ratio (runs,), without NaN.
    Returns: spread [-] and correlation [-]; NaN and the prior with less than three runs.
    Source: differences over one and two runs. Of an autoregression of spread s and memory m their
    variances are 2 s^2 (1 - m) and 2 s^2 (1 - m^2), so that their quotient less 1 is m. Absolute
    differences above four times their median count as that.
    >>> noise = flow_noise(np.tile([0.97, 1.03, 1.0, 1.03, 0.97], 20))
    >>> round(noise.spread_fraction, 2)
    0.03
    """
    values = np.asarray(ratio, dtype=np.float64)
    if values.size < 3:
        return FlowNoise(math.nan, MEMORY_PRIOR)
    near, far = np.abs(np.diff(values)), np.abs(values[2:] - values[:-2])
    cut = OUTLIER_LIMIT * max(float(np.median(near)), 1e-9)
    near, far = np.minimum(near, cut), np.minimum(far, cut)
    near_square, far_square = float(near @ near) / near.size, float(far @ far) / far.size
    memory = _memory(far_square / near_square if near_square > 0.0 else 1.0, near.size)
    level = max(abs(float(np.median(values))), 1e-9)
    return FlowNoise(math.sqrt(near_square / (2.0 * (1.0 - memory))) / level, memory)


def _memory(quotient: float, count: int) -> float:
    """Correlation of successive runs, drawn to the prior while there are few."""
    weight = count / (count + MEMORY_PRIOR_COUNT)
    found = weight * (quotient - 1.0) + (1.0 - weight) * MEMORY_PRIOR
    return min(max(found, 0.0), MEMORY_LIMIT)


def flow_signals(ratio: ArrayLike) -> tuple[FlowSignal, ...]:
    """All alarms of a series of runs, in order; the watch starts again at each change.

    Shapes: ratio (runs,), without NaN.
    Returns: alarms; what later runs bring does not alter them.
    Source: see the module.
    >>> noise = np.tile([-0.01, 0.02, -0.02, 0.01, 0.0], 16)
    >>> leak = np.where(np.arange(80) < 50, 1.0, 1.2)
    >>> [(each.run, each.change, each.is_rise) for each in flow_signals(leak + noise)]
    [(52, 50, True)]
    """
    values = np.asarray(ratio, dtype=np.float64)
    found: list[FlowSignal] = []
    start, floor = 0, 0.0
    while True:
        past = _Past(floor)
        signal = _next_signal(values[start:].tolist(), past)
        if signal is None:
            return tuple(found)
        found.append(FlowSignal(signal.run + start, signal.change + start, signal.is_rise))
        floor = SD_KEPT_SHARE * past.residual_sd
        start += max(signal.change, 1)


def fault_delays(noise: FlowNoise) -> tuple[FaultDelay, ...]:
    """How many runs losses of some sizes take to show.

    Shapes: noise of one block.
    Returns: delays for :data:`FAULTS_ASKED`; empty where the noise is not known.
    Source: :func:`mean_run_length` for a sudden loss of so many spreads, less what memory hides,
    sqrt((1 - m) / (1 + m)); for a slow one the noise-free course of the sums, whose reference, the
    mean of the past, has lost half as much.
    >>> [float(f'{each.sudden_run_count:.0f}') for each in fault_delays(FlowNoise(0.14, 0.0))]
    [50.0, 10.0, 5.0, 3.0]
    """
    if not noise.spread_fraction > 0.0:
        return ()
    per_sd = math.sqrt((1.0 - noise.memory) / (1.0 + noise.memory)) / noise.spread_fraction
    found = []
    for loss in FAULTS_ASKED:
        sudden = min(_sudden_delay(each, loss * per_sd) for each in _SUMS)
        slow = min(_slow_delay(each, loss * per_sd / SLOW_FAULT_COUNT / 2.0) for each in _SUMS)
        found.append(
            FaultDelay(
                loss,
                max(sudden, LEAST_DELAY_COUNT) if sudden <= LONGEST_DELAY_COUNT else math.inf,
                slow if slow <= SLOW_FAULT_COUNT else math.inf,
            )
        )
    return tuple(found)


def _sudden_delay(each: _Sum, shift: float) -> float:
    """Runs after which a sum alarms on a lasting shift that its own past takes in by and by."""
    found = mean_run_length(each.reference, each.limit, shift)
    for _ in range(8):
        taken_in = PAST_COUNT / (PAST_COUNT + min(found, LONGEST_DELAY_COUNT) / 2.0)
        found = mean_run_length(each.reference, each.limit, shift * taken_in)
    return found


def _slow_delay(each: _Sum, slope: float) -> float:
    """Runs after which a sum alarms if its mean rises by the slope each run."""
    # The sum begins to grow at k / slope and then adds slope * t^2 / 2.
    return each.reference / slope + math.sqrt(2.0 * each.limit / slope)


class _Past:
    """The runs so far, as sums from which mean, spread and memory follow at once."""

    def __init__(self, floor: float) -> None:
        self.count = 0
        """Runs that have one before them."""
        self.memory = MEMORY_PRIOR
        self.residual_mean = self.residual_sd = 0.0
        self.previous = math.nan
        self._floor = floor
        self._kept: tuple[float, ...] = ()
        self._now = self._before = self._now_square = self._before_square = self._product = 0.0
        self._near_square = self._far_square = 0.0
        self._level = 0.0

    def normal(self, value: float) -> float:
        """A run as a standard normal value, by the runs before it."""
        freedom = self.count - 1
        rest = value - self._level - self.memory * self.previous - self.residual_mean
        t = rest / (self.residual_sd * math.sqrt(1.0 + 1.0 / self.count))
        size = math.sqrt(freedom * math.log1p(t * t / freedom))
        return math.copysign(size * (8.0 * freedom + 1.0) / (8.0 * freedom + 3.0), t)

    def add(self, value: float, *, is_odd: bool) -> None:
        """Learn from a run; from an odd one no more than the limit, and nothing for the next."""
        if not self._kept:
            self._level = value
        value -= self._level
        if is_odd:
            reach = OUTLIER_LIMIT * self.residual_sd
            centre = self.memory * self.previous + self.residual_mean
            value = min(max(value, centre - reach), centre + reach)
        if self._kept:
            before = self._kept[-1]
            self.count += 1
            self._now += value
            self._before += before
            self._now_square += value * value
            self._before_square += before * before
            self._product += value * before
            self._near_square += (value - before) ** 2
        if len(self._kept) == 2:
            self._far_square += (value - self._kept[0]) ** 2
        self._kept = (*self._kept, value)[-2:]
        self.previous = self._now / self.count if is_odd else value
        if self.count > 1:
            self._describe()

    def _describe(self) -> None:
        count = self.count
        if self._near_square > 0.0:
            quotient = self._far_square / (count - 1) / (self._near_square / count)
            self.memory = _memory(quotient, count)
        memory = self.memory
        self.residual_mean = (self._now - memory * self._before) / count
        square = self._now_square - 2.0 * memory * self._product + memory**2 * self._before_square
        variance = max(square - count * self.residual_mean**2, 0.0) / (count - 1)
        least = max(SD_FLOOR_FRACTION * abs(self._level + self._now / count), self._floor, 1e-9)
        self.residual_sd = max(math.sqrt(variance), least)


def _next_signal(values: list[float], past: _Past) -> FlowSignal | None:
    """The first alarm among runs, or none."""
    height = [0.0] * len(_SUMS)
    since = [0] * len(_SUMS)
    odd_count = 0  # odd runs in a row, negative where they are low
    for run, value in enumerate(values):
        is_watched = past.count > WARM_UP_COUNT
        normal = past.normal(value) if is_watched else 0.0
        size = min(max(normal, -OUTLIER_LIMIT), OUTLIER_LIMIT)
        is_odd = size != normal
        side = 1 if normal > 0.0 else -1
        odd_count = (max(odd_count * side, 0) + 1) * side if is_odd else 0
        # The first odd run waits; if a second follows, both count.
        times = {1: 0, 2: 2}.get(abs(odd_count), 1)
        for place, (reference, limit, sign) in enumerate(_SUMS):
            height[place] += times * (sign * size - reference) if is_watched else 0.0
            if height[place] <= 0.0:
                height[place] = 0.0
                since[place] = run if is_odd else run + 1
            if height[place] > limit:
                return FlowSignal(run, since[place], sign > 0.0)
        past.add(value, is_odd=is_odd)
    return None
