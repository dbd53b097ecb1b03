"""The log book of a farm, in plain sentences."""

from __future__ import annotations

from datetime import datetime
from typing import Self

from pydantic import Field

from service.api.dependencies import BLOCK_ID_PATTERN, CalendarDate
from service.api.schemas.facts import Out
from service.api.schemas.pages import PageOut
from service.api.schemas.queries import PageQuery
from service.delivery.log_words import LogLine
from service.operations.audit.log_book import LogKind


class LogBookQuery(PageQuery):
    """Selects entries of a farm's log book, and a page of them."""

    block: str | None = Field(
        None,
        pattern=BLOCK_ID_PATTERN,
        description="Only what concerns this block, in full, `farm.block`.",
        examples=["hill-farm.north"],
    )
    kind: LogKind | None = Field(None, description="Only entries of this kind.", examples=["runs"])
    first_day: CalendarDate | None = Field(
        None, alias="from", description="First day at the farm.", examples=["2026-07-01"]
    )
    last_day: CalendarDate | None = Field(
        None, alias="to", description="Last day at the farm.", examples=["2026-07-14"]
    )


class LogLineOut(Out):
    """An entry of a log book."""

    at: datetime = Field(description="When it was written down, UTC.")
    kind: str = Field(description="What it is about, in a word or two.")
    about: str = Field(description="Name of the block, place or other thing.")
    sentences: list[str] = Field(description="What happened.")
    text: str = Field(description="What somebody wrote; empty: nothing.")
    who: str = Field(description="Who reported or changed it.")

    @classmethod
    def from_line(cls, line: LogLine) -> Self:
        """The entry as it stands in a log book."""
        return cls(
            at=line.at,
            kind=line.kind,
            about=line.about,
            sentences=list(line.sentences),
            text=line.text,
            who=line.who,
        )


class LogBookPageOut(PageOut[LogLineOut]):
    """Entries of a farm's log book, the newest first."""


LOG_CSV_COLUMNS: tuple[str, ...] = tuple(LogLineOut.model_fields)


def log_csv_row(line: LogLine) -> list[object]:
    """An entry as a row of a table, its sentences in one cell."""
    shown = LogLineOut.from_line(line).model_dump(mode="json")
    return [*({**shown, "sentences": " ".join(line.sentences)}[name] for name in LOG_CSV_COLUMNS)]
