"""Links to sign in: ordered for people who are known, used once, ended after a quarter hour."""

from __future__ import annotations

from datetime import timedelta

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.access.manage_keys import Right
from service.operations.access.people import remove_person, save_person
from service.operations.access.sign_in_links import (
    ADVISER_RIGHTS,
    GROWER_RIGHTS,
    LINK_LASTS,
    MOST_LINKS,
    SIGN_IN,
    ask_for_link,
    find_holder,
    find_link,
    queue_sign_in_links,
    use_link,
)
from service.operations.access.unsubscribe import token_digest
from service.records.mail import Person
from tests.api.invented_farm import FARM_ID, RUN_AT, FixedClock

ANA = "ana@example.org"
SECOND = timedelta(seconds=1)


def add(service: Service, *farm_ids: str, mail_address: str = ANA) -> None:
    """Somebody who reads of these farms; of none: an adviser."""
    person = Person(mail_address=mail_address, name="Ana", role="grower" if farm_ids else "adviser")
    save_person(person, farm_ids=farm_ids, unit_of_work=service.unit_of_work)


def ask(service: Service, mail_address: str = ANA, *, later: timedelta = timedelta(0)) -> None:
    clock = FixedClock(RUN_AT + later)
    ask_for_link(mail_address, unit_of_work=service.unit_of_work, clock=clock)


def queue(service: Service, *, later: timedelta = timedelta(0)) -> int:
    return queue_sign_in_links(service.unit_of_work, now=RUN_AT + later)


def send(service: Service, token: str = "a-token", *, later: timedelta = timedelta(0)) -> str:
    """Write the mail that waits, with this token in it."""
    with service.unit_of_work(write=True) as unit:
        (mail,) = unit.outbox.claim(owner="first", now=RUN_AT + later, lease_s=60, limit=9)
        assert mail.order.kind == SIGN_IN
        unit.outbox.store_message(
            mail.mail_key, b"x", message_id=token, token_digest=token_digest(token)
        )
    return token


def test_a_known_person_gets_one_mail_and_looking_again_queues_nothing(
    own_service: Service,
) -> None:
    add(own_service, FARM_ID)
    assert queue(own_service) == 0
    ask(own_service)
    ask(own_service)
    assert queue(own_service, later=SECOND) == 1
    assert queue(own_service, later=2 * SECOND) == 0


def test_an_unknown_person_is_dropped_without_a_mail(own_service: Service) -> None:
    ask(own_service, "nobody@example.org")
    assert queue(own_service) == 0
    add(own_service, FARM_ID, mail_address="nobody@example.org")
    assert queue(own_service) == 0


@pytest.mark.parametrize("text", ["", "ana", "ana@example.org, bob@example.org"])
def test_an_invalid_address_is_refused_and_nobody_waits(own_service: Service, text: str) -> None:
    with pytest.raises(InputInvalid) as refused:
        ask(own_service, text)
    assert refused.value.faults[0].where == "mail"
    with own_service.unit_of_work(write=False) as unit:
        assert not unit.sign_ins.has_asked()


def test_a_request_older_than_a_quarter_hour_is_dropped(own_service: Service) -> None:
    add(own_service, FARM_ID)
    ask(own_service)
    assert queue(own_service, later=LINK_LASTS) == 0
    ask(own_service)
    assert queue(own_service, later=LINK_LASTS - SECOND) == 1


def test_one_person_gets_three_links_within_the_time_that_a_link_lasts(
    own_service: Service,
) -> None:
    add(own_service, FARM_ID)
    for number in range(MOST_LINKS + 1):
        later = number * SECOND
        ask(own_service, later=later)
        assert queue(own_service, later=later) == (1 if number < MOST_LINKS else 0)
        if number < MOST_LINKS:
            send(own_service, f"token-{number}", later=later)
    ask(own_service, later=LINK_LASTS)  # the first of them has ended
    assert queue(own_service, later=LINK_LASTS) == 1


def test_looking_at_a_link_uses_nothing_and_opening_it_uses_it_up(own_service: Service) -> None:
    add(own_service, FARM_ID)
    ask(own_service)
    queue(own_service)
    token = send(own_service)
    clock = FixedClock(RUN_AT + LINK_LASTS - SECOND)
    shown = [find_link(token, unit_of_work=own_service.unit_of_work, clock=clock) for _ in "ab"]
    holder = use_link(token, unit_of_work=own_service.unit_of_work, clock=clock)
    assert shown == [holder, holder]
    assert (holder.mail_address, holder.rights) == (ANA, GROWER_RIGHTS)
    assert holder.farm_ids == {FARM_ID}
    for follow in (find_link, use_link):
        with pytest.raises(NotFound, match="not known, was used, or is too old"):
            follow(token, unit_of_work=own_service.unit_of_work, clock=clock)


def test_a_link_that_is_unknown_or_too_old_signs_nobody_in(own_service: Service) -> None:
    add(own_service, FARM_ID)
    ask(own_service)
    queue(own_service)
    token = send(own_service)
    unit_of_work = own_service.unit_of_work
    for wrong, later in ((token, LINK_LASTS), ("", SECOND), (token + "x", SECOND)):
        clock = FixedClock(RUN_AT + later)
        with pytest.raises(NotFound):
            use_link(wrong, unit_of_work=unit_of_work, clock=clock)
    holder = use_link(token, unit_of_work=unit_of_work, clock=FixedClock(RUN_AT))
    assert holder.mail_address == ANA


def test_an_address_opens_what_the_people_behind_it_have_now(own_service: Service) -> None:
    def opened() -> tuple[frozenset[str], frozenset[Right]] | None:
        holder = find_holder(ANA, unit_of_work=own_service.unit_of_work)
        return None if holder is None else (holder.farm_ids, holder.rights)

    assert opened() is None
    add(own_service)
    assert opened() == (frozenset(), ADVISER_RIGHTS)
    add(own_service, FARM_ID, "later-farm")
    assert opened() == (frozenset({FARM_ID, "later-farm"}), ADVISER_RIGHTS | GROWER_RIGHTS)
    remove_person(ANA, unit_of_work=own_service.unit_of_work)
    assert opened() is None


def test_a_person_removed_after_the_mail_went_out_is_not_signed_in(own_service: Service) -> None:
    add(own_service, FARM_ID)
    ask(own_service)
    queue(own_service)
    token = send(own_service)
    remove_person(ANA, unit_of_work=own_service.unit_of_work)
    with pytest.raises(NotFound):
        use_link(token, unit_of_work=own_service.unit_of_work, clock=FixedClock(RUN_AT))
