"""Faults put into sensors of invented blocks: how many are found, how soon, and how many in vain.

The faults begin on day 90 of a season of real weather; the ledgers were taught by the readings
before. Shares and days are held against a calculation made apart from this program.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from service.agronomy.learned_multipliers import LearnedPoints
from service.agronomy.records import Floats, Ints
from service.agronomy.sensor_check import (
    SensorState,
    SensorVerdict,
    check_sensor,
    expected_readings,
    is_water_suspected,
    usual_range,
)
from tests.validation.learning_seasons import SOIL, Seasons, at_columns, invent, learn

BLOCKS, BEGIN = 150, 90

Fault = Callable[[Floats, Ints, np.random.Generator], Floats]
FAULTS: dict[str, Fault] = {
    "none": lambda water, rows, random: water,
    "stuck": lambda water, rows, random: np.full(water.size, water[0]),
    "drift": lambda water, rows, random: water - 0.001 * (rows - BEGIN),
    "step": lambda water, rows, random: water - 0.06,
    "noise": lambda water, rows, random: water + 0.045 * random.standard_normal(water.size),
    "air": lambda water, rows, random: 0.03 + 0.003 * random.standard_normal(water.size),
}


@cache
def taught() -> tuple[Seasons, list[LearnedPoints]]:
    seasons = invent(BLOCKS, seed=31)
    return seasons, [learn(seasons, block, until=BEGIN) for block in range(BLOCKS)]


@cache
def verdicts(fault: str) -> tuple[list[SensorVerdict], Floats]:
    """What the check finds, and how many days after the fault began (NaN: never)."""
    seasons, learned = taught()
    random = np.random.default_rng(1)
    found, after = [], []
    for block, points in enumerate(learned):
        water = seasons.water[block]
        read = np.flatnonzero(np.isfinite(water))
        rows = read[read >= BEGIN]
        spoiled = FAULTS[fault](water[rows], rows, random)
        readings = at_columns(rows + 1, spoiled)
        verdict = check_sensor(
            spoiled,
            np.datetime64("2001-04-01") + rows,
            expected_readings(points, readings, soil=SOIL),
            soil=SOIL,
            usual_range=usual_range(water[read[read < BEGIN]]),
            was_watered=np.ones(rows.size, dtype=np.bool_),
        )
        found.append(verdict)
        first = verdict.first_reading
        after.append(float(rows[first] - BEGIN) if first >= 0 else np.nan)
    return found, np.array(after)


def states(fault: str) -> list[SensorState]:
    return [verdict.state for verdict in verdicts(fault)[0]]


def test_at_most_one_sound_sensor_in_twenty_is_doubted() -> None:
    assert np.mean(np.isfinite(verdicts("none")[1])) <= 0.05


@pytest.mark.parametrize(
    ("fault", "within_days"),
    [("stuck", 18), ("step", 18), ("air", 4), ("noise", 20), ("drift", 45)],
)
def test_every_fault_is_found_and_half_of_them_soon(fault: str, within_days: int) -> None:
    _, after = verdicts(fault)
    assert np.isfinite(after).all()
    assert np.median(after) <= within_days


@pytest.mark.parametrize(
    ("fault", "state", "least_share"),
    [
        ("stuck", SensorState.STUCK, 0.7),
        ("air", SensorState.IN_AIR, 0.99),
        ("step", SensorState.JUMPED, 0.7),
        ("noise", SensorState.NOISY, 0.6),
        ("drift", SensorState.DRIFTING, 0.5),
    ],
)
def test_the_cause_that_is_named_is_mostly_the_right_one(
    fault: str, state: SensorState, least_share: float
) -> None:
    assert np.mean([found is state for found in states(fault)]) >= least_share


def test_all_sensors_dry_under_a_closed_valve_point_at_the_water() -> None:
    dry = [each for each in verdicts("step")[0] if each.mean_score < 0.0][:2]
    assert is_water_suspected(dry, metered_ratio=0.4)
    assert not is_water_suspected(dry, metered_ratio=0.98)
    assert not is_water_suspected([], metered_ratio=0.4)
    assert not is_water_suspected(dry, metered_ratio=float("nan"))
