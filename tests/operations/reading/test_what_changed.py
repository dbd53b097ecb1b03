"""What a report changed: the plans before and after it, the same however often it is read."""

from __future__ import annotations

from datetime import datetime

from service.bootstrap import Service
from service.operations.feedback.pause_blocks import cancel_pause, pause_block
from service.operations.reading.what_changed import BlockChange, Moment, moment, what_changed
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, FARM_ID, PLAN_DAY


def now(service: Service) -> Moment:
    with service.unit_of_work(write=False) as unit:
        return moment(unit)


def changes(service: Service, before: Moment, after: Moment) -> dict[str, BlockChange]:
    with service.unit_of_work(write=False) as unit:
        found = what_changed(unit, FARM_ID, tomorrow=PLAN_DAY, before=before, after=after)
    return {each.after.block_id: each for each in found}


def pause(service: Service, block_id: str) -> str:
    with service.unit_of_work(write=True) as unit:
        made, _ = pause_block(
            unit,
            block_id,
            starts_local=datetime.fromisoformat("2026-07-15T00:00"),
            ends_local=datetime.fromisoformat("2026-07-16T00:00"),
            reason="spraying",
            reporter="the grower",
            replanning=service.replanning,
        )
    return made.pause_id


def test_a_pause_puts_its_block_to_rest_and_the_comparison_stays_after_the_next_change(
    own_service: Service,
) -> None:
    before = now(own_service)
    pause_id = pause(own_service, BLOCK_ID)
    paused = now(own_service)
    found = changes(own_service, before, paused)
    assert found.keys() == {BLOCK_ID, BARE_BLOCK_ID}
    assert found[BLOCK_ID].is_changed and found[BLOCK_ID].is_put_to_rest
    assert found[BLOCK_ID].before.planned_min > 0 == found[BLOCK_ID].after.planned_min
    assert found[BLOCK_ID].after.pause is not None
    cancel_pause(
        BLOCK_ID,
        pause_id,
        unit_of_work=own_service.unit_of_work,
        replanning=own_service.replanning,
    )
    again = changes(own_service, before, paused)
    assert again[BLOCK_ID].after.pulses == () and again[BLOCK_ID].is_put_to_rest
    whole = changes(own_service, before, now(own_service))
    assert not whole[BLOCK_ID].is_changed


def test_between_two_equal_moments_nothing_changes_and_before_all_plans_there_is_nothing(
    own_service: Service,
) -> None:
    at = now(own_service)
    assert not any(each.is_changed for each in changes(own_service, at, at).values())
    assert changes(own_service, Moment(0), at) == {}
    assert changes(own_service, at, Moment(2**63 - 1)).keys() == {BLOCK_ID, BARE_BLOCK_ID}
