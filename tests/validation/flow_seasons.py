"""Invented seasons of metered runs: steady, clogging, leaking, with the noise of a water meter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from service.waterworks.records import Floats

RUN_COUNT = 150  # a season of a run a day


@dataclass(frozen=True, slots=True)
class Course:
    """What happens to a block's flow over a season, as shares of its flow at the start."""

    jump: float = 0.0
    """At once, at a run between the 40th and the 120th."""
    slow: float = 0.0
    """Evenly from the first run to the last."""
    late: float = 0.0
    """Evenly from that run to the last."""
    odd_run_count: int = 0
    """Single runs that were cut short or misread."""
    noise: float = 0.03
    """Standard deviation from run to run."""
    memory: float = 0.0
    """Correlation of the noise of successive runs."""
    swing: float = 0.0
    """Up and down by so much once in the season, as pressure does."""
    phase: float = 0.0
    """Where in the swing the season begins, 0.25 at its highest."""


@dataclass(frozen=True, slots=True)
class Season:
    """Metered over expected volume of each run, and the run of the change."""

    ratio: Floats
    change_at: int


def remembered_noise(random: np.random.Generator, count: int, memory: float) -> Floats:
    """Noise of spread 1 of which each run keeps a share of the one before."""
    noise = random.normal(size=count)
    fresh = np.sqrt(1.0 - memory**2)
    for index in range(1, count):
        noise[index] = memory * noise[index - 1] + fresh * noise[index]
    return noise


def invented_season(course: Course, seed: int) -> Season:
    """A season; the same for the same seed."""
    random = np.random.default_rng([seed, RUN_COUNT])
    run = np.arange(RUN_COUNT)
    change_at = int(random.integers(40, 121))
    noise = remembered_noise(random, RUN_COUNT, course.memory)
    ratio = 1.0 + np.where(run >= change_at, course.jump, 0.0)
    ratio += course.slow * run / (RUN_COUNT - 1)
    ratio += course.late * np.maximum(run - change_at, 0) / (RUN_COUNT - 1 - change_at)
    ratio += course.swing * np.sin(2.0 * np.pi * (run / RUN_COUNT + course.phase))
    ratio *= 1.0 + course.noise * noise
    odd = random.choice(RUN_COUNT, size=course.odd_run_count, replace=False)
    ratio[odd] *= random.choice([0.4, 0.6, 1.3], size=course.odd_run_count)
    return Season(ratio, change_at)
