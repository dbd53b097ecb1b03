"""Who gets mail: people added by a farm file or by hand, who leave by themselves or are removed."""

from __future__ import annotations

from collections.abc import Sequence

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid, NotFound
from service.records.audit import Subject, shortened_address
from service.records.farms import LoadOutcome
from service.records.mail import KnownPerson, Person, stored_address


def checked_address(text: str, *, where: str) -> str:
    """A mail address as it is stored and compared; raises InputInvalid."""
    try:
        return stored_address(text)
    except ValueError as error:
        raise InputInvalid(
            f"{text!r} is not a mail address",
            [Fault(where, repr(text), f"one mail address such as 'ana@example.org' ({error})")],
        ) from error


def save_person(
    person: Person, *, farm_ids: Sequence[str], unit_of_work: UnitOfWorkFactory
) -> LoadOutcome:
    """Store a reader of these farms, or an adviser if none are given; raises NotFound."""
    with unit_of_work(write=True) as unit:
        return _counted([_save(unit, person, farm_id) for farm_id in farm_ids or [""]])


def save_farm_people(unit: UnitOfWork, farm_id: str, people: Sequence[Person]) -> LoadOutcome:
    """The people of a farm file, within an open transaction.

    Leaving somebody out does not remove them, and a file does not resubscribe those who have left:
    only the reader or the operator stops mail.
    """
    return _counted([_save(unit, person, farm_id) for person in people])


def _save(unit: UnitOfWork, person: Person, farm_id: str) -> str:
    known = unit.people.list_people(mail_address=person.mail_address)
    before = next((each.person for each in known if each.farm_id == farm_id), None)
    outcome = unit.people.save(person, farm_id=farm_id)
    if outcome != "unchanged":
        _note(unit, person.mail_address, farm_id, before=before, after=person)
    return outcome


def _note(
    unit: UnitOfWork, mail_address: str, farm_id: str, *, before: object, after: object
) -> None:
    unit.audit.note(
        Subject.PERSON,
        shortened_address(mail_address),
        farm_id=farm_id or None,
        before=before,
        after=after,
    )


def list_people(
    *, farm_id: str | None = None, unit_of_work: UnitOfWorkFactory
) -> list[KnownPerson]:
    """All people, or those of a farm; raises NotFound for an unknown farm."""
    with unit_of_work(write=False) as unit:
        if farm_id is not None:
            unit.blocks.farm_keys([farm_id])
        return unit.people.list_people(farm_id=farm_id)


def remove_person(
    mail_address: str, *, farm_id: str | None = None, unit_of_work: UnitOfWorkFactory
) -> None:
    """Delete the people behind an address, and every mail to them; raises NotFound."""
    with unit_of_work(write=True) as unit:
        known = unit.people.list_people(farm_id=farm_id, mail_address=mail_address)
        if not unit.people.remove(mail_address, farm_id=farm_id):
            raise NotFound(f"nobody has the mail address {mail_address}")
        for each in known:
            _note(unit, mail_address, each.farm_id, before=each.person, after=None)


def resume_person(
    mail_address: str, *, receives: Sequence[str], unit_of_work: UnitOfWorkFactory
) -> None:
    """Resume mail to an address that was suppressed or had unsubscribed; raises NotFound."""
    with unit_of_work(write=True) as unit:
        known = unit.people.list_people(mail_address=mail_address)
        if not unit.people.resume(mail_address, receives=receives):
            raise NotFound(f"nobody has the mail address {mail_address}")
        after = {
            each.person_key: each for each in unit.people.list_people(mail_address=mail_address)
        }
        for each in known:
            _note(unit, mail_address, each.farm_id, before=each, after=after[each.person_key])


def _counted(outcomes: Sequence[str]) -> LoadOutcome:
    return LoadOutcome(
        created_count=outcomes.count("created"),
        changed_count=outcomes.count("changed"),
        unchanged_count=outcomes.count("unchanged"),
    )
