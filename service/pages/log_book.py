"""The log book of a farm: what was reported, noted and changed, in plain sentences."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby
from zoneinfo import ZoneInfo

from starlette.responses import Response

from service.delivery.log_words import LogLine, Telling, log_line
from service.delivery.plain_text import reading_order
from service.errors import Fault, InputInvalid
from service.operations.access.manage_keys import Right
from service.operations.audit.log_book import (
    MOST_ENTRIES,
    LogBook,
    LogKind,
    LogWish,
    read_log_book,
)
from service.operations.exports.log_table import log_table
from service.operations.reading.read_farms import local_day
from service.operations.season.note_visits import LONGEST_TEXT
from service.pages.plans import farm_of, parsed_day
from service.pages.table_files import file_answer
from service.pages.visit import Visit, faults_by_field, redirect
from service.pages.visit_notes import FAULT_FIELDS, store_entered
from service.records.farms import FarmDefinition
from service.translations import Wording
from service.translations.catalogue import marked

KINDS: Mapping[LogKind, str] = {
    LogKind.RUNS: marked("Reported runs"),
    LogKind.RAIN: marked("Rain and weather"),
    LogKind.SOIL: marked("Soil readings"),
    LogKind.PAUSES: marked("Pauses"),
    LogKind.TIMERS: marked("Timers"),
    LogKind.FEEDING: marked("Fertilizer and acid"),
    LogKind.TESTS: marked("Tests and checks"),
    LogKind.NOTES: marked("Visit notes"),
    LogKind.SET_UP: marked("Farm and blocks"),
    LogKind.ACCESS: marked("People and keys"),
}
_MOST_DIGITS = 18


@dataclass(frozen=True, slots=True)
class ShownLine:
    """An entry on the page."""

    clock: str
    about: str
    kind: str
    sentences: tuple[str, ...]
    text: str
    who: str


def show_log_book(visit: Visit) -> Response:
    """The page."""
    return _show(visit, farm_of(visit))


def enter_log_note(visit: Visit) -> Response:
    """Keep a note; each fault comes back beside its field."""
    farm = farm_of(visit, Right.WATER_WRITE)
    try:
        store_entered(visit, farm)
    except InputInvalid as error:
        return _show(visit, farm, faults=faults_by_field(error, FAULT_FIELDS), status=422)
    return redirect(f"/farms/{farm.farm_id}/log-book", done="saved")


def log_book_file(visit: Visit) -> Response:
    """The entries that the page would show, all of them, as a file."""
    farm = farm_of(visit)
    wish = replace(_wish(visit, farm), count=MOST_ENTRIES, older_than=None)
    book = read_log_book(wish, unit_of_work=visit.service.unit_of_work, clock=visit.service.clock)
    lines = lines_of(book, farm, visit.words)
    table = log_table(lines, farm, visit.words, span=(wish.first_day, wish.last_day))
    return file_answer(visit, table)


def lines_of(book: LogBook, farm: FarmDefinition, words: Wording) -> list[LogLine]:
    """The entries of a log book in words."""
    telling = Telling(words, farm.zone, book.names)
    return [log_line(each.change, each.note, telling) for each in book.entries]


def _wish(visit: Visit, farm: FarmDefinition) -> LogWish:
    query = visit.query
    block_id, kind, before = (query.get(name, "") for name in ("block", "kind", "before"))
    return LogWish(
        farm_id=farm.farm_id,
        block_id=block_id if block_id.startswith(f"{farm.farm_id}.") else None,
        kind=LogKind(kind) if kind in set(LogKind) else None,
        first_day=parsed_day(query.get("from", "")),
        last_day=parsed_day(query.get("to", "")),
        older_than=int(before)
        if before.isascii() and before.isdigit() and len(before) <= _MOST_DIGITS
        else None,
    )


def _show(
    visit: Visit,
    farm: FarmDefinition,
    *,
    faults: Mapping[str, Fault] | None = None,
    status: int = 200,
) -> Response:
    words, service = visit.words, visit.service
    wish = _wish(visit, farm)
    day_fault: dict[str, Fault] = {}
    if wish.first_day and wish.last_day and wish.last_day < wish.first_day:
        allowed = marked("the first day or a later one")
        day_fault = {"to": Fault("to", wish.last_day.isoformat(), allowed)}
        wish = replace(wish, last_day=None)
    book = read_log_book(wish, unit_of_work=service.unit_of_work, clock=service.clock)
    names = ("block", "kind", "from", "to")
    return visit.show(
        "log_book.html",
        status=422 if day_fault else status,
        farm=farm,
        today=local_day(service.clock.now(), farm.zone),
        block_names=dict(sorted(book.block_names.items(), key=lambda each: reading_order(each[1]))),
        chosen=wish.block_id or "",
        kinds=[(each.value, words.gettext(text)) for each, text in KINDS.items()],
        kind="" if wish.kind is None else wish.kind.value,
        first_day=visit.query.get("from", ""),
        last_day=visit.query.get("to", ""),
        days=list(_by_day(lines_of(book, farm, words), farm.zone, words)),
        older=min(each.change.entry_key for each in book.entries) if book.has_more else None,
        asked={name: visit.query[name] for name in names if visit.query.get(name)},
        faults=day_fault,
        note_faults=faults or {},
        form=visit.form,
        longest_text=LONGEST_TEXT,
        may_write=visit.may(Right.WATER_WRITE),
        done=visit.query.get("done", ""),
    )


def _by_day(
    lines: list[LogLine], zone: str, words: Wording
) -> Iterator[tuple[str, list[ShownLine]]]:
    def day_of(line: LogLine) -> date:
        return line.at.astimezone(ZoneInfo(zone)).date()

    for day, of_day in groupby(lines, key=day_of):
        yield (
            words.dated(day),
            [
                ShownLine(
                    words.clock(each.at, zone),
                    each.about,
                    each.kind,
                    each.sentences,
                    each.text,
                    each.who,
                )
                for each in of_day
            ],
        )
