"""The page of a farm's visit notes: the list, and the form that adds one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from starlette.responses import Response

from service.delivery.plain_text import clean, reading_order
from service.delivery.season_words import day_words
from service.errors import Fault, InputInvalid
from service.operations.access.manage_keys import Right
from service.operations.reading.read_farms import get_farm, local_day
from service.operations.season.note_visits import (
    CATCH_TEST,
    LONGEST_TEXT,
    LONGEST_VISITOR,
    NOTES_PER_PAGE,
    WATER,
    Measured,
    NoteDraft,
    ShownNote,
    list_notes,
    record_note,
)
from service.pages.plans import farm_of, parsed_day
from service.pages.visit import Visit, faults_by_field, redirect
from service.records.farms import FarmDefinition
from service.translations import Wording
from service.translations.catalogue import marked

MEASURED_WORDS: Mapping[str, str] = {
    "leaf": marked("leaf test"), "petiole": marked("petiole test"), "soil": marked("soil test"),
    CATCH_TEST: marked("catch test"), WATER: marked("water analysis"),
}  # fmt: skip


FAULT_FIELDS: Mapping[str, str] = {
    "block_id": "block", "day": "day", "text": "text", "visitor": "visitor",
}  # fmt: skip
"""Which field of the form a fault of the operation belongs to."""


@dataclass(frozen=True, slots=True)
class NoteCard:
    """A note as the page shows it."""

    note_id: str
    day: str
    place: str
    visitor: str
    text: str
    is_corrected: bool
    """Another note stands for it."""
    is_correction: bool
    tests: list[tuple[str, str]]
    """What was measured on its day: words, and the page that shows it."""


def show_notes(visit: Visit) -> Response:
    """The page."""
    return _show(visit, farm_of(visit))


def enter_note(visit: Visit) -> Response:
    """Keep a note; each fault comes back beside its field."""
    farm = farm_of(visit, Right.WATER_WRITE)
    try:
        store_entered(visit, farm)
    except InputInvalid as error:
        return _show(visit, farm, faults=faults_by_field(error, FAULT_FIELDS), status=422)
    return redirect(f"/farms/{farm.farm_id}/visit-notes", done="saved")


def store_entered(visit: Visit, farm: FarmDefinition) -> None:
    """Store the note that a form holds; raises InputInvalid."""
    form, service = visit.form, visit.service
    block_id = form.get("block") or None
    day = parsed_day(form.get("day", ""))
    if day is None:
        fault = Fault("day", form.get("day", "")[:40], marked("a day such as 2026-07-14"))
        raise InputInvalid("a day is missing", [fault])
    record_note(
        farm.farm_id,
        NoteDraft(
            day=day,
            text=form.get("text", ""),
            block_id=block_id,
            visitor=form.get("visitor", "").strip() or _name_of(visit),
            corrects=form.get("corrects") or None,
        ),
        reporter=visit.reporter,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )


def _name_of(visit: Visit) -> str:
    """Who fills in the form, where they have a name."""
    visitor = visit.visitor
    return visitor.name[:LONGEST_VISITOR] if visitor is not None and visitor.is_signed_in else ""


def _show(
    visit: Visit,
    farm: FarmDefinition,
    *,
    faults: Mapping[str, Fault] | None = None,
    status: int = 200,
) -> Response:
    service, words = visit.service, visit.words
    today = local_day(service.clock.now(), farm.zone)
    blocks = get_farm(farm.farm_id, day=today, unit_of_work=service.unit_of_work).blocks
    names = {
        block.block_id: block.name
        for block in sorted(blocks, key=lambda block: reading_order(block.name))
    }
    block_id = visit.query.get("block", "")
    found = list_notes(
        farm.farm_id,
        block_id=block_id if block_id in names else None,
        after=visit.query.get("after") or None,
        most=NOTES_PER_PAGE + 1,
        unit_of_work=service.unit_of_work,
    )
    shown = found[:NOTES_PER_PAGE]
    old = next(
        (each.note for each in shown if each.note.note_id == visit.query.get("corrects")), None
    )
    form = visit.form or (
        {"block": block_id if block_id in names else ""}
        if old is None
        else {
            "day": old.day.isoformat(),
            "block": old.block_id or "",
            "visitor": old.visitor,
            "text": old.text,
            "corrects": old.note_id,
        }
    )
    return visit.show(
        "visit_notes.html",
        status=status,
        farm=farm,
        today=today,
        block_names=names,
        chosen=block_id if block_id in names else "",
        notes=[_card(each, names, words) for each in shown],
        after=visit.query.get("after", ""),
        following=shown[-1].note.note_id if len(found) > len(shown) else "",
        form=form,
        faults=faults or {},
        may_write=visit.may(Right.WATER_WRITE),
        longest_text=LONGEST_TEXT,
        done=visit.query.get("done", ""),
    )


def _card(found: ShownNote, names: Mapping[str, str], words: Wording) -> NoteCard:
    note = found.note
    place = words.gettext("Whole farm")
    if note.block_id is not None:
        place = names.get(note.block_id, note.block_id)
    return NoteCard(
        note_id=note.note_id,
        day=f"{day_words(note.day, words)} {note.day.year}",
        place=clean(place),
        visitor=note.visitor,
        text=note.text,
        is_corrected=note.corrected_by is not None,
        is_correction=note.corrects is not None,
        tests=[(_test_words(each, names, words), _address(each)) for each in found.measured],
    )


def _test_words(measured: Measured, names: Mapping[str, str], words: Wording) -> str:
    name = names.get(measured.block_id, measured.block_id)
    return f"{words.gettext(MEASURED_WORDS[measured.kind])}, {clean(name)}"


def _address(measured: Measured) -> str:
    of_water = measured.kind in {CATCH_TEST, WATER}
    page = "pipes-and-water" if of_water else "leaf-and-soil-tests"
    return f"/blocks/{measured.block_id}/{page}"
