"""What a block's flow did over a season: at once, slowly, both, or only with the season.

In: the flow ratio of each run, the alarms of :mod:`service.waterworks.flow_watch` and the noise of
the block. Out: the description that fits best (:class:`FlowFit`), and how much better it is than
the best one without sudden and the best one without slow changes. A description is a level with
steps and one slow course: none, a bend from some run on, or a polynomial up to the fourth degree,
which follows a swing of pressure with the season. Each is fitted by least squares after what a run
remembers of the one before has been taken off (Prais and Winsten 1954), and judged by a criterion
after Schwarz (1978, Annals of Statistics 6:461-464). From memory.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from service.waterworks.flow_watch import FlowNoise, FlowSignal
from service.waterworks.records import Floats

STEP_LASTS_COUNT = 3  # [-] runs that a new flow must have lasted; [CHOICE]
REFINED_COUNT = 2  # [-] descriptions whose steps are moved about
MOST_STEPS = 3  # [-] that are weighed against each other
BEND_COUNT = 12  # [-] places from which a slow change may begin
SLOW_LASTS_COUNT = 20  # [-] runs that a slow change takes at least; [CHOICE]
DEGREES = (2, 3, 4)  # [-] of the slow courses that are no bend
REFINE_REACH = 8  # [-] runs around which a step's place is looked for
STEP_COST = 3.0  # [ln n] size, place and the search for it; set by simulation, see the tests
BEND_COST = 3.0  # [ln n] the same for a bend
FURTHER_COST = 1.0  # [ln n] of the second and each further change on top
RATIO_FLOOR = 0.005  # [-] no meter repeats better


class FlowFit(NamedTuple):
    """One description of the ratios."""

    score: float
    """Lower is better; a difference of 6 is odds of twenty to one."""
    misfit: float
    """The score without the cost of its terms."""
    steps: tuple[int, ...]
    """First runs of new levels."""
    slow: int | None
    """Run from which a slow change goes on, a negative degree of a polynomial, or none."""
    weights: Floats
    """Of level, steps and the terms of the slow course."""

    @property
    def step_sizes(self) -> Floats:
        """(steps,)."""
        return self.weights[1 : len(self.steps) + 1]

    def slow_course(self, count: int) -> Floats:
        """The slow part of it (runs,), zero at the first run."""
        return np.asarray(_slow_columns(count, self.slow) @ self.weights[len(self.steps) + 1 :])

    def fitted(self, count: int) -> Floats:
        """(runs,)."""
        jumps = _step_columns(count, self.steps) @ self.step_sizes
        return np.asarray(self.weights[0] + jumps + self.slow_course(count))


class _Frame:
    """The columns of all descriptions of one series, without what each run remembers."""

    def __init__(self, ratio: Floats, memory: float) -> None:
        self.ratio = ratio
        self.memory = memory
        self.white_ratio = self._whitened(ratio[:, None])[:, 0]
        self._slow: dict[int | None, Floats] = {}
        self._steps: dict[int, Floats] = {}
        self._level = self._whitened(np.ones((ratio.size, 1)))

    def columns(self, steps: tuple[int, ...], slow: int | None) -> Floats:
        """Level, steps and slow course (runs, terms)."""
        if slow not in self._slow:
            self._slow[slow] = self._whitened(_slow_columns(self.ratio.size, slow))
        for step in steps:
            if step not in self._steps:
                self._steps[step] = self._whitened(_step_columns(self.ratio.size, (step,)))
        return np.hstack((self._level, *(self._steps[step] for step in steps), self._slow[slow]))

    def _whitened(self, columns: Floats) -> Floats:
        out = columns.copy()
        out[1:] -= self.memory * columns[:-1]
        out[0] *= math.sqrt(1.0 - self.memory**2)
        return out


class FlowFits(NamedTuple):
    """The best description, and the best ones that leave something out."""

    best: FlowFit
    without_steps: FlowFit
    without_slow: FlowFit
    least_smooth_misfit: float
    """Of the closest description without steps, whatever its terms cost."""


def best_fits(ratio: ArrayLike, signals: Sequence[FlowSignal], noise: FlowNoise) -> FlowFits:
    """The best description with at least one change, and its rivals.

    Shapes: ratio (runs,), without NaN.
    Returns: descriptions; steps are looked for where there were alarms.
    Source: see the module.
    >>> from service.waterworks.flow_watch import flow_noise, flow_signals
    >>> leak = np.where(np.arange(80) < 50, 1.0, 1.2) + np.tile([-0.01, 0.02, -0.02, 0.01], 20)
    >>> best_fits(leak, flow_signals(leak), flow_noise(leak)).best.steps
    (50,)
    """
    values = np.asarray(ratio, dtype=np.float64)
    frame = _Frame(values, noise.memory)
    places = _step_places(frame, signals)
    courses = _slow_courses(values.size)
    smooth = [_fit(frame, (), slow) for slow in courses if slow is not None]
    stepped = sorted(
        (_fit(frame, steps, slow) for steps in _subsets(places) for slow in courses), key=_score
    )
    jumps_alone = [fit for fit in stepped if fit.slow is None][:REFINED_COUNT]
    refined = [_refined(frame, fit) for fit in (*stepped[:REFINED_COUNT], *jumps_alone)]
    best = min((*smooth, *refined), key=_score)
    without_slow = [fit for fit in refined if fit.slow is None]
    return FlowFits(
        best,
        min(smooth, key=_score),
        min(without_slow or [best], key=_score),
        min(fit.misfit for fit in smooth),
    )


def refit(fit: FlowFit, ratio: ArrayLike, noise: FlowNoise, least: float) -> FlowFit:
    """The description without steps smaller than the least change.

    Shapes: ratio (runs,).
    Returns: the same description where all of its steps are large enough.
    """
    pairs = zip(fit.steps, fit.step_sizes, strict=True)
    kept = tuple(step for step, size in pairs if abs(size) >= least)
    if kept == fit.steps:
        return fit
    values = np.asarray(ratio, dtype=np.float64)
    return _fit(_Frame(values, noise.memory), kept, fit.slow)


def _score(fit: FlowFit) -> float:
    return fit.score


def _subsets(places: list[int]) -> Iterator[tuple[int, ...]]:
    for count in range(1, len(places) + 1):
        yield from combinations(places, count)


def _slow_courses(count: int) -> list[int | None]:
    last = count - SLOW_LASTS_COUNT
    bends = sorted({count * part // BEND_COUNT for part in range(BEND_COUNT)})
    found: list[int | None] = [None, *(bend for bend in bends if bend <= max(last, 0))]
    return found + [-degree for degree in DEGREES]


def _step_places(frame: _Frame, signals: Sequence[FlowSignal]) -> list[int]:
    """Where a step fits best between one alarm's change and the next alarm."""
    count = frame.ratio.size
    found: list[int] = []
    for place, signal in enumerate(signals[-MOST_STEPS:]):
        before = signals[-MOST_STEPS:][place - 1].change if place else 0
        low = max(before + 1, signal.change - REFINE_REACH)
        high = min(signal.run, count - STEP_LASTS_COUNT)
        if low > high:
            continue
        tried = [_fit(frame, (step,), None) for step in range(low, high + 1)]
        found.append(min(tried, key=_score).steps[0])
    return sorted(set(found))


def _step_columns(count: int, steps: tuple[int, ...]) -> Floats:
    """Each step as a column (runs, steps)."""
    return np.asarray(np.arange(count)[:, None] >= np.array(steps, dtype=np.int64), np.float64)


def _slow_columns(count: int, slow: int | None) -> Floats:
    """The slow course as columns (runs, terms)."""
    run = np.arange(count, dtype=np.float64)[:, None]
    if slow is None:
        return run[:, :0]
    if slow >= 0:
        return np.maximum(run - slow, 0.0) / max(count - 1 - slow, 1)
    return np.asarray((run / max(count - 1, 1)) ** np.arange(1, 1 - slow))


def _fit(frame: _Frame, steps: tuple[int, ...], slow: int | None) -> FlowFit:
    """Least squares of one description, with its score."""
    count = frame.ratio.size
    columns = frame.columns(steps, slow)
    weights = np.linalg.lstsq(columns, frame.white_ratio, rcond=None)[0]
    rest = frame.white_ratio - columns @ weights
    misfit = count * math.log(max(float(rest @ rest) / count, RATIO_FLOOR**2 / 100.0))
    cost = STEP_COST * len(steps)
    if slow is not None:
        cost += BEND_COST if slow >= 0 else 1.0 - slow
    cost += FURTHER_COST * max(len(steps) + (slow is not None) - 1, 0)
    return FlowFit(misfit + cost * math.log(count), misfit, steps, slow, np.asarray(weights))


def _refined(frame: _Frame, fit: FlowFit) -> FlowFit:
    """The same description with each step moved to where it fits best."""
    last = frame.ratio.size - STEP_LASTS_COUNT
    for index in range(len(fit.steps)):
        before = fit.steps[index - 1] if index else 0
        after = last + 1 if index + 1 == len(fit.steps) else fit.steps[index + 1]
        low = max(fit.steps[index] - REFINE_REACH, before + 1)
        high = min(fit.steps[index] + REFINE_REACH, after - 1)
        for place in range(low, high + 1):
            moved = (*fit.steps[:index], place, *fit.steps[index + 1 :])
            tried = _fit(frame, moved, fit.slow)
            if tried.score < fit.score:
                fit = tried
    return fit
