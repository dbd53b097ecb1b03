"""Notes of visits."""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal, Self

from pydantic import Field

from service.api.dependencies import BLOCK_ID_PATTERN, CalendarDate
from service.api.schemas.bodies import Body
from service.api.schemas.facts import Out
from service.api.schemas.pages import PageOut
from service.api.schemas.queries import In
from service.operations.season.note_visits import (
    LONGEST_TEXT,
    LONGEST_VISITOR,
    NOTES_PER_PAGE,
    NoteDraft,
    ShownNote,
)

LARGEST_PAGE_SIZE = 200
NOTE_ID = r"^[0-9a-f]{16}$"


class VisitNoteIn(Body):
    """What was seen on a visit."""

    day: CalendarDate = Field(strict=False, description="Local day of the visit, up to today.")
    text: str = Field(
        min_length=1, max_length=LONGEST_TEXT, description="Plain text; lines are kept."
    )
    block_id: str | None = Field(
        None, pattern=BLOCK_ID_PATTERN, description="Block in full; null: the whole farm."
    )
    visitor: str = Field(
        "", max_length=LONGEST_VISITOR, description="Who was there; empty: the holder of the key."
    )
    corrects: str | None = Field(
        None, pattern=NOTE_ID, description="The note that this one stands for."
    )

    def draft(self, holder: str) -> NoteDraft:
        """The note as the operation takes it; without a visitor, of the holder of the key."""
        return NoteDraft(
            day=self.day,
            text=self.text,
            block_id=self.block_id,
            visitor=self.visitor or holder[:LONGEST_VISITOR],
            corrects=self.corrects,
        )


class VisitNoteQuery(In):
    """Selects notes and a page of them."""

    block: str | None = Field(
        None,
        pattern=BLOCK_ID_PATTERN,
        description="Only notes of this block and of the whole farm.",
    )
    page_size: int = Field(
        NOTES_PER_PAGE,
        ge=1,
        description=f"Most notes in an answer; more than {LARGEST_PAGE_SIZE} counts as"
        f" {LARGEST_PAGE_SIZE}.",
    )
    cursor: str | None = Field(
        None, max_length=200, description="Opaque cursor from `next` of the previous page."
    )


class MeasuredOut(Out):
    """Something that was measured on that day; it is kept with its block."""

    kind: Literal["leaf", "petiole", "soil", "catch-test", "water"]
    block_id: str


class VisitNoteOut(Out):
    """A note; it is never changed."""

    note_id: str
    farm_id: str
    block_id: str | None = Field(description="Null: the whole farm.")
    day: date = Field(description="Local day of the visit.")
    visitor: str = Field(description="Who was there.")
    text: str
    reporter: str = Field(description="Who wrote it down.")
    recorded_at: datetime = Field(description="When that was, UTC.")
    corrects: str | None = Field(description="The note that it stands for.")
    corrected_by: str | None = Field(description="The note that stands for it.")
    measured: list[MeasuredOut] = Field(description="Tests of that day that are on file.")

    @classmethod
    def from_record(cls, shown: ShownNote) -> Self:
        """The note."""
        note = shown.note
        return cls(
            note_id=note.note_id,
            farm_id=note.farm_id,
            block_id=note.block_id,
            day=note.day,
            visitor=note.visitor,
            text=note.text,
            reporter=note.reporter,
            recorded_at=note.recorded_at,
            corrects=note.corrects,
            corrected_by=note.corrected_by,
            measured=[
                MeasuredOut.model_validate(each, from_attributes=True) for each in shown.measured
            ],
        )


class VisitNotePageOut(PageOut[VisitNoteOut]):
    """A page of notes, the newest visit first."""
