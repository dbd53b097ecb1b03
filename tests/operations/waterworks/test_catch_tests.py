"""Catch tests: stored once, and used by the plan where somebody turns that on."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.waterworks.catch_tests import (
    CatchReport,
    list_catch_tests,
    record_catch_test,
)
from service.records.farms import BlockDefinition, LoadOutcome
from service.records.waterworks import CatchTest
from tests.api.invented_farm import BLOCK_ID, PLAN_DAY, TODAY

CAUGHT = [205.0, 198, 192, 210, 180, 200, 195, 188, 202, 170, 196, 208, 190, 204, 185, 199]
# By hand: the mean of the lowest quarter (170, 180, 185, 188) is 180.75, that of all 195.125.
UNIFORMITY_PCT = 92.63


def record(
    service: Service,
    caught_ml: Sequence[float] = CAUGHT,
    *,
    day: date = TODAY,
    is_used: bool = False,
    block_id: str = BLOCK_ID,
) -> tuple[CatchReport, LoadOutcome]:
    return record_catch_test(
        block_id,
        day,
        caught_ml,
        is_used=is_used,
        effective_day=TODAY,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )


def block_on(service: Service, day: date = TODAY) -> BlockDefinition:
    with service.unit_of_work(write=False) as unit:
        return unit.blocks.get_block(BLOCK_ID, day=day)


def listed(service: Service) -> list[CatchTest]:
    found = list_catch_tests(BLOCK_ID, on=TODAY, unit_of_work=service.unit_of_work)
    return [report.test for report in found]


def test_a_test_is_stored_and_the_same_again_changes_nothing(own_service: Service) -> None:
    before = block_on(own_service)
    report, outcome = record(own_service)
    assert outcome.created_count == 1
    assert report.uniformity.emission_uniformity_pct == pytest.approx(UNIFORMITY_PCT, abs=0.01)
    assert report.plan_uniformity_pct == before.emission_uniformity_pct
    again, unchanged = record(own_service)
    assert (again, unchanged.unchanged_count) == (report, 1)
    assert listed(own_service) == [report.test]
    assert block_on(own_service) == before


def test_the_newest_test_comes_first(own_service: Service) -> None:
    for ago in (30, 1, 10):
        record(own_service, day=TODAY - timedelta(days=ago))
    assert [(TODAY - test.day).days for test in listed(own_service)] == [1, 10, 30]


def test_a_test_in_use_counts_from_its_day_on_and_says_where_it_comes_from(
    own_service: Service,
) -> None:
    before = block_on(own_service)
    report, _ = record(own_service, is_used=True)
    block = block_on(own_service)
    assert block.emission_uniformity_pct == report.plan_uniformity_pct
    assert report.plan_uniformity_pct == pytest.approx(UNIFORMITY_PCT, abs=0.01)
    assert report.plan_origin.startswith(f"catch test of {TODAY}, 16 emitters, ")
    assert block_on(own_service, TODAY - timedelta(days=1)) == before
    with own_service.unit_of_work(write=False) as unit:
        assert unit.texts.find(BLOCK_ID, day=PLAN_DAY) is None  # it had the old number
    _, again = record(own_service, is_used=True)
    assert again.unchanged_count == 1 and block_on(own_service) == block


def test_a_field_too_uneven_to_water_is_not_used_and_its_test_not_kept(
    own_service: Service,
) -> None:
    before = block_on(own_service)
    uneven = [10.0] * 8 + [200.0] * 8
    with pytest.raises(InputInvalid) as refused:
        record(own_service, uneven, is_used=True)
    (fault,) = refused.value.faults
    assert (fault.where, fault.found) == ("uniformity of the test", "10 %")
    assert fault.allowed == "40 % or more: clean or mend the lines"
    assert (listed(own_service), block_on(own_service)) == ([], before)
    record(own_service, uneven)
    assert len(listed(own_service)) == 1


def test_fewer_than_sixteen_volumes_say_too_little(own_service: Service) -> None:
    with pytest.raises(InputInvalid, match="16"):
        record(own_service, CAUGHT[:15])
    assert listed(own_service) == []


def test_a_day_that_has_not_come_at_the_farm_is_refused(own_service: Service) -> None:
    record(own_service)
    with pytest.raises(InputInvalid) as refused:
        record(own_service, day=TODAY + timedelta(days=1))
    assert str(refused.value.faults[0]) == (
        "day: found 2026-07-15; allowed: a day up to 2026-07-14"
    )
    assert len(listed(own_service)) == 1


def test_a_block_that_is_not_stored_has_no_tests(own_service: Service) -> None:
    with pytest.raises(NotFound, match=r"test-farm\.nowhere"):
        record(own_service, block_id="test-farm.nowhere")
