"""Links to sign in, in both databases: who asked, the person a link is for, and that it works
once.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import Engine, select

from service.database import migrate
from service.database.session import UnitOfWorkFactory, unit_of_work_factory
from service.database.tables import mail
from service.records.mail import MailOrder, Person

NOW = datetime(2026, 7, 14, 22, tzinfo=UTC)
DAY = date(2026, 7, 14)
ENDS = NOW + timedelta(minutes=15)


def order(open_unit: UnitOfWorkFactory, *, kind: str = "sign-in", digest: str = "d") -> int:
    """A mail of Ana's, written; her key."""
    with open_unit(write=True) as unit:
        unit.people.save(Person(mail_address="Ana@example.org", name="Ana"))
        (known,) = unit.people.list_people(mail_address="Ana@example.org")
        unit.outbox.queue(
            [MailOrder(person_key=known.person_key, farm_id="", plan_day=DAY, kind=kind,
                       expires_at=ENDS)],
            at=NOW,
        )  # fmt: skip
        (claimed,) = unit.outbox.claim(owner="a", now=NOW, lease_s=60, limit=5)
        unit.outbox.store_message(claimed.mail_key, b"x", message_id="m", token_digest=digest)
    return known.person_key


def test_pending_requests_are_taken_once_in_the_order_of_asking(
    open_unit: UnitOfWorkFactory,
) -> None:
    asked = [("b@example.org", NOW), ("a@example.org", NOW), ("b@example.org", NOW)]
    with open_unit(write=True) as unit:
        assert not unit.sign_ins.has_asked() and unit.sign_ins.take_asked() == []
        for mail_address, at in asked:
            unit.sign_ins.ask(mail_address, at=at)
    with open_unit(write=True) as unit:
        assert unit.sign_ins.has_asked()
        assert unit.sign_ins.take_asked() == asked
        assert not unit.sign_ins.has_asked()


def test_people_are_found_whatever_the_case_the_exact_ones_first(
    open_unit: UnitOfWorkFactory,
) -> None:
    with open_unit(write=True) as unit:
        for mail_address in ("Ana@example.org", "ana@example.org", "anna@example.org"):
            unit.people.save(Person(mail_address=mail_address, name="Ana"))
        for asked, first in (
            ("ana@example.org", 1),
            ("Ana@example.org", 0),
            ("ANA@example.org", 0),
        ):
            found = [known.person.mail_address for known in unit.sign_ins.find_people(asked)]
            stored = ["Ana@example.org", "ana@example.org"]
            assert found[0] == stored[first] and sorted(found) == stored


def test_a_link_is_used_once_and_until_its_time(open_unit: UnitOfWorkFactory) -> None:
    person_key = order(open_unit)
    with open_unit(write=True) as unit:
        assert unit.sign_ins.find_link("d", now=ENDS) is None
        assert unit.sign_ins.use_link("d", now=ENDS) is None
        assert unit.sign_ins.use_link("other", now=NOW) is None
        assert unit.sign_ins.count_links(person_key, since=NOW - timedelta(seconds=1)) == 1
        assert unit.sign_ins.count_links(person_key, since=NOW) == 0
        for use in (unit.sign_ins.find_link, unit.sign_ins.use_link):
            known = use("d", now=ENDS - timedelta(seconds=1))
            assert known is not None and known.person_key == person_key
        assert unit.sign_ins.use_link("d", now=NOW) is None


@pytest.mark.parametrize("kind", ["sign-in", "evening"])
def test_a_token_does_what_its_mail_is_for_and_nothing_else(
    open_unit: UnitOfWorkFactory, kind: str
) -> None:
    order(open_unit, kind=kind)
    with open_unit(write=True) as unit:
        assert (unit.outbox.find_by_token("d") is None) == (kind == "sign-in")
        assert (unit.sign_ins.find_link("d", now=NOW) is None) == (kind != "sign-in")
        assert (unit.sign_ins.use_link("d", now=NOW) is None) == (kind != "sign-in")


def test_mails_outlive_the_way_down_and_up_again(engine: Engine) -> None:
    open_unit = unit_of_work_factory(engine)
    order(open_unit, kind="evening", digest="kept")
    order(open_unit)
    migrate.downgrade(engine, revision="202611251100")
    migrate.upgrade(engine)
    with engine.connect() as connection:
        rows = connection.execute(select(mail.c.kind, mail.c.token_digest, mail.c.message)).all()
    assert [tuple(row) for row in rows] == [("evening", "kept", b"x")]
