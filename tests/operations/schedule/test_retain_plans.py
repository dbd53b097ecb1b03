"""Plans that are past: packed after two weeks, thinned after some months, and still to be read."""

from __future__ import annotations

from datetime import timedelta

from service.bootstrap import Service
from service.operations.reading.read_plans import explain
from service.operations.schedule.retain_plans import VERSIONS_KEPT, WHOLE_FOR, retain_plans
from tests.api.invented_farm import BLOCK_ID, PLAN_DAY, RUN_AT, FixedClock, plan_evening


def retain(service: Service, *, days_later: int) -> tuple[int, int]:
    clock = service.clock
    assert isinstance(clock, FixedClock)
    clock.instant = RUN_AT + timedelta(days=days_later)
    done = retain_plans(unit_of_work=service.unit_of_work, clock=clock)
    return done.packed_count, done.thinned_count


def test_a_plan_that_is_past_is_explained_as_it_was(own_service: Service) -> None:
    assert not plan_evening(own_service)
    steps = explain(BLOCK_ID, day=PLAN_DAY, unit_of_work=own_service.unit_of_work).steps
    assert retain(own_service, days_later=WHOLE_FOR.days) == (0, 0)
    packed, thinned = retain(own_service, days_later=WHOLE_FOR.days + 2)
    assert packed > 0 and thinned == 0
    assert retain(own_service, days_later=VERSIONS_KEPT.days + 2) == (0, 0)
    again = explain(BLOCK_ID, day=PLAN_DAY, unit_of_work=own_service.unit_of_work).steps
    assert again == steps
