"""Who gets mail: people added by a farm file or by hand, who leave by themselves or are removed."""

from __future__ import annotations

from collections.abc import Sequence

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid, NotFound
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
        return _counted([unit.people.save(person, farm_id=farm_id) for farm_id in farm_ids or [""]])


def save_farm_people(unit: UnitOfWork, farm_id: str, people: Sequence[Person]) -> LoadOutcome:
    """The people of a farm file, within an open transaction.

    Leaving somebody out does not remove them, and a file does not resubscribe those who have left:
    only the reader or the operator stops mail.
    """
    return _counted([unit.people.save(person, farm_id=farm_id) for person in people])


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
        if not unit.people.remove(mail_address, farm_id=farm_id):
            raise NotFound(f"nobody has the mail address {mail_address}")


def resume_person(
    mail_address: str, *, receives: Sequence[str], unit_of_work: UnitOfWorkFactory
) -> None:
    """Resume mail to an address that was suppressed or had unsubscribed; raises NotFound."""
    with unit_of_work(write=True) as unit:
        if not unit.people.resume(mail_address, receives=receives):
            raise NotFound(f"nobody has the mail address {mail_address}")


def _counted(outcomes: Sequence[str]) -> LoadOutcome:
    return LoadOutcome(
        created_count=outcomes.count("created"),
        changed_count=outcomes.count("changed"),
        unchanged_count=outcomes.count("unchanged"),
    )
