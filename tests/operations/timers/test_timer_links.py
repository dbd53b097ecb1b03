"""The link in a mail by which a reader says that a timer was set."""

from __future__ import annotations

from datetime import timedelta

import pytest

from service.bootstrap import Service
from service.errors import NotFound
from service.operations.access.people import remove_person, save_person
from service.operations.access.unsubscribe import find_subscription, new_token, token_digest
from service.operations.timers.set_timer import TimerState, list_timers
from service.operations.timers.timer_links import (
    LinkedProgram,
    Standing,
    find_linked_program,
    set_linked_program,
    unsubscribe_token_of,
)
from service.records.mail import MailOrder, Person
from service.records.timers import OfferedProgram
from tests.api.invented_farm import (
    FARM_ID,
    PLAN_DAY,
    RUN_AT,
    TODAY,
    FixedClock,
    bring_weather,
    plan_evening,
    with_timer,
)

ANA = Person(mail_address="ana@example.org", name="Ana", language="es")


def mailed(service: Service, *, farm_id: str = FARM_ID, person: Person = ANA) -> str:
    """The timers' token of a mail that went out."""
    save_person(person, farm_ids=[farm_id], unit_of_work=service.unit_of_work)
    token = new_token()
    with service.unit_of_work(write=True) as unit:
        (known,) = unit.people.list_people(mail_address=person.mail_address)
        order = MailOrder(
            person_key=known.person_key, farm_id=farm_id, plan_day=PLAN_DAY, kind="evening",
            expires_at=RUN_AT,
        )  # fmt: skip
        unit.outbox.queue([order], at=RUN_AT)
        (mail,) = unit.outbox.claim(owner="first", now=RUN_AT, lease_s=60, limit=1)
        unit.outbox.store_message(
            mail.mail_key, b"x", message_id=token,
            token_digest=token_digest(unsubscribe_token_of(token)),
        )  # fmt: skip
    return token


def state_of(service: Service) -> TimerState:
    (state,) = list_timers(FARM_ID, unit_of_work=service.unit_of_work, now=service.clock.now())
    return state


def offered(service: Service) -> OfferedProgram:
    found = state_of(service).to_set
    assert found is not None
    return found


def look(service: Service, token: str, program_id: str) -> LinkedProgram:
    return find_linked_program(
        token, program_id, unit_of_work=service.unit_of_work, clock=service.clock
    )


def press(
    service: Service, token: str, program_id: str, *, runs_today: bool = False
) -> LinkedProgram:
    return set_linked_program(
        token, program_id, runs_today=runs_today, unit_of_work=service.unit_of_work,
        replanning=service.replanning,
    )  # fmt: skip


@pytest.fixture
def timed(own_service: Service) -> Service:
    """A farm whose timer is offered a program."""
    with_timer(own_service)
    return own_service


def test_looking_sets_nothing_and_shows_what_would_be_noted(timed: Service) -> None:
    token, program = mailed(timed), offered(timed)
    for _ in range(2):
        found = look(timed, token, program.program_id)
        assert (found.standing, found.program) == (Standing.TO_SET, program.program)
        assert (found.reader, found.farm_id, found.today) == (ANA, FARM_ID, TODAY)
    assert state_of(timed).set_program is None


def test_pressing_the_button_twice_is_pressing_it_once(timed: Service) -> None:
    token, program = mailed(timed), offered(timed)
    first = press(timed, token, program.program_id)
    assert (first.standing, first.set_from) == (Standing.WAS_SET, PLAN_DAY)
    held = state_of(timed).set_program
    assert held is not None
    assert (held.program, held.reporter) == (program.program, "mail Ana")
    assert press(timed, token, program.program_id, runs_today=True) == first
    assert state_of(timed).set_program == held


def test_a_program_may_run_today_already(timed: Service) -> None:
    token, program = mailed(timed), offered(timed)
    assert press(timed, token, program.program_id, runs_today=True).set_from == TODAY


def test_an_evening_that_is_run_again_keeps_the_link_of_the_same_program(timed: Service) -> None:
    token, program = mailed(timed), offered(timed)
    assert not plan_evening(timed)
    assert offered(timed).program_id == program.program_id
    assert press(timed, token, program.program_id).standing is Standing.WAS_SET


def go_to(service: Service, days: int) -> None:
    clock = service.clock
    assert isinstance(clock, FixedClock)
    clock.instant = RUN_AT + timedelta(days=days)


def test_a_link_ends_with_the_next_program(timed: Service) -> None:
    token, program = mailed(timed), offered(timed)
    go_to(timed, 7)
    bring_weather(timed, today=TODAY + timedelta(days=7))
    assert not plan_evening(timed, on=TODAY + timedelta(days=7))
    assert offered(timed).program_id != program.program_id
    assert press(timed, token, program.program_id).standing is Standing.REPLACED
    assert state_of(timed).set_program is None


def test_a_link_ends_a_week_after_the_first_day_of_its_program(timed: Service) -> None:
    token, program = mailed(timed), offered(timed)
    go_to(timed, 8)
    assert look(timed, token, program.program_id).standing is Standing.TO_SET
    go_to(timed, 9)
    assert press(timed, token, program.program_id).standing is Standing.REPLACED
    assert state_of(timed).set_program is None


def test_the_unsubscribe_token_of_the_same_mail_sets_nothing(timed: Service) -> None:
    token, program = mailed(timed), offered(timed)
    public = unsubscribe_token_of(token)
    assert find_subscription(public, unit_of_work=timed.unit_of_work).is_active
    for wrong in (public, "", token + "x", "x" * 500):
        with pytest.raises(NotFound):
            press(timed, wrong, program.program_id)
    with pytest.raises(NotFound):
        find_subscription(token, unit_of_work=timed.unit_of_work)
    with pytest.raises(NotFound):
        press(timed, token, "0" * 16)
    assert state_of(timed).set_program is None


def test_a_reader_who_left_the_farm_sets_nothing(timed: Service) -> None:
    program = offered(timed)
    token = mailed(timed)
    remove_person(ANA.mail_address, farm_id=FARM_ID, unit_of_work=timed.unit_of_work)
    with pytest.raises(NotFound):
        press(timed, token, program.program_id)
    assert state_of(timed).set_program is None


def test_a_mail_of_another_farm_sets_nothing(timed: Service) -> None:
    program = offered(timed)
    token = mailed(timed, farm_id="later-farm")
    with pytest.raises(NotFound):
        press(timed, token, program.program_id)
    assert state_of(timed).set_program is None
