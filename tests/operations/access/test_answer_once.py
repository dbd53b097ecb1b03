"""An answer is stored in the transaction of its effect: once, for its request, for two days."""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta

import pytest

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.access import answer_once as answer_once_module
from service.operations.access.answer_once import (
    KEPT_FOR,
    KeyTaken,
    Once,
    StillRunning,
    answer_once,
)
from service.records.mail import Person
from tests.patience import PATIENCE_S
from tests.scheduled_farms import FixedClock

NOW = datetime(2026, 7, 14, 23, tzinfo=UTC)
ONCE = Once("test-farm", "one", "digest of the body")


class Asked:
    """Work that adds an adviser each time it is done."""

    def __init__(self) -> None:
        self.done_count = 0

    def __call__(self, unit: UnitOfWork) -> tuple[int, bytes]:
        """Answer with how often the work was done."""
        self.done_count += 1
        mail_address = f"reader-{self.done_count}@example.org"
        person = Person(mail_address=mail_address, name="Ana", role="adviser")
        unit.people.save(person)
        return 201, f"number {self.done_count}".encode()


def people_count(open_unit: UnitOfWorkFactory) -> int:
    with open_unit(write=False) as unit:
        return len(unit.people.list_people())


def test_the_same_request_again_gets_the_first_answer_and_is_not_done_again(
    open_unit: UnitOfWorkFactory,
) -> None:
    work, clock = Asked(), FixedClock(NOW)
    first = answer_once(ONCE, work, unit_of_work=open_unit, clock=clock)
    assert (first.status, first.body, first.stored_at) == (201, b"number 1", NOW)
    clock.time += timedelta(hours=1)
    assert answer_once(ONCE, work, unit_of_work=open_unit, clock=clock) == first
    assert work.done_count == people_count(open_unit) == 1


def test_another_request_under_a_key_in_use_is_refused_and_does_nothing(
    open_unit: UnitOfWorkFactory,
) -> None:
    work, clock = Asked(), FixedClock(NOW)
    answer_once(ONCE, work, unit_of_work=open_unit, clock=clock)
    other = Once(ONCE.tenant, ONCE.idempotency_key, "digest of another body")
    with pytest.raises(KeyTaken) as refused:
        answer_once(other, work, unit_of_work=open_unit, clock=clock)
    (fault,) = refused.value.faults
    assert (fault.where, fault.allowed) == ("Idempotency-Key", "a new key for a new request")
    assert people_count(open_unit) == 1


def test_the_same_key_of_two_farms_means_two_requests(open_unit: UnitOfWorkFactory) -> None:
    work, clock = Asked(), FixedClock(NOW)
    answer_once(ONCE, work, unit_of_work=open_unit, clock=clock)
    elsewhere = Once("later-farm", ONCE.idempotency_key, "digest of another body")
    assert answer_once(elsewhere, work, unit_of_work=open_unit, clock=clock).body == b"number 2"


def test_an_answer_is_forgotten_after_two_days_and_not_before(
    open_unit: UnitOfWorkFactory,
) -> None:
    work, clock = Asked(), FixedClock(NOW)
    answer_once(ONCE, work, unit_of_work=open_unit, clock=clock)
    clock.time = NOW + KEPT_FOR - timedelta(seconds=1)
    assert answer_once(ONCE, work, unit_of_work=open_unit, clock=clock).body == b"number 1"
    clock.time = NOW + KEPT_FOR
    assert answer_once(ONCE, work, unit_of_work=open_unit, clock=clock).body == b"number 2"


def test_work_that_fails_leaves_neither_effect_nor_answer_and_its_key_free(
    open_unit: UnitOfWorkFactory,
) -> None:
    work, clock = Asked(), FixedClock(NOW)

    def fail(unit: UnitOfWork) -> tuple[int, bytes]:
        work(unit)
        raise RuntimeError("half-way")

    with pytest.raises(RuntimeError, match="half-way"):
        answer_once(ONCE, fail, unit_of_work=open_unit, clock=clock)
    assert people_count(open_unit) == 0
    assert answer_once(ONCE, work, unit_of_work=open_unit, clock=clock).body == b"number 2"
    assert people_count(open_unit) == 1


def test_a_request_that_is_still_running_is_not_begun_a_second_time(
    open_unit: UnitOfWorkFactory,
) -> None:
    inside, go_on = threading.Event(), threading.Event()

    def work(_unit: object) -> tuple[int, bytes]:
        inside.set()
        assert go_on.wait(PATIENCE_S)
        return 200, b"done"

    def ask() -> None:
        answer_once(ONCE, work, unit_of_work=open_unit, clock=FixedClock(NOW))

    thread = threading.Thread(target=ask)
    thread.start()
    assert inside.wait(PATIENCE_S)
    with pytest.raises(StillRunning):
        ask()
    go_on.set()
    thread.join()
    assert answer_once_module._under_way == set()
