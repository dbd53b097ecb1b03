"""Whether a block still takes the right amount of water: metered against expected volume.

In: the metered volume of each run and the volume that the block's hydraulics expect. Out: their
ratio and what happened to it over the season (:class:`FlowCheck`): nothing, a slow change
(clogging), or a jump (leak, broken line, closed valve, blocked filter), each with its place and
size, and how many runs a fault would take to show in this block's noise. Three steps: each run is
judged by those before it, with a stated number of runs between false alarms
(:mod:`service.waterworks.flow_watch`); after an alarm the description of the season is chosen
(:mod:`service.waterworks.flow_fit`); and it is named only where it is clearly better than its
rival. A drift within what pressure does over a season is no alarm. How often that is wrong is
measured by simulation, see tests/validation/test_flow_check_detection.py.
"""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from service.errors import Fault, InputInvalid
from service.waterworks.flow_fit import FlowFit, FlowFits, best_fits, refit
from service.waterworks.flow_watch import (
    FaultDelay,
    FlowNoise,
    fault_delays,
    flow_noise,
    flow_signals,
)
from service.waterworks.records import Floats, Ints

LEAST_RUN_COUNT = 20  # [-] fewest runs for a verdict; [CHOICE]
LEVEL_RUN_COUNT = 20  # [-] first runs whose median is the level; [CHOICE]
LEVEL_TOLERANCE_FRACTION = 0.10  # [-] level off by more: meter or design figures; [CHOICE]
LEAST_JUMP_FRACTION = 0.03  # [-] smaller jumps are not reported; [CHOICE]
LEAST_SLOW_FRACTION = 0.08  # [-] smaller slow changes are a drift: pressure that swings by 3 % to
# each side moves the flow by 6 % from one end to the other; [CHOICE]
SLOW_MEAN_COUNT = 20  # [-] runs whose mean blurs that limit by its standard error; [CHOICE]
NAMING_MARGIN = 6.0  # [-] difference of scores for a name: odds of twenty to one; [CHOICE]
ODD_RUN_LIMIT = 4.0  # [sd] Hampel's rule with a wide limit; [CHOICE]
ODD_RUN_REACH = 2  # [-] runs on each side that the running median sees
MAD_TO_SD = 1.4826  # [-] of a normal distribution
NOISE_FLOOR_FRACTION = 0.005  # [-] no meter repeats better; [CHOICE]


class FlowVerdict(enum.StrEnum):
    """What the season's runs show."""

    TOO_FEW_RUNS = "too few metered runs to tell"
    STEADY = "the block takes as much water as at the start"
    SLOW_DECLINE = "the flow falls slowly, as emitters or filters clog"
    SLOW_RISE = "the flow rises slowly, as emitters wear or small leaks grow"
    JUMP_DOWN = "the flow fell at once: a closed valve, a blocked filter or a pinched line"
    JUMP_UP = "the flow rose at once: a leak, a broken line or a failed regulator"
    SEVERAL = "more than one thing changed"
    FELL = "the flow fell; whether at once or slowly cannot be told yet"
    ROSE = "the flow rose; whether at once or slowly cannot be told yet"
    DRIFT = "the flow drifts by a few percent, as it does with pressure over a season"

    @property
    def is_alarm(self) -> bool:
        """Somebody should look at the block."""
        return self not in {FlowVerdict.TOO_FEW_RUNS, FlowVerdict.STEADY, FlowVerdict.DRIFT}


@dataclass(frozen=True, slots=True)
class FlowJump:
    """One sudden change of the flow."""

    run: int
    """First run at the new flow, counted from 0."""
    change_fraction: float
    """Of the level at the season's start; negative where the flow fell."""


@dataclass(frozen=True, slots=True)
class SlowChange:
    """A change of the flow over many runs."""

    from_run: int
    """Run from which on it goes, counted from 0."""
    change_fraction: float
    """From there to the last run, of the level at the season's start; negative where it falls."""
    change_per_100_runs_fraction: float


@dataclass(frozen=True, slots=True)
class FlowCheck:
    """The runs of a season, and what they show; arrays (runs,)."""

    verdict: FlowVerdict
    ratio: Floats
    """Metered over expected volume; NaN for a run without either."""
    fitted_ratio: Floats
    """What is left of it without noise and odd runs; NaN with too few runs."""
    level_ratio: float
    """At the season's start."""
    is_level_off: bool
    """From the start the flow is more than 10 % away from what is expected."""
    noise_fraction: float
    """Standard deviation of a run, without jumps and slow changes."""
    memory: float
    """Correlation of successive runs."""
    change_fraction: float
    """Flow now against the start, by what is fitted; 0 without a change, NaN with too few runs."""
    alarm_runs: tuple[int, ...]
    """Runs that raised an alarm, counted from 0, whatever it is called now."""
    delays: tuple[FaultDelay, ...]
    """How long faults of some sizes would take to show in this noise."""
    jumps: tuple[FlowJump, ...]
    slow_change: SlowChange | None
    odd_runs: tuple[int, ...]
    """Single runs far from their neighbours, counted from 0; they are ignored otherwise."""

    @property
    def is_alarm(self) -> bool:
        """Somebody should look at the block now; a leak that was mended is none any more."""
        is_lasting = (
            self.verdict is not FlowVerdict.SEVERAL
            or self.slow_change is not None
            or not abs(self.change_fraction) < LEAST_JUMP_FRACTION
        )
        return self.verdict.is_alarm and is_lasting

    @property
    def is_last_run_odd(self) -> bool:
        """The newest run is far off: the first sign of a jump, or a run that was cut short."""
        return bool(self.odd_runs) and self.odd_runs[-1] == self.ratio.size - 1


def expected_volume_l(flow_l_per_h: ArrayLike, duration_min: ArrayLike) -> Floats:
    """Volume that a block takes in a run.

    Shapes: any two that broadcast.
    flow_l_per_h: of the block, from its hydraulics.
    Returns: volume [L]; NaN wherever an input is NaN.
    Equation: flow times time.
    >>> float(expected_volume_l(4000.0, 90.0))
    6000.0
    """
    flow = np.asarray(flow_l_per_h, dtype=np.float64)
    return np.asarray(flow * np.asarray(duration_min, dtype=np.float64) / 60.0)


def flow_ratio(metered_volume_l: ArrayLike, expected_l: ArrayLike) -> Floats:
    """Metered over expected volume of each run.

    Shapes: any two that broadcast.
    Returns: ratio [-]; NaN where a volume is missing or nothing was expected.
    Equation: a quotient.
    >>> flow_ratio([5400.0, 100.0], [6000.0, 0.0]).tolist()
    [0.9, nan]
    """
    metered = np.asarray(metered_volume_l, dtype=np.float64)
    expected = np.asarray(expected_l, dtype=np.float64)
    return np.asarray(metered / np.where(expected > 0.0, expected, np.nan))


def check_flow(metered_volume_l: ArrayLike, expected_l: ArrayLike) -> FlowCheck:
    """The verdict on a block from a season of metered runs.

    Shapes: both (runs,), in the order in which the runs were.
    metered_volume_l: what the meter counted in each run, NaN where it was not read.
    expected_l: what :func:`expected_volume_l` expects.
    Returns: ratio, verdict, jumps, slow change and what could be found; STEADY without an alarm.
    Equation: see the module; no verdict before 20 runs.
    Raises: InputInvalid where the arrays differ in length or a volume is negative.
    >>> noise = np.tile([-0.01, 0.02, -0.02, 0.01, 0.0], 16)
    >>> leak = np.where(np.arange(80) < 50, 1.0, 1.2)
    >>> found = check_flow(6000.0 * (leak + noise), np.full(80, 6000.0))
    >>> found.verdict.name, found.jumps[0].run, round(found.jumps[0].change_fraction, 2)
    ('JUMP_UP', 50, 0.2)
    """
    _check_volumes(metered_volume_l, expected_l)
    ratio = flow_ratio(metered_volume_l, expected_l)
    runs = np.flatnonzero(np.isfinite(ratio))
    known = ratio[runs]
    noise = flow_noise(known)
    if known.size < LEAST_RUN_COUNT:
        return _too_few(ratio, known, noise)
    level = float(np.median(known[:LEVEL_RUN_COUNT]))
    calm, is_odd = _without_odd_runs(known)
    signals = flow_signals(known)
    fitted = np.full(ratio.size, np.nan)
    fitted[runs] = calm.mean()
    verdict, best, change = FlowVerdict.STEADY, None, 0.0
    if signals:
        fits = best_fits(calm, signals, noise)
        verdict, best = _judged(fits, calm, noise, level)
        fitted[runs] = best.fitted(known.size)
        change = float(np.diff(fitted[runs[[0, -1]]])[0]) / level if level > 0.0 else math.nan
    jumps, slow_change = _described(verdict, best, runs, level, noise)
    return FlowCheck(
        verdict=verdict,
        ratio=ratio,
        fitted_ratio=fitted,
        level_ratio=level,
        is_level_off=abs(level - 1.0) > LEVEL_TOLERANCE_FRACTION,
        noise_fraction=noise.spread_fraction,
        memory=noise.memory,
        change_fraction=change,
        alarm_runs=tuple(int(runs[signal.run]) for signal in signals),
        delays=fault_delays(noise),
        jumps=jumps,
        slow_change=slow_change,
        odd_runs=tuple(int(run) for run in runs[is_odd]),
    )


def _too_few(ratio: Floats, known: Floats, noise: FlowNoise) -> FlowCheck:
    return FlowCheck(
        verdict=FlowVerdict.TOO_FEW_RUNS,
        ratio=ratio,
        fitted_ratio=np.full(ratio.size, np.nan),
        level_ratio=float(np.median(known)) if known.size else math.nan,
        is_level_off=False,
        noise_fraction=math.nan,
        memory=noise.memory,
        change_fraction=math.nan,
        alarm_runs=(),
        delays=(),
        jumps=(),
        slow_change=None,
        odd_runs=(),
    )


def _check_volumes(metered_volume_l: ArrayLike, expected_l: ArrayLike) -> None:
    metered = np.asarray(metered_volume_l, dtype=np.float64)
    expected = np.asarray(expected_l, dtype=np.float64)
    faults = []
    if metered.ndim != 1 or metered.shape != expected.shape:
        found = f"{metered.shape} metered, {expected.shape} expected"
        faults.append(Fault("volumes", found, "two series of the same length"))
    for where, values in (("metered_volume_l", metered), ("expected_l", expected)):
        for position in np.flatnonzero((values < 0.0) | np.isinf(values))[:10]:
            found = str(values.ravel()[position])
            faults.append(Fault(f"{where}: run {position}", found, "0 L or more, or missing"))
    if faults:
        raise InputInvalid("the metered runs cannot be used", faults)


def _without_odd_runs(ratio: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """The ratios with single odd runs replaced by the median around them, and which those are."""
    padded = np.pad(ratio, ODD_RUN_REACH, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * ODD_RUN_REACH + 1)
    around = np.nanmedian(windows, axis=1)
    spread = float(MAD_TO_SD * np.median(np.abs(np.diff(ratio))) / math.sqrt(2.0))
    level = max(float(np.median(ratio)), NOISE_FLOOR_FRACTION)
    is_odd = np.abs(ratio - around) > ODD_RUN_LIMIT * max(spread, NOISE_FLOOR_FRACTION * level)
    return np.where(is_odd, around, ratio), is_odd


def _judged(
    fits: FlowFits, ratio: Floats, noise: FlowNoise, level: float
) -> tuple[FlowVerdict, FlowFit]:
    """The name of what was found, and the description that goes with it."""
    best = refit(fits.best, ratio, noise, LEAST_JUMP_FRACTION * level)
    least_slow = (LEAST_SLOW_FRACTION + _mean_error(noise)) * level
    smooth = fits.without_steps
    if _is_stepped(best, fits, least_slow):
        has_slow = best.slow is not None and abs(best.slow_course(ratio.size)[-1]) >= least_slow
        if len(best.steps) + has_slow > 1:
            return FlowVerdict.SEVERAL, best
        return FlowVerdict.JUMP_UP if best.step_sizes[0] > 0.0 else FlowVerdict.JUMP_DOWN, best
    change = float(smooth.slow_course(ratio.size)[-1])
    largest = float(max(best.step_sizes, key=abs, default=0.0))
    if abs(change) < least_slow <= abs(largest):
        return FlowVerdict.ROSE if largest > 0.0 else FlowVerdict.FELL, best
    if abs(change) < least_slow:
        return FlowVerdict.DRIFT, smooth
    if fits.without_slow.score - smooth.score < NAMING_MARGIN:
        return FlowVerdict.ROSE if change > 0.0 else FlowVerdict.FELL, fits.best
    return FlowVerdict.SLOW_RISE if change > 0.0 else FlowVerdict.SLOW_DECLINE, smooth


def _mean_error(noise: FlowNoise) -> float:
    """Standard error of the mean of some runs that remember each other, as a share of the level."""
    per_run = (1.0 + noise.memory) / (1.0 - noise.memory) / SLOW_MEAN_COUNT
    return noise.spread_fraction * math.sqrt(per_run)


def _is_stepped(best: FlowFit, fits: FlowFits, least_slow: float) -> bool:
    """Whether a description with steps is clearly better than the best one without.

    Steps no larger than a drift must be better than any smooth course, however many terms it takes.
    """
    if not best.steps:
        return False
    margin = fits.without_steps.score - best.score
    if np.abs(best.step_sizes).max() < least_slow:
        margin = min(margin, fits.least_smooth_misfit - best.misfit)
    return bool(margin >= NAMING_MARGIN)


def _described(
    verdict: FlowVerdict, fit: FlowFit | None, runs: Ints, level: float, noise: FlowNoise
) -> tuple[tuple[FlowJump, ...], SlowChange | None]:
    """Steps and slow change of a named description in the words of the result."""
    unnamed = {FlowVerdict.DRIFT, FlowVerdict.FELL, FlowVerdict.ROSE}
    if fit is None or verdict in unnamed or level <= 0.0:
        return (), None
    jumps = tuple(
        FlowJump(run=int(runs[step]), change_fraction=float(weight) / level)
        for step, weight in zip(fit.steps, fit.step_sizes, strict=True)
    )
    change = float(fit.slow_course(runs.size)[-1]) / level
    if fit.slow is None or abs(change) < LEAST_SLOW_FRACTION + _mean_error(noise):
        return jumps, None
    begin = max(fit.slow, 0)
    return jumps, SlowChange(
        from_run=int(runs[begin]),
        change_fraction=change,
        change_per_100_runs_fraction=100.0 * change / max(runs.size - 1 - begin, 1),
    )
