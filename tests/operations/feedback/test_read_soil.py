"""A soil reading: what it says of the root zone, stored once, with balance and plans behind it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.farms.measured_numbers import change_number
from service.operations.feedback.read_soil import StoredSoilReading, read_soil
from service.operations.feedback.reported_time import CLOCK_SLACK
from service.records.feedback import OLDEST_READING
from tests.api.invented_farm import BLOCK_ID, PLAN_DAY, RUN_AT, TODAY

FIELD_CAPACITY, WILTING_POINT = 0.23, 0.11
"""Sandy loam, the middle of the range in FAO-56 Table 19."""
WET = 0.21


def read(service: Service, block_id: str = BLOCK_ID, **changes: Any) -> StoredSoilReading:
    """A wet reading of this morning, from the top to half a metre, unless a test differs."""
    facts: dict[str, Any] = {
        "read_at": datetime(2026, 7, 14, 12, tzinfo=UTC),
        "top_depth_m": 0.0,
        "bottom_depth_m": 0.5,
        "volumetric_water": WET,
        "tension_kpa": None,
        "note": "",
        "reporter": "a probe",
        **changes,
    }
    with service.unit_of_work(write=True) as unit:
        return read_soil(unit, block_id, replanning=service.replanning, **facts)


def kept(service: Service) -> tuple[int, float]:
    """Version of tomorrow's plan, and the depletion at midnight that it reckons with."""
    with service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(BLOCK_ID, day=PLAN_DAY)
    assert plan is not None
    depletion_mm = plan.reasoning.depletion_midnight_mm
    assert depletion_mm is not None
    return plan.version, depletion_mm


def test_a_wet_reading_is_stored_and_tomorrows_plan_reckons_with_it(
    own_service: Service,
) -> None:
    version, before_mm = kept(own_service)
    found = read(own_service)
    assert (found.outcome.created_count, found.outcome.changed_count) == (1, 0)
    assert found.new_version_count >= 1
    assert (found.reading.day, found.reading.is_evening) == (TODAY, False)
    assert found.reading.reporter == "a probe"
    share = (FIELD_CAPACITY - WET) / (FIELD_CAPACITY - WILTING_POINT)
    assert found.reading.depletion_reading_mm == pytest.approx(share * found.taw_mm)
    assert kept(own_service)[0] == version + 1
    assert kept(own_service)[1] < before_mm


def test_a_tension_in_bark_is_refused(own_service: Service) -> None:
    with own_service.unit_of_work(write=True) as unit:
        block = unit.blocks.get_block(BLOCK_ID, day=TODAY)
        change_number(
            unit,
            block,
            "field_capacity",
            0.21,
            origin="texture pine-bark: aged",
            effective_day=TODAY,
            clock=own_service.clock,
        )
    with pytest.raises(InputInvalid) as refusal:
        read(own_service, volumetric_water=None, tension_kpa=20.0)
    assert refusal.value.faults[0].allowed.startswith("volumetric_water")
    assert read(own_service).outcome.created_count == 1


def test_the_same_reading_again_changes_nothing_and_another_takes_its_place(
    own_service: Service,
) -> None:
    read(own_service)
    before = kept(own_service)
    again = read(own_service)
    assert (again.outcome.unchanged_count, again.new_version_count) == (1, 0)
    assert kept(own_service) == before
    drier = read(own_service, volumetric_water=0.13)
    assert drier.outcome.changed_count == 1
    assert kept(own_service)[1] > before[1]


def test_a_reading_of_days_ago_reopens_the_ledger_from_its_day_on(own_service: Service) -> None:
    _, before_mm = kept(own_service)
    found = read(own_service, read_at=datetime(2026, 7, 11, 12, tzinfo=UTC))
    assert found.new_version_count >= 1
    assert kept(own_service)[1] < before_mm


def test_a_tension_is_turned_into_water(own_service: Service) -> None:
    found = read(own_service, volumetric_water=None, tension_kpa=50.0)
    assert (found.reading.kind, found.reading.tension_kpa) == ("tension", 50.0)
    assert WILTING_POINT < found.reading.volumetric_water < FIELD_CAPACITY
    drier = read(own_service, volumetric_water=None, tension_kpa=300.0)
    assert drier.reading.volumetric_water < found.reading.volumetric_water


def test_a_reading_after_noon_at_the_block_counts_for_the_end_of_its_day(
    own_service: Service,
) -> None:
    noon = datetime(2026, 7, 14, 16, tzinfo=UTC)  # New York is four hours behind
    assert read(own_service, read_at=noon).reading.is_evening
    assert not read(own_service, read_at=noon - timedelta(seconds=1)).reading.is_evening


@pytest.mark.parametrize(
    ("changes", "where", "allowed"),
    [
        ({"read_at": RUN_AT + CLOCK_SLACK + timedelta(seconds=1)}, "/read_at", "60 days ago"),
        ({"read_at": RUN_AT - OLDEST_READING - timedelta(seconds=1)}, "/read_at", "60 days ago"),
        ({"volumetric_water": None}, "", "either volumetric_water or tension_kpa"),
        ({"tension_kpa": 30.0}, "", "either volumetric_water or tension_kpa"),
        ({"volumetric_water": 18.0}, "/volumetric_water", "0 to 0.8 m3/m3"),
        ({"volumetric_water": None, "tension_kpa": -30.0}, "/tension_kpa", "0 to 1500 kPa"),
        ({"top_depth_m": 0.5}, "/depth_m", "0 to 5 m"),
        ({"top_depth_m": 3.0, "bottom_depth_m": 3.5}, "/depth_m", "inside the managed root zone"),
    ],
    ids=["to come", "too old", "neither", "both", "percent", "negative", "no layer", "too deep"],
)
def test_an_impossible_reading_is_refused_and_the_balance_stays(
    own_service: Service, changes: dict[str, Any], where: str, allowed: str
) -> None:
    before = kept(own_service)
    with pytest.raises(InputInvalid) as refused:
        read(own_service, **changes)
    (fault,) = refused.value.faults
    assert fault.where == where
    assert allowed in fault.allowed
    assert kept(own_service) == before


def test_a_block_that_is_not_stored_has_no_soil(own_service: Service) -> None:
    with pytest.raises(NotFound, match=r"test-farm\.nowhere"):
        read(own_service, "test-farm.nowhere")
