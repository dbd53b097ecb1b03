"""How plans of a run are made: which changes are worth a new version."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from service.operations.evening.turn import ChangeThreshold, Turn
from tests.scheduled_farms import FixedClock

NOW = datetime(2026, 7, 14, 23, tzinfo=UTC)


def test_a_change_is_worth_it_from_either_bound_on() -> None:
    threshold = ChangeThreshold(minutes=5.0, fraction=0.10)
    before = np.array([100.0, 100.0, 20.0, 20.0, np.nan])
    after = np.array([105.0, 106.0, 22.0, 23.0, 20.0])
    assert threshold.is_passed(before, after).tolist() == [False, True, False, True, True]


def test_a_turn_that_is_late_or_careful_looks_at_the_plans_in_force() -> None:
    clock = FixedClock(NOW)
    assert not Turn(clock=clock).revises
    assert Turn(clock=clock, earliest_start=NOW).revises
    assert Turn(clock=clock, supersedes_from=ChangeThreshold()).revises
