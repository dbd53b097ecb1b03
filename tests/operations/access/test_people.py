"""Who gets mail: stored with a farm, put back by hand, forgotten whole."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from service.database.session import UnitOfWorkFactory
from service.errors import InputInvalid, NotFound
from service.operations.access.people import (
    checked_address,
    list_people,
    remove_person,
    resume_person,
    save_farm_people,
    save_person,
)
from service.records.mail import Person
from tests.stored_farms import stored_bundle

NOW = datetime(2026, 7, 14, 23, tzinfo=UTC)
ANA = Person(mail_address="ana@example.org", name="Ana")


@pytest.fixture
def with_farm(open_unit: UnitOfWorkFactory) -> UnitOfWorkFactory:
    """A database with the farm ``orchard``, which nobody reads of."""
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(stored_bundle(), effective_day=date(2026, 6, 1), recorded_at=NOW)
    return open_unit


def counts_of_saving(person: Person, *farm_ids: str, into: UnitOfWorkFactory) -> tuple[int, ...]:
    outcome = save_person(person, farm_ids=farm_ids, unit_of_work=into)
    return outcome.created_count, outcome.changed_count, outcome.unchanged_count


def test_a_reader_is_stored_once_changed_and_not_stored_again(
    with_farm: UnitOfWorkFactory,
) -> None:
    assert counts_of_saving(ANA, "orchard", into=with_farm) == (1, 0, 0)
    assert counts_of_saving(ANA, "orchard", into=with_farm) == (0, 0, 1)
    spanish = replace(ANA, language="es")
    assert counts_of_saving(spanish, "orchard", into=with_farm) == (0, 1, 0)
    (known,) = list_people(farm_id="orchard", unit_of_work=with_farm)
    assert (known.person, known.farm_id) == (spanish, "orchard")


def test_a_person_of_no_farm_is_an_adviser(with_farm: UnitOfWorkFactory) -> None:
    adviser = replace(ANA, role="adviser")
    assert counts_of_saving(adviser, into=with_farm) == (1, 0, 0)
    assert list_people(farm_id="orchard", unit_of_work=with_farm) == []
    (known,) = list_people(unit_of_work=with_farm)
    assert (known.person.role, known.farm_id) == ("adviser", "")


def test_a_reader_of_an_unknown_farm_is_not_stored(
    with_farm: UnitOfWorkFactory,
) -> None:
    with pytest.raises(NotFound, match="nowhere"):
        save_person(ANA, farm_ids=["orchard", "nowhere"], unit_of_work=with_farm)
    assert list_people(unit_of_work=with_farm) == []
    with pytest.raises(NotFound, match="nowhere"):
        list_people(farm_id="nowhere", unit_of_work=with_farm)


def test_a_farm_file_takes_nobody_off_and_puts_nobody_back(with_farm: UnitOfWorkFactory) -> None:
    bob = Person(mail_address="bob@example.org", name="Bob")
    with with_farm(write=True) as unit:
        assert save_farm_people(unit, "orchard", [ANA, bob]).created_count == 2
    with with_farm(write=True) as unit:
        (ana, _) = unit.people.list_people(farm_id="orchard")
        unit.people.unsubscribe(ana.person_key, "weekly")
    with with_farm(write=True) as unit:
        assert save_farm_people(unit, "orchard", [ANA]).unchanged_count == 1
    listed = list_people(farm_id="orchard", unit_of_work=with_farm)
    assert [(each.person.name, each.person.receives) for each in listed] == [
        ("Ana", ("evening",)),
        ("Bob", ("evening", "weekly")),
    ]


def test_a_reader_who_left_a_list_is_resubscribed_by_hand(with_farm: UnitOfWorkFactory) -> None:
    save_person(ANA, farm_ids=["orchard"], unit_of_work=with_farm)
    with with_farm(write=True) as unit:
        (ana,) = unit.people.list_people()
        unit.people.unsubscribe(ana.person_key, "evening")
    resume_person(ANA.mail_address, receives=["evening"], unit_of_work=with_farm)
    (again,) = list_people(unit_of_work=with_farm)
    assert "evening" in again.person.receives
    with pytest.raises(NotFound, match=r"nobody has the mail address bob@example\.org"):
        resume_person("bob@example.org", receives=["evening"], unit_of_work=with_farm)


def test_a_removed_person_is_deleted_at_one_farm_or_at_all(with_farm: UnitOfWorkFactory) -> None:
    save_person(ANA, farm_ids=["orchard"], unit_of_work=with_farm)
    save_person(replace(ANA, role="adviser"), farm_ids=[], unit_of_work=with_farm)
    remove_person(ANA.mail_address, farm_id="orchard", unit_of_work=with_farm)
    (left,) = list_people(unit_of_work=with_farm)
    assert left.farm_id == ""
    remove_person(ANA.mail_address, unit_of_work=with_farm)
    assert list_people(unit_of_work=with_farm) == []
    with pytest.raises(NotFound, match=r"ana@example\.org"):
        remove_person(ANA.mail_address, unit_of_work=with_farm)


def test_an_address_is_compared_as_it_is_stored() -> None:
    assert checked_address("Ana@EXAMPLE.org", where="mail") == "Ana@example.org"


def test_an_invalid_address_is_refused_with_its_place() -> None:
    with pytest.raises(InputInvalid) as refused:
        checked_address("ana@", where="person[2].mail")
    (fault,) = refused.value.faults
    assert (fault.where, fault.found) == ("person[2].mail", "'ana@'")
    assert fault.allowed.startswith("one mail address such as 'ana@example.org'")
