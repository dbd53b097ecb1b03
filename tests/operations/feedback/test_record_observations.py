"""Observations, many at once: what each kind must say of itself, and whose blocks they are of."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from service.bootstrap import Service
from service.operations.feedback.record_observations import (
    Observation,
    Property,
    RecordedObservations,
    record_observations,
)
from tests.api.invented_farm import BLOCK_ID, FARM_ID, PLAN_DAY, YOUNG_BLOCK_ID

AT = datetime(2026, 7, 14, 12, tzinfo=UTC)
SOIL = Observation(BLOCK_ID, Property.VOLUMETRIC_WATER, AT, 0.19, depth_m=0.2)
METER = Observation(BLOCK_ID, Property.WATER_VOLUME_L, AT, 0.0, until=AT + timedelta(minutes=40))


def record(
    service: Service, *observations: Observation, farm_id: str | None = FARM_ID
) -> RecordedObservations:
    """What became of some observations."""
    with service.unit_of_work(write=True) as unit:
        return record_observations(
            unit, observations, farm_id=farm_id, reporter="logger", replanning=service.replanning
        )


@pytest.mark.parametrize(
    ("observation", "where"),
    [
        (replace(METER, until=None), "/until"),
        (replace(METER, until=AT - timedelta(minutes=1)), "/until"),
        (replace(METER, until=AT + timedelta(days=3)), "/until"),
        (replace(METER, depth_m=0.2), "/depth_m"),
        (replace(METER, result=-1.0), "/result"),
        (replace(METER, at=AT - timedelta(days=500)), "/until"),
        (replace(SOIL, until=AT), "/until"),
        (replace(SOIL, depth_m=None), "/depth_m"),
        (replace(SOIL, result=0.9), "/result"),
        (replace(SOIL, at=AT - timedelta(days=100)), "/at"),
        (replace(SOIL, block_id=f"{FARM_ID}.nowhere"), "/block_id"),
        (replace(SOIL, block_id=YOUNG_BLOCK_ID), "/block_id"),
        (replace(METER, block_id=YOUNG_BLOCK_ID), "/block_id"),
    ],
)
def test_what_cannot_be_right_says_where(
    own_service: Service, observation: Observation, where: str
) -> None:
    done = record(own_service, observation, SOIL)
    assert where in [fault.where for fault in done.faults[0]]
    assert done.faults[1] == []
    assert done.outcome.created_count == 1


def test_an_operator_may_report_of_any_farm(own_service: Service) -> None:
    done = record(own_service, replace(SOIL, block_id=YOUNG_BLOCK_ID), SOIL, farm_id=None)
    assert [list(found) for found in done.faults] == [[], []]


def test_a_meters_run_is_booked_as_a_run_of_those_minutes(own_service: Service) -> None:
    record(own_service, METER)
    with own_service.unit_of_work(write=False) as unit:
        key = unit.blocks.get_block_key(BLOCK_ID)
        (run,) = unit.reports.list_runs(key, first_day=AT.date(), last_day=PLAN_DAY)
    assert run.duration_min == 40.0


def test_nothing_at_all_is_no_fault(own_service: Service) -> None:
    done = record(own_service)
    assert (done.outcome.created_count, done.new_version_count) == (0, 0)
