"""Visit notes in the database: added, never changed."""

from __future__ import annotations

from datetime import date

from sqlalchemy import Connection, RowMapping, Select, insert, select

from service.database.tables import block, farm, visit_note
from service.errors import NotFound
from service.records.season import VisitNote

_corrected = visit_note.alias("corrected")
_later = visit_note.alias("later")


class VisitNoteStore:
    """Notes of visits to farms and their blocks."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, note: VisitNote) -> None:
        """Store a note; raises NotFound for a farm, a block or a corrected note that is not there.

        Block and corrected note have to be of the note's farm.
        """
        farm_key = self._connection.execute(
            select(farm.c.farm_key).where(farm.c.farm_id == note.farm_id)
        ).scalar_one_or_none()
        if farm_key is None:
            raise NotFound(f"farm {note.farm_id!r}: there is no such farm")
        self._connection.execute(
            insert(visit_note).values(
                note_id=note.note_id,
                farm_key=farm_key,
                block_key=self._block_key(farm_key, note.block_id),
                day=note.day,
                visitor=note.visitor,
                text=note.text,
                corrects_key=self._corrected_key(farm_key, note.corrects),
                reporter=note.reporter,
                recorded_at=note.recorded_at,
            )
        )

    def find(self, farm_id: str, note_id: str) -> VisitNote | None:
        """A note of a farm."""
        row = self._connection.execute(
            _notes(farm_id).where(visit_note.c.note_id == note_id)
        ).mappings().one_or_none()  # fmt: skip
        return None if row is None else _note(row)

    def list_notes(
        self,
        farm_id: str,
        *,
        block_id: str | None = None,
        after: str | None = None,
        on_day: date | None = None,
        most: int,
    ) -> list[VisitNote]:
        """Notes of a farm, the newest visit first, the last written of a day first.

        block_id: of this block, and of the whole farm. after: those that come behind this note.
        """
        query = _notes(farm_id)
        if block_id is not None:
            query = query.where((block.c.block_id == block_id) | visit_note.c.block_key.is_(None))
        if on_day is not None:
            query = query.where(visit_note.c.day == on_day)
        if after is not None:
            day, key = self._place(farm_id, after)
            query = query.where(
                (visit_note.c.day < day)
                | ((visit_note.c.day == day) & (visit_note.c.note_key < key))
            )
        rows = self._connection.execute(
            query.order_by(visit_note.c.day.desc(), visit_note.c.note_key.desc()).limit(most)
        ).mappings()
        return [_note(row) for row in rows]

    def _place(self, farm_id: str, note_id: str) -> tuple[date, int]:
        found = self._connection.execute(
            select(visit_note.c.day, visit_note.c.note_key)
            .join(farm, farm.c.farm_key == visit_note.c.farm_key)
            .where(farm.c.farm_id == farm_id, visit_note.c.note_id == note_id)
        ).one_or_none()
        if found is None:
            raise NotFound(f"farm {farm_id!r}: it has no visit note {note_id!r}")
        return found.day, found.note_key

    def _block_key(self, farm_key: int, block_id: str | None) -> int | None:
        if block_id is None:
            return None
        key: int | None = self._connection.execute(
            select(block.c.block_key).where(
                block.c.block_id == block_id, block.c.farm_key == farm_key
            )
        ).scalar_one_or_none()
        if key is None:
            raise NotFound(f"block {block_id!r}: there is no such block")
        return key

    def _corrected_key(self, farm_key: int, note_id: str | None) -> int | None:
        if note_id is None:
            return None
        key: int | None = self._connection.execute(
            select(visit_note.c.note_key).where(
                visit_note.c.note_id == note_id, visit_note.c.farm_key == farm_key
            )
        ).scalar_one_or_none()
        if key is None:
            raise NotFound(f"there is no visit note {note_id!r}")
        return key


def _notes(farm_id: str) -> Select[tuple[object, ...]]:
    """Notes of a farm with the names of what they are about, correct and are corrected by."""
    return (
        select(
            visit_note,
            farm.c.farm_id,
            block.c.block_id,
            _corrected.c.note_id.label("corrects"),
            _later.c.note_id.label("corrected_by"),
        )
        .join(farm, farm.c.farm_key == visit_note.c.farm_key)
        .outerjoin(block, block.c.block_key == visit_note.c.block_key)
        .outerjoin(_corrected, _corrected.c.note_key == visit_note.c.corrects_key)
        .outerjoin(_later, _later.c.corrects_key == visit_note.c.note_key)
        .where(farm.c.farm_id == farm_id)
    )


def _note(row: RowMapping) -> VisitNote:
    return VisitNote(
        note_id=row["note_id"],
        farm_id=row["farm_id"],
        block_id=row["block_id"],
        day=row["day"],
        visitor=row["visitor"],
        text=row["text"],
        reporter=row["reporter"],
        recorded_at=row["recorded_at"],
        corrects=row["corrects"],
        corrected_by=row["corrected_by"],
    )
