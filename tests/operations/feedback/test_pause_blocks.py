"""No-water periods: stored with the plans that follow, and taken back once."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.feedback.pause_blocks import (
    LONGEST_PAUSE,
    LONGEST_REASON,
    MOST_PAUSES,
    cancel_pause,
    list_pauses,
    pause_block,
)
from service.records.feedback import Pause
from service.records.plans import PublishedPlan
from tests.api.invented_farm import BLOCK_ID, PLAN_DAY, RUN_AT

MIDNIGHT = datetime.combine(PLAN_DAY, datetime.min.time())
ONE_DAY = timedelta(days=1)


def pause(
    service: Service,
    block_id: str = BLOCK_ID,
    *,
    starts_local: datetime = MIDNIGHT,
    ends_local: datetime = MIDNIGHT + ONE_DAY,
    reason: str = "harvest",
) -> tuple[Pause, int]:
    with service.unit_of_work(write=True) as unit:
        return pause_block(
            unit,
            block_id,
            starts_local=starts_local,
            ends_local=ends_local,
            reason=reason,
            reporter="the grower",
            replanning=service.replanning,
        )


def listed(service: Service) -> list[Pause]:
    return list_pauses(BLOCK_ID, unit_of_work=service.unit_of_work)


def cancel(service: Service, pause_id: str) -> int:
    return cancel_pause(
        BLOCK_ID, pause_id, unit_of_work=service.unit_of_work, replanning=service.replanning
    )


def plan_of(service: Service) -> PublishedPlan:
    with service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(BLOCK_ID, day=PLAN_DAY)
    assert plan is not None
    return plan


def test_a_pause_of_tomorrow_takes_tomorrows_pulses_away(own_service: Service) -> None:
    assert plan_of(own_service).pulses
    made, new_version_count = pause(own_service)
    assert new_version_count >= 1
    assert listed(own_service) == [made]
    assert (made.block_id, made.reporter, made.recorded_at) == (BLOCK_ID, "the grower", RUN_AT)
    assert (made.period.reason, made.period.starts_local) == ("harvest", MIDNIGHT)
    after = plan_of(own_service)
    assert (after.version, after.pulses) == (2, ())


def test_a_pause_in_weeks_replaces_no_plan(own_service: Service) -> None:
    later = MIDNIGHT + timedelta(days=60)
    assert pause(own_service, starts_local=later, ends_local=later + ONE_DAY)[1] == 0
    assert plan_of(own_service).version == 1


def test_a_pause_is_taken_back_once_and_its_plan_comes_back(own_service: Service) -> None:
    pulses = plan_of(own_service).pulses
    made, _ = pause(own_service)
    assert cancel(own_service, made.pause_id) >= 1
    assert plan_of(own_service).pulses == pulses
    version = plan_of(own_service).version
    assert cancel(own_service, made.pause_id) == 0
    assert (plan_of(own_service).version, listed(own_service)) == (version, [])


def test_impossible_times_and_reasons_are_refused_together(own_service: Service) -> None:
    with pytest.raises(InputInvalid) as refused:
        pause(own_service, ends_local=MIDNIGHT, reason=" ")
    assert [fault.where for fault in refused.value.faults] == ["/ends_local", "/reason"]
    assert refused.value.faults[0].found == MIDNIGHT.isoformat()
    for wrong in ("x" * (LONGEST_REASON + 1), "two\nlines"):
        with pytest.raises(InputInvalid, match="in one line"):
            pause(own_service, reason=wrong)
    with pytest.raises(InputInvalid, match="400 days at most"):
        pause(own_service, ends_local=MIDNIGHT + LONGEST_PAUSE + timedelta(seconds=1))
    assert (listed(own_service), plan_of(own_service).version) == ([], 1)


def test_a_block_has_so_many_pauses_and_no_more(own_service: Service) -> None:
    made, _ = pause(own_service)
    with own_service.unit_of_work(write=True) as unit:
        for number in range(1, MOST_PAUSES):
            unit.pauses.add(
                Pause(
                    pause_id=f"{number:016x}",
                    block_id=BLOCK_ID,
                    period=made.period,
                    reporter="the grower",
                    recorded_at=RUN_AT,
                )
            )
    with pytest.raises(InputInvalid, match="at most 100 pauses"):
        pause(own_service)
    cancel(own_service, made.pause_id)
    assert pause(own_service)[0] in listed(own_service)


def test_a_block_that_is_not_in_force_cannot_be_paused(own_service: Service) -> None:
    with pytest.raises(NotFound, match=r"test-farm\.nowhere"):
        pause(own_service, "test-farm.nowhere")
    with pytest.raises(NotFound, match=r"test-farm\.nowhere"):
        list_pauses("test-farm.nowhere", unit_of_work=own_service.unit_of_work)
    with pytest.raises(NotFound, match="nothing"):
        cancel(own_service, "nothing")
