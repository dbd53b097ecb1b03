"""The log book of a farm as a table."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Protocol

from service.operations.exports.columns import NOTES, InUnits, file_name, local
from service.records.export import Cell, ExportTable
from service.records.farms import FarmDefinition
from service.translations import Wording
from service.translations.catalogue import marked

_LOG = marked("Log book")
_LOG_TEXT = marked(
    "What was reported, noted and changed, the newest first. What the service works out every"
    " evening is not listed."
)


class Line(Protocol):
    """An entry in words."""

    @property
    def at(self) -> datetime:
        """When it was written down."""
        ...

    @property
    def kind(self) -> str:
        """What it is about."""
        ...

    @property
    def about(self) -> str:
        """Block, site or other thing, by name."""
        ...

    @property
    def sentences(self) -> tuple[str, ...]:
        """What happened."""
        ...

    @property
    def text(self) -> str:
        """What somebody wrote."""
        ...

    @property
    def who(self) -> str:
        """Who reported or changed it."""
        ...


def log_table(
    lines: Sequence[Line],
    farm: FarmDefinition,
    words: Wording,
    *,
    span: tuple[date | None, date | None],
) -> ExportTable:
    """A line for each entry."""
    inside = InUnits(words)
    columns = (
        inside.moment(marked("Written down")),
        inside.text(marked("Kind")),
        inside.text(marked("About")),
        inside.text(marked("What happened")),
        inside.text(marked("Note")),
        inside.text(marked("By whom")),
    )
    rows: list[list[Cell]] = [
        [
            local(each.at, farm.zone),
            each.kind,
            each.about,
            " ".join(each.sentences),
            each.text or None,
            each.who,
        ]
        for each in lines
    ]
    return ExportTable(
        name=file_name("log-book", farm.farm_id),
        title=words.gettext(_LOG),
        columns=columns,
        rows=rows,
        notes=inside.notes(farm, span, (_LOG, _LOG_TEXT)),
        notes_title=words.gettext(NOTES),
    )
