"""Learning where the truth is built otherwise than the program's ledger: an honest check.

The truth has two layers that exchange water hour by hour, drains within half a day and not at once,
 evaporates from its upper layer, and its sensor has a gain of 0.85 to 1.15; the rain gauge is
off by 20 % (one standard deviation). No number of the program was chosen by these seasons; what is
asserted is that learning helps and that the intervals are not badly wrong. Figures: the validation
record.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from service.agronomy.learned_multipliers import depletion_points_mm, summarize, weighted_quantiles
from service.agronomy.learning_ledger import point_fractions
from service.agronomy.records import Floats
from tests.validation.learning_seasons import (
    DAYS,
    NOISE,
    SOIL,
    SPREADS,
    TAW_MM,
    Seasons,
    invent,
    learn,
    share_without_stress,
    terms_of,
)

BLOCKS = 100
UPPER_SHARE = 0.4  # of the zone's depth
EXCHANGE_PER_H, DRAINAGE_PER_H = 0.03, 0.25
ET_HOURS = np.clip(np.sin(np.pi * (np.arange(24) - 5.5) / 14.0), 0.0, None)
ET_HOURS /= ET_HOURS.sum()


def two_layers(seasons: Seasons, random: np.random.Generator) -> Seasons:
    """The same weather and water on blocks with two layers, and what their sensors show."""
    count = seasons.truth.shape[0]
    k, c, r = np.exp(seasons.truth[:, :3]).T
    taw = TAW_MM * c
    held = np.stack((UPPER_SHARE * taw, (1.0 - UPPER_SHARE) * taw))
    missing = np.zeros((2, count))
    gauge = np.exp(0.2 * random.standard_normal(count))
    gain = random.uniform(0.85, 1.15, count)
    water, depletion = np.full((count, DAYS), np.nan), np.empty((count, DAYS))
    for day in range(DAYS):
        et = k * seasons.crop_et_mm[:, day] * np.exp(0.12 * random.standard_normal(count) - 0.0072)
        p = share_without_stress(et)
        rain = seasons.entering_mm[:, day] / gauge * np.sqrt(c)
        for hour in range(24):
            if hour == 4:
                missing[0] -= rain + seasons.net_mm[:, day] * r
            fraction = missing / held
            share = np.array([[0.55], [0.45]]) * np.clip((1.0 - fraction) / (1.0 - p), 0.0, 1.0)
            missing += share * et * ET_HOURS[hour]
            moved = EXCHANGE_PER_H * (fraction[1] - fraction[0]) * held.min(axis=0)
            missing += np.stack((moved, -moved))
            over = np.minimum(missing, 0.0)
            missing -= DRAINAGE_PER_H * over
            # The upper layer passes on what is more than it holds.
            missing[1] += DRAINAGE_PER_H * over[0]
            missing = np.minimum(missing, held)
        depletion[:, day] = missing.sum(axis=0)
        theta = SOIL.field_capacity - SOIL.water_range * (missing / held).mean(axis=0)
        middle = SOIL.field_capacity - 0.5 * SOIL.water_range
        water[:, day] = middle + gain * (theta - middle) + seasons.truth[:, 3]
    water += NOISE * random.standard_normal(water.shape)
    return replace(
        seasons,
        water=np.where(np.isfinite(seasons.water), water, np.nan),
        depletion_mm=depletion,
    )


@cache
def seasons_of(seed: int) -> Seasons:
    truth = np.random.default_rng(7).standard_normal((BLOCKS, 4)) * SPREADS
    seasons = invent(BLOCKS, seed=seed, truth=truth)
    return two_layers(seasons, np.random.default_rng(seed + 1))


@cache
def figures() -> dict[str, float]:
    """Coverage and gain, as the validation record has them."""
    seasons, after = seasons_of(5), seasons_of(99)
    inside: list[Floats] = []
    is_depletion_inside = []
    errors: dict[str, list[Floats]] = {"default": [], "learned": []}
    for block in range(BLOCKS):
        points = learn(seasons, block, student_degrees=4.0)
        quantiles = summarize(points).log_quantile
        truth = seasons.truth[block, :3]
        inside.append((quantiles[0] <= truth) & (truth <= quantiles[-1]))
        depletion = depletion_points_mm(points, DAYS, taw_mm=TAW_MM, soil=SOIL)
        low, high = weighted_quantiles(depletion, points.weight, (0.05, 0.95))
        is_depletion_inside.append(low <= max(0.0, seasons.depletion_mm[block, -1]) <= high)
        log_points = np.vstack((np.zeros(3), summarize(points).log_mean))
        missing = point_fractions(terms_of(after, block), log_points)[:, 1:].astype(np.float64)
        course = missing * TAW_MM * np.exp(log_points[:, 1:2])
        for name, row in zip(errors, course, strict=True):
            errors[name].append(row - np.maximum(0.0, after.depletion_mm[block]))
    k, c, r = np.mean(inside, axis=0)
    default, with_learned = (float(np.sqrt(np.mean(np.square(each)))) for each in errors.values())
    return {
        "k": float(k),
        "c": float(c),
        "r": float(r),
        "depletion": float(np.mean(is_depletion_inside)),
        "default_mm": default,
        "learned_mm": with_learned,
    }


def test_learning_helps_where_the_truth_is_built_otherwise() -> None:
    found = figures()
    assert found["learned_mm"] < 0.85 * found["default_mm"]


def test_intervals_are_not_badly_wrong_there() -> None:
    found = figures()
    assert min(found["k"], found["c"]) >= 0.65
    assert found["r"] >= 0.85
    assert found["depletion"] >= 0.7
