"""The token of a mail: shows what it would stop, and stops it, once or twice alike."""

from __future__ import annotations

import pytest

from service.bootstrap import Service
from service.errors import NotFound
from service.operations.access.people import list_people, save_person
from service.operations.access.unsubscribe import (
    LONGEST_TOKEN,
    find_subscription,
    new_token,
    token_digest,
    unsubscribe,
)
from service.records.mail import MailOrder, Person
from tests.api.invented_farm import FARM_ID, PLAN_DAY, RUN_AT

ANA = Person(mail_address="ana@example.org", name="Ana", language="es")


def sent(service: Service, kind: str) -> str:
    """The token of a mail of this kind to Ana, who reads of the farm on both lists."""
    save_person(ANA, farm_ids=[FARM_ID], unit_of_work=service.unit_of_work)
    token = new_token()
    with service.unit_of_work(write=True) as unit:
        (known,) = unit.people.list_people()
        order = MailOrder(
            person_key=known.person_key,
            farm_id=FARM_ID,
            plan_day=PLAN_DAY,
            kind=kind,
            expires_at=RUN_AT,
        )
        unit.outbox.queue([order], at=RUN_AT)
        (mail,) = unit.outbox.claim(owner="first", now=RUN_AT, lease_s=60, limit=1)
        unit.outbox.store_message(
            mail.mail_key, b"x", message_id=token, token_digest=token_digest(token)
        )
    return token


def lists_of_ana(service: Service) -> tuple[str, ...]:
    (known,) = list_people(unit_of_work=service.unit_of_work)
    return known.person.receives


@pytest.mark.parametrize(
    ("kind", "mail_list", "left"),
    [("evening", "evening", ("weekly",)), ("weekly", "weekly", ("evening",)),
     ("bulletin", "weekly", ("evening",))],
)  # fmt: skip
def test_a_token_stops_the_list_that_its_mail_was_of_and_no_other(
    own_service: Service, kind: str, mail_list: str, left: tuple[str, ...]
) -> None:
    token = sent(own_service, kind)
    stopped = unsubscribe(token, unit_of_work=own_service.unit_of_work)
    assert (stopped.mail_address, stopped.language) == (ANA.mail_address, "es")
    assert (stopped.mail_list, stopped.is_active) == (mail_list, False)
    assert lists_of_ana(own_service) == left


def test_looking_at_a_token_stops_nothing(own_service: Service) -> None:
    token = sent(own_service, "evening")
    for _ in range(2):
        assert find_subscription(token, unit_of_work=own_service.unit_of_work).is_active
    assert lists_of_ana(own_service) == ("evening", "weekly")


def test_stopping_twice_is_stopping_once(own_service: Service) -> None:
    token = sent(own_service, "evening")
    first = unsubscribe(token, unit_of_work=own_service.unit_of_work)
    assert unsubscribe(token, unit_of_work=own_service.unit_of_work) == first
    assert lists_of_ana(own_service) == ("weekly",)


def test_a_suppressed_reader_is_shown_as_unsubscribed(own_service: Service) -> None:
    token = sent(own_service, "evening")
    with own_service.unit_of_work(write=True) as unit:
        (known,) = unit.people.list_people()
        unit.people.suppress(known.person_key, at=RUN_AT, reason="refused")
    assert not find_subscription(token, unit_of_work=own_service.unit_of_work).is_active


def test_a_token_of_no_mail_is_refused_however_it_looks(own_service: Service) -> None:
    token = sent(own_service, "evening")
    for wrong in ("", "x", token[:-1], token + "x", "'" * (LONGEST_TOKEN + 1)):
        for follow in (find_subscription, unsubscribe):
            with pytest.raises(NotFound, match="this link is not known"):
                follow(wrong, unit_of_work=own_service.unit_of_work)
    assert lists_of_ana(own_service) == ("evening", "weekly")


def test_tokens_are_long_and_never_alike() -> None:
    made = {new_token() for _ in range(100)}
    assert len(made) == 100
    assert all(20 <= len(token) <= LONGEST_TOKEN for token in made)
