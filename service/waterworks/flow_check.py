"""Whether a block still takes the right amount of water: metered against expected volume.

In: the metered volume of each run and the volume that the block's hydraulics expect. Out: their
ratio and what happened to it over the season (:class:`FlowCheck`): nothing, a slow change
(clogging), or a jump (leak, broken line, closed valve, blocked filter), each with its place and
size. Three steps: single odd runs are set aside by a running median (Hampel's rule); a
self-starting cumulative sum says where something may have changed (Page 1954, Biometrika
41:100-115; Hawkins 1987, The Statistician 36:299-316); and least squares with a criterion after
Schwarz (1978, Annals of Statistics 6:461-464) says whether steps, a slope, both or neither describe
it best. All from memory. How often that is wrong is measured by simulation, see
tests/validation/test_flow_check_detection.py.
"""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from service.errors import Fault, InputInvalid
from service.waterworks.records import Floats, Ints

LEAST_RUN_COUNT = 20  # [-] fewest runs for a verdict; a modelling choice
LEVEL_RUN_COUNT = 20  # [-] first runs whose median is the level; a modelling choice
LEVEL_TOLERANCE_FRACTION = (
    0.10  # [-] level off by more: meter or design figures; a modelling choice
)
LEAST_CHANGE_FRACTION = 0.03  # [-] smaller changes are not reported; a modelling choice
NOISE_FLOOR_FRACTION = 0.005  # [-] no meter repeats better; a modelling choice
CUSUM_REFERENCE = 0.75  # [sd] k: half of the shift looked for, 1.5 sd; Hawkins and Olwell 1998
CUSUM_DECISION = 5.5  # [sd] h: one false signal in 9,500 steady runs, see the tests
CUSUM_WARM_UP_COUNT = 8  # [-] runs that the self-starting sum learns from; a modelling choice
CUSUM_CLIP = 4.0  # [sd] one run cannot signal alone; robust CUSUM of Lucas and Crosier 1982
ODD_RUN_LIMIT = 4.0  # [sd] Hampel's rule with a wide limit; a modelling choice
ODD_RUN_REACH = 2  # [-] runs on each side that the running median sees
MAD_TO_SD = 1.4826  # [-] of a normal distribution
JUMP_RUN_COUNT = 3  # [-] runs that a new flow must have lasted; a modelling choice
LARGEST_JUMP_COUNT = 4  # [-] jumps that are weighed against each other
HINGE_COUNT = 12  # [-] places from which a slow change may begin
REFINE_REACH = 8  # [-] runs around a signal in which the jump's place is looked for
FIRST_PENALTY = 6.0  # [ln n] of the first step or slope; set by simulation, see the tests
FURTHER_PENALTY = 4.0  # [ln n] of each further one: that something changed is no longer in doubt


class FlowVerdict(enum.StrEnum):
    """What the season's runs show."""

    TOO_FEW_RUNS = "too few metered runs to tell"
    STEADY = "the block takes its water as at the start"
    SLOW_DECLINE = "the flow falls slowly, as emitters or filters clog"
    SLOW_RISE = "the flow rises slowly, as emitters wear or small leaks grow"
    JUMP_DOWN = "the flow fell at once: a closed valve, a blocked filter or a pinched line"
    JUMP_UP = "the flow rose at once: a leak, a broken line or a failed regulator"
    SEVERAL = "more than one thing changed"


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
    """Standard deviation from run to run."""
    jumps: tuple[FlowJump, ...]
    slow_change: SlowChange | None
    odd_runs: tuple[int, ...]
    """Single runs far from their neighbours, counted from 0; they are ignored otherwise."""

    @property
    def is_last_run_odd(self) -> bool:
        """The newest run is far off: the first sign of a jump, or a run that was cut short."""
        return bool(self.odd_runs) and self.odd_runs[-1] == self.ratio.size - 1


class _Fit(NamedTuple):
    """A description of the ratios by a level, steps and a hinge."""

    score: float
    steps: tuple[int, ...]
    hinge: int | None
    weights: Floats


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
    Returns: ratio, verdict, jumps and slow change; STEADY where nothing above 3 % is found.
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
    fitted = np.full(ratio.size, np.nan)
    if known.size < LEAST_RUN_COUNT:
        level = float(np.median(known)) if known.size else math.nan
        return FlowCheck(
            verdict=FlowVerdict.TOO_FEW_RUNS,
            ratio=ratio,
            fitted_ratio=fitted,
            level_ratio=level,
            is_level_off=False,
            noise_fraction=math.nan,
            jumps=(),
            slow_change=None,
            odd_runs=(),
        )
    level = float(np.median(known[:LEVEL_RUN_COUNT]))
    noise = max(_noise(known), NOISE_FLOOR_FRACTION * max(level, NOISE_FLOOR_FRACTION))
    calm, is_odd = _without_odd_runs(known, noise)
    fit = _best_fit(calm, _signals(calm, noise), LEAST_CHANGE_FRACTION * level)
    fitted[runs] = _columns(known.size, fit.steps, fit.hinge) @ fit.weights
    jumps, slow_change = _described(fit, runs, level)
    return FlowCheck(
        verdict=_verdict(jumps, slow_change),
        ratio=ratio,
        fitted_ratio=fitted,
        level_ratio=level,
        is_level_off=abs(level - 1.0) > LEVEL_TOLERANCE_FRACTION,
        noise_fraction=noise / level if level > 0.0 else math.nan,
        jumps=jumps,
        slow_change=slow_change,
        odd_runs=tuple(int(run) for run in runs[is_odd]),
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


def _noise(ratio: Floats) -> float:
    """Standard deviation from run to run; steps and slopes hardly touch successive differences."""
    return float(MAD_TO_SD * np.median(np.abs(np.diff(ratio))) / math.sqrt(2.0))


def _without_odd_runs(ratio: Floats, noise: float) -> tuple[Floats, NDArray[np.bool_]]:
    """The ratios with single odd runs replaced by the median around them, and which those are."""
    padded = np.pad(ratio, ODD_RUN_REACH, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * ODD_RUN_REACH + 1)
    around = np.nanmedian(windows, axis=1)
    is_odd = np.abs(ratio - around) > ODD_RUN_LIMIT * noise
    return np.where(is_odd, around, ratio), is_odd


def _signals(ratio: Floats, noise: float) -> list[int]:
    """Runs at which the self-starting cumulative sum dates a change; it restarts at each."""
    found: list[int] = []
    start = 0
    while True:
        change = _next_change(ratio, start, noise)
        if change is None:
            return found
        found.append(change)
        start = max(change, start + 1)


def _next_change(ratio: Floats, start: int, noise: float) -> int | None:
    """First run of the next change after a start, or none.

    Each run is compared with the mean and spread of those before it, which makes a t value, and
    Wallace (1959, Annals of Mathematical Statistics 30:1121-1130) makes that a normal one.
    """
    up = down = 0.0
    up_from = down_from = start
    mean = square_sum = 0.0
    for count, value in enumerate(ratio[start:].tolist()):
        run = start + count
        if count >= CUSUM_WARM_UP_COUNT:
            freedom = count - 1
            spread = math.sqrt(max(square_sum / freedom, (noise / 2.0) ** 2))
            t = (value - mean) / (spread * math.sqrt(1.0 + 1.0 / count))
            size = math.sqrt(freedom * math.log1p(t * t / freedom))
            size *= (8.0 * freedom + 1.0) / (8.0 * freedom + 3.0)
            normal = math.copysign(min(size, CUSUM_CLIP), t)
            up = up + normal - CUSUM_REFERENCE
            down = down - normal - CUSUM_REFERENCE
            if up <= 0.0:
                up, up_from = 0.0, run + 1
            if down <= 0.0:
                down, down_from = 0.0, run + 1
            if up > CUSUM_DECISION:
                return up_from
            if down > CUSUM_DECISION:
                return down_from
        else:
            up_from = down_from = run + 1
        step = value - mean
        mean += step / (count + 1)
        square_sum += step * (value - mean)
    return None


def _columns(count: int, steps: tuple[int, ...], hinge: int | None) -> Floats:
    """Level, steps and hinge as columns (runs, terms)."""
    run = np.arange(count, dtype=np.float64)
    columns = [np.ones(count)]
    columns += [(run >= step).astype(np.float64) for step in steps]
    if hinge is not None:
        columns.append(np.maximum(run - hinge, 0.0) / max(count - 1 - hinge, 1))
    return np.column_stack(columns)


def _fit(ratio: Floats, steps: tuple[int, ...], hinge: int | None) -> _Fit:
    """Least squares of one description, with its score by Schwarz's criterion."""
    columns = _columns(ratio.size, steps, hinge)
    weights, *_ = np.linalg.lstsq(columns, ratio, rcond=None)
    rest = ratio - columns @ weights
    square_mean = max(float(rest @ rest) / ratio.size, NOISE_FLOOR_FRACTION**2 / 100.0)
    terms = len(steps) + (hinge is not None)
    penalty = FIRST_PENALTY + FURTHER_PENALTY * (terms - 1) if terms else 0.0
    score = ratio.size * math.log(square_mean) + penalty * math.log(ratio.size)
    return _Fit(score, steps, hinge, np.asarray(weights))


def _score(fit: _Fit) -> float:
    return fit.score


def _best_fit(ratio: Floats, signals: list[int], least: float) -> _Fit:
    """The cheapest description, without those of its changes that are not worth reporting."""
    last = ratio.size - JUMP_RUN_COUNT
    steps = [step for step in signals if 0 < step <= last][:LARGEST_JUMP_COUNT]
    hinges = sorted({ratio.size * part // HINGE_COUNT for part in range(HINGE_COUNT - 2)})
    best = _fit(ratio, (), None)
    for count in range(len(steps) + 1):
        for chosen in combinations(steps, count):
            stepped = _fit(ratio, chosen, None)
            sloped = min((_fit(ratio, chosen, hinge) for hinge in hinges), key=_score)
            best = min(best, _refined(ratio, stepped), _refined(ratio, sloped), key=_score)
    is_kept = np.abs(best.weights[1:]) >= least
    steps_kept = tuple(step for step, kept in zip(best.steps, is_kept, strict=False) if kept)
    return _fit(ratio, steps_kept, best.hinge if is_kept.size and is_kept[-1] else None)


def _refined(ratio: Floats, fit: _Fit) -> _Fit:
    """The same description with each step moved to where it fits best."""
    for index in range(len(fit.steps)):
        before = fit.steps[index - 1] if index else 0
        is_last = index + 1 == len(fit.steps)
        after = ratio.size - JUMP_RUN_COUNT + 1 if is_last else fit.steps[index + 1]
        low = max(fit.steps[index] - REFINE_REACH, before + 1)
        high = min(fit.steps[index] + REFINE_REACH, after - 1)
        for place in range(low, high + 1):
            moved = (*fit.steps[:index], place, *fit.steps[index + 1 :])
            tried = _fit(ratio, moved, fit.hinge)
            if tried.score < fit.score:
                fit = tried
    return fit


def _described(
    fit: _Fit, runs: Ints, level: float
) -> tuple[tuple[FlowJump, ...], SlowChange | None]:
    """Steps and hinge in the words of the result."""
    scale = 1.0 / level if level > 0.0 else math.nan
    jumps = tuple(
        FlowJump(run=int(runs[step]), change_fraction=float(weight) * scale)
        for step, weight in zip(fit.steps, fit.weights[1 : len(fit.steps) + 1], strict=True)
    )
    if fit.hinge is None:
        return jumps, None
    change = float(fit.weights[-1]) * scale
    lasting = max(runs.size - 1 - fit.hinge, 1)
    return jumps, SlowChange(
        from_run=int(runs[fit.hinge]),
        change_fraction=change,
        change_per_100_runs_fraction=100.0 * change / lasting,
    )


def _verdict(jumps: tuple[FlowJump, ...], slow_change: SlowChange | None) -> FlowVerdict:
    if len(jumps) + (slow_change is not None) > 1:
        return FlowVerdict.SEVERAL
    if slow_change is not None:
        is_falling = slow_change.change_fraction < 0.0
        return FlowVerdict.SLOW_DECLINE if is_falling else FlowVerdict.SLOW_RISE
    if jumps:
        return FlowVerdict.JUMP_DOWN if jumps[0].change_fraction < 0.0 else FlowVerdict.JUMP_UP
    return FlowVerdict.STEADY
