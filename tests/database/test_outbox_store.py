"""People and the outbox in both databases: who may get what, and that each mail has one sender."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from service.database.session import UnitOfWorkFactory
from service.errors import NotFound
from service.records.mail import KnownPerson, MailOrder, Person
from tests.stored_farms import ints, stored_block, stored_bundle, stored_farm, stored_supply

NOW = datetime(2026, 7, 14, 22, tzinfo=UTC)
DAY = date(2026, 7, 15)
ANA = Person(mail_address="ana@example.org", name="Ana")


@pytest.fixture
def farms(open_unit: UnitOfWorkFactory) -> UnitOfWorkFactory:
    """Two farms, Ana reading of both."""
    with open_unit(write=True) as unit:
        for farm_id in ("orchard", "vineyard"):
            unit.blocks.save_bundle(
                stored_bundle(
                    stored_block(f"{farm_id}.north"),
                    farm=stored_farm(farm_id),
                    supplies=(stored_supply(farm_id=farm_id),),
                ),
                effective_day=DAY,
                recorded_at=NOW,
            )
            unit.people.save(ANA, farm_id=farm_id)
    return open_unit


def order(known: KnownPerson, **changes: object) -> MailOrder:
    facts = MailOrder(
        person_key=known.person_key,
        farm_id=known.farm_id,
        plan_day=DAY,
        kind="evening",
        content={"orchard.north": 60, "orchard.south": None},
        expires_at=NOW + timedelta(hours=18),
    )
    return replace(facts, **changes)  # type: ignore[arg-type]  # fields of the record by name


def people(open_unit: UnitOfWorkFactory) -> list[KnownPerson]:
    with open_unit(write=False) as unit:
        return unit.people.list_people()


def queue(open_unit: UnitOfWorkFactory, orders: Sequence[MailOrder]) -> int:
    with open_unit(write=True) as unit:
        return unit.outbox.queue(orders, at=NOW)


def test_a_reader_of_two_farms_is_two_people_of_whom_each_farm_changes_its_own(
    farms: UnitOfWorkFactory,
) -> None:
    with farms(write=True) as unit:
        assert unit.people.save(ANA, farm_id="orchard") == "unchanged"
        changed = replace(ANA, language="es", receives=())
        assert unit.people.save(changed, farm_id="orchard") == "changed"
    first, second = people(farms)
    assert (first.farm_id, first.person.language, first.person.receives) == ("orchard", "es", ())
    assert (second.farm_id, second.person) == ("vineyard", ANA)


def test_an_adviser_belongs_to_no_farm_and_is_there_once(farms: UnitOfWorkFactory) -> None:
    adviser = replace(ANA, role="adviser", reference_block_id="orchard.north")
    with farms(write=True) as unit:
        assert [unit.people.save(adviser), unit.people.save(adviser)] == ["created", "unchanged"]
        (found,) = unit.people.list_readers("weekly", role="adviser")
        assert (found.farm_id, found.person) == ("", adviser)
        readers = unit.people.list_readers("weekly", role="grower")
        assert [reader.farm_id for reader in readers] == ["orchard", "vineyard"]


def test_readers_are_found_by_farm(farms: UnitOfWorkFactory) -> None:
    with farms(write=False) as unit:
        key = unit.blocks.farm_keys(["vineyard"])["vineyard"]
        found = unit.people.list_readers("evening", role="grower", farm_keys=ints(key))
        assert [reader.farm_id for reader in found] == ["vineyard"]
        assert unit.people.list_readers("evening", role="grower", farm_keys=ints()) == []


def test_a_person_of_an_unknown_farm_is_refused(open_unit: UnitOfWorkFactory) -> None:
    with pytest.raises(NotFound, match="no farm nowhere"), open_unit(write=True) as unit:
        unit.people.save(ANA, farm_id="nowhere")


def test_a_refused_address_gets_nothing_about_any_farm_until_it_is_resumed(
    farms: UnitOfWorkFactory,
) -> None:
    with farms(write=True) as unit:
        unit.people.suppress(people(farms)[0].person_key, at=NOW, reason="550 gone")
        assert unit.people.list_readers("evening", role="grower") == []
    assert [known.suppressed_at for known in people(farms)] == [NOW, NOW]
    with farms(write=True) as unit:
        assert unit.people.resume("ana@example.org", receives=("evening",)) == 2
        assert unit.people.resume("nobody@example.org", receives=()) == 0
        assert len(unit.people.list_readers("evening", role="grower")) == 2
        assert unit.people.list_readers("weekly", role="grower") == []


def test_removing_a_person_takes_their_mails_along(farms: UnitOfWorkFactory) -> None:
    first, second = people(farms)
    queue(farms, [order(first), order(second)])
    with farms(write=True) as unit:
        assert unit.people.remove("ana@example.org", farm_id="orchard") == 1
        (left,) = unit.outbox.list_mails(first_queued_at=NOW)
        assert left.farm_id == "vineyard"
        assert unit.people.remove("ana@example.org") == 1
        assert unit.people.remove("ana@example.org") == 0


def test_the_same_order_is_stored_once(farms: UnitOfWorkFactory) -> None:
    known = people(farms)[0]
    assert queue(farms, [order(known), order(known)]) == 1
    assert queue(farms, [order(known)]) == 0
    assert queue(farms, [order(known, kind="weekly"), order(known, plan_version=2)]) == 2
    with farms(write=False) as unit:
        states = {
            (row.kind, row.plan_version): row.state
            for row in unit.outbox.list_mails(first_queued_at=NOW)
        }
        content = unit.outbox.list_content(["orchard"], day=DAY, kind="evening")
        assert unit.outbox.list_known("weekly", day=DAY) == {(known.person_key, "orchard")}
    assert states == {("evening", 1): "dropped", ("weekly", 1): "queued", ("evening", 2): "queued"}
    assert content == {(known.person_key, "orchard"): {"orchard.north": 60, "orchard.south": None}}


def test_a_mail_has_one_sender_until_its_lease_is_over(farms: UnitOfWorkFactory) -> None:
    known = people(farms)[0]
    queue(farms, [order(known)])
    with farms(write=True) as unit:
        assert unit.outbox.has_due(now=NOW)
        assert not unit.outbox.has_due(now=NOW - timedelta(seconds=1))
        (taken,) = unit.outbox.claim(owner="one", now=NOW, lease_s=60, limit=9)
    assert taken.order == order(known)
    assert (taken.person, taken.attempt_count, taken.message) == (known, 1, b"")
    later = NOW + timedelta(seconds=59)
    with farms(write=True) as unit:
        assert unit.outbox.claim(owner="two", now=later, lease_s=60, limit=9) == []
        unit.outbox.store_message(
            taken.mail_key, b"\x00bytes", message_id="a@b", token_digest="d" * 64
        )
    over = NOW + timedelta(seconds=60)
    with farms(write=True) as unit:
        (again,) = unit.outbox.claim(owner="two", now=over, lease_s=60, limit=9)
    assert (again.attempt_count, again.message, again.message_id) == (2, b"\x00bytes", "a@b")
    with farms(write=True) as unit:
        found = unit.outbox.find_by_token("d" * 64)
        assert found == (known, "evening")
        assert unit.outbox.find_by_token("e" * 64) is None
        assert not unit.outbox.settle(taken.mail_key, owner="one", now=over, state="sent")
        assert unit.outbox.settle(taken.mail_key, owner="two", now=over, state="sent", reply="250")
        assert not unit.outbox.settle(taken.mail_key, owner="two", now=over, state="queued")
        assert not unit.outbox.has_due(now=over + timedelta(days=1))
        (row,) = unit.outbox.list_mails(first_queued_at=NOW)
    assert (row.state, row.attempt_count, row.last_reply) == ("sent", 2, "250")


def test_mails_are_taken_oldest_first_and_no_more_than_asked_for(
    farms: UnitOfWorkFactory,
) -> None:
    known = people(farms)[0]
    days = [DAY + timedelta(days=ahead) for ahead in range(3)]
    queue(farms, [order(known, plan_day=day) for day in days])
    with farms(write=True) as unit:
        first = unit.outbox.claim(owner="one", now=NOW, lease_s=60, limit=2)
        rest = unit.outbox.claim(owner="two", now=NOW, lease_s=60, limit=2)
    assert [each.order.plan_day for each in (*first, *rest)] == days


def test_late_mails_are_counted_until_one_arrives(farms: UnitOfWorkFactory) -> None:
    key = people(farms)[0].person_key
    with farms(write=True) as unit:
        assert [unit.people.note_delivery(key, is_delivered=False) for _ in range(2)] == [1, 2]
        assert unit.people.note_delivery(key, is_delivered=True) == 0


def test_mails_that_are_over_can_be_forgotten(farms: UnitOfWorkFactory) -> None:
    known = people(farms)[0]
    queue(farms, [order(known), order(known, kind="weekly")])
    with farms(write=True) as unit:
        taken = unit.outbox.claim(owner="one", now=NOW, lease_s=60, limit=1)
        unit.outbox.settle(taken[0].mail_key, owner="one", now=NOW, state="failed")
        assert unit.outbox.prune(before=NOW) == 0
        assert unit.outbox.prune(before=NOW + timedelta(seconds=1)) == 1
        assert [row.state for row in unit.outbox.list_mails(first_queued_at=NOW)] == ["queued"]
