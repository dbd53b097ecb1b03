"""People in the database: who gets which mails about which farms."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import Connection, RowMapping, delete, insert, select, update

from service.agronomy.records import Ints
from service.database.bulk import is_among
from service.database.tables import farm, mail, person
from service.errors import NotFound
from service.records.mail import MAIL_LISTS, KnownPerson, Person

PEOPLE = select(person, farm.c.farm_id).select_from(person.outerjoin(farm))


class PeopleStore:
    """Mail recipients by farm, and those who must not get any more."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def save(self, definition: Person, *, farm_id: str = "") -> str:
        """Store a person of a farm, or of none: ``created``, ``changed`` or ``unchanged``.

        Unsubscriptions and suppressions are left as they are. Raises NotFound for an unknown farm.
        """
        farm_key = self._farm_key(farm_id)
        values = {
            "name": definition.name,
            "language": definition.language,
            "unit_system": definition.unit_system,
            "role": definition.role,
            "gets_evening": "evening" in definition.receives,
            "gets_weekly": "weekly" in definition.receives,
            "reference_block_id": definition.reference_block_id,
        }
        is_same = (person.c.mail_address == definition.mail_address) & (
            person.c.farm_key.is_(None) if farm_key is None else person.c.farm_key == farm_key
        )
        stored = self._connection.execute(select(person).where(is_same)).mappings().one_or_none()
        if stored is None:
            self._connection.execute(
                insert(person).values(
                    mail_address=definition.mail_address,
                    farm_key=farm_key,
                    has_left_evening=False,
                    has_left_weekly=False,
                    suppressed_reason="",
                    late_count=0,
                    **values,
                )
            )
            return "created"
        changes = {name: value for name, value in values.items() if stored[name] != value}
        if not changes:
            return "unchanged"
        self._connection.execute(update(person).where(is_same).values(changes))
        return "changed"

    def _farm_key(self, farm_id: str) -> int | None:
        if not farm_id:
            return None
        found: int | None = self._connection.execute(
            select(farm.c.farm_key).where(farm.c.farm_id == farm_id)
        ).scalar_one_or_none()
        if found is None:
            raise NotFound(f"no farm {farm_id}")
        return found

    def list_people(
        self, *, farm_id: str | None = None, mail_address: str | None = None
    ) -> list[KnownPerson]:
        """All people, those of a farm, or those behind an address, by address and farm."""
        wanted = PEOPLE.order_by(person.c.mail_address, farm.c.farm_id)
        if farm_id is not None:
            wanted = wanted.where(farm.c.farm_id == farm_id)
        if mail_address is not None:
            wanted = wanted.where(person.c.mail_address == mail_address)
        return [known_person(row) for row in self._connection.execute(wanted).mappings()]

    def list_readers(
        self, mail_list: str, *, role: str, farm_keys: Ints | None = None
    ) -> list[KnownPerson]:
        """Active subscribers of a list; of all farms if no farm keys are given."""
        wanted = PEOPLE.where(
            person.c.role == role,
            person.c[f"gets_{mail_list}"],
            ~person.c[f"has_left_{mail_list}"],
            person.c.suppressed_at.is_(None),
        ).order_by(person.c.person_key)
        if role == "grower":
            wanted = wanted.where(person.c.farm_key.is_not(None))
        if farm_keys is not None:
            wanted = wanted.where(is_among(self._connection, person.c.farm_key, farm_keys))
        return [known_person(row) for row in self._connection.execute(wanted).mappings()]

    def remove(self, mail_address: str, *, farm_id: str | None = None) -> int:
        """Delete the people behind an address, at one farm or all, and their mails; returns how
        many.
        """
        keys = [
            known.person_key
            for known in self.list_people(farm_id=farm_id, mail_address=mail_address)
        ]
        for table in (mail, person):
            self._connection.execute(delete(table).where(table.c.person_key.in_(keys)))
        return len(keys)

    def unsubscribe(self, person_key: int, mail_list: str) -> None:
        """Unsubscribe a person from a list; only they or the operator can subscribe them again."""
        self._change(person_key, **{f"has_left_{mail_list}": True})

    def suppress(self, person_key: int, *, at: datetime, reason: str) -> None:
        """Stop all mail to a person's address, for every farm."""
        address = select(person.c.mail_address).where(person.c.person_key == person_key)
        self._connection.execute(
            update(person)
            .where(person.c.mail_address == address.scalar_subquery())
            .values(suppressed_at=at, suppressed_reason=reason)
        )

    def resume(self, mail_address: str, *, receives: Sequence[str]) -> int:
        """Resume these lists for an address; returns how many people that affects."""
        changes: dict[str, object] = {
            "suppressed_at": None,
            "suppressed_reason": "",
            "late_count": 0,
        }
        for mail_list in MAIL_LISTS:
            changes[f"gets_{mail_list}"] = mail_list in receives
            changes[f"has_left_{mail_list}"] = False
        return self._connection.execute(
            update(person).where(person.c.mail_address == mail_address).values(changes)
        ).rowcount

    def note_delivery(self, person_key: int, *, is_delivered: bool) -> int:
        """Count late mails in a row, reset by each one delivered; returns the count."""
        late_count = 0 if is_delivered else person.c.late_count + 1
        count: int = self._connection.execute(
            update(person)
            .where(person.c.person_key == person_key)
            .values(late_count=late_count)
            .returning(person.c.late_count)
        ).scalar_one()
        return count

    def _change(self, person_key: int, **values: object) -> None:
        self._connection.execute(
            update(person).where(person.c.person_key == person_key).values(values)
        )


def known_person(row: RowMapping) -> KnownPerson:
    """A person from a row; lists they have left are not among those they receive."""
    return KnownPerson(
        person_key=row["person_key"],
        person=Person(
            mail_address=row["mail_address"],
            name=row["name"],
            language=row["language"],
            unit_system=row["unit_system"],
            role=row["role"],
            receives=tuple(
                each for each in MAIL_LISTS if row[f"gets_{each}"] and not row[f"has_left_{each}"]
            ),
            reference_block_id=row["reference_block_id"],
        ),
        farm_id=row["farm_id"] or "",
        suppressed_at=row["suppressed_at"],
        suppressed_reason=row["suppressed_reason"],
    )
