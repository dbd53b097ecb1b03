"""Notes of visits: written once and never changed; a correction is a new note that names the old.

What was measured on a visit has a home of its own, and is not written into a note: a note is shown
with the tests that are on file for its block and day.
"""

from __future__ import annotations

import re
import secrets
import unicodedata
from dataclasses import dataclass
from datetime import date, datetime

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid, NotFound
from service.operations.reading.read_farms import today_at
from service.operations.waterworks.catch_tests import refuse_coming_day
from service.operations.waterworks.report_water import find_supply_key
from service.ports import Clock
from service.records.audit import Subject
from service.records.farms import BlockDefinition
from service.records.season import VisitNote

TITLE = "this visit note cannot be kept"
LONGEST_TEXT = 2000
LONGEST_VISITOR = 80
NOTES_PER_PAGE = 50
MOST_OF_A_DAY = 200
CATCH_TEST, WATER = "catch-test", "water"
_NOTE_ID = re.compile("[0-9a-f]{16}")
_KEPT = frozenset("\n\t")
_DROPPED = frozenset({"Cc", "Cf", "Cs", "Co", "Zl", "Zp"})
"""Control characters, direction marks and unusual line separators, as in names."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteDraft:
    """A note as somebody wrote it."""

    day: date
    text: str
    block_id: str | None = None
    """None: the whole farm."""
    visitor: str = ""
    """Who was there; empty: who writes it down."""
    corrects: str | None = None


@dataclass(frozen=True, slots=True)
class Measured:
    """Something that was measured on the day of a note, and is kept elsewhere."""

    kind: str
    """``leaf``, ``petiole``, ``soil``, ``catch-test`` or ``water``."""
    block_id: str
    """Whose page shows it."""


@dataclass(frozen=True, slots=True)
class ShownNote:
    """A note with what was measured on its day."""

    note: VisitNote
    measured: tuple[Measured, ...]


def record_note(
    farm_id: str,
    draft: NoteDraft,
    *,
    reporter: str,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
) -> VisitNote:
    """Store a note; as :func:`store_note`."""
    with unit_of_work(write=True) as unit:
        return store_note(unit, farm_id, draft, reporter=reporter, now=clock.now())


def store_note(
    unit: UnitOfWork, farm_id: str, draft: NoteDraft, *, reporter: str, now: datetime
) -> VisitNote:
    """Store a note in a unit of work that its caller owns; the same again is the note on file.

    Raises NotFound for an unknown farm, InputInvalid with every fault for what cannot be kept. A
    block or note of another farm is reported as one that does not exist.
    """
    today = today_at(unit, farm_id, now)
    refuse_coming_day(TITLE, draft.day, today=today)
    text, visitor = _plain(draft.text), " ".join(_plain(draft.visitor or reporter).split())
    faults = _text_faults(text, visitor)
    corrected = None if draft.corrects is None else _find(unit, farm_id, draft.corrects)
    alike = _same_note(unit, farm_id, draft, text=text, visitor=visitor)
    if alike is not None and not faults:
        return alike
    if draft.corrects is not None:
        faults += _correction_faults(draft.corrects, corrected)
    if draft.block_id is not None:
        faults += _block_faults(unit, farm_id, draft.block_id, today)
    if faults:
        raise InputInvalid(TITLE, faults)
    note = VisitNote(
        note_id=secrets.token_hex(8),
        farm_id=farm_id,
        block_id=draft.block_id,
        day=draft.day,
        visitor=visitor,
        text=text,
        reporter=reporter,
        recorded_at=now,
        corrects=draft.corrects,
    )
    unit.visit_notes.add(note)
    unit.audit.note(Subject.VISIT_NOTE, draft.block_id or farm_id, farm_id=farm_id, after=note)
    return note


def list_notes(
    farm_id: str,
    *,
    block_id: str | None = None,
    after: str | None = None,
    most: int = NOTES_PER_PAGE,
    unit_of_work: UnitOfWorkFactory,
) -> list[ShownNote]:
    """Notes of a farm, or of one block and the whole farm, the newest visit first.

    after: those that come behind this note. Raises NotFound for an unknown farm, InputInvalid for
    a block or a note that is not the farm's.
    """
    with unit_of_work(write=False) as unit:
        unit.blocks.get_farm(farm_id)
        if block_id is not None and not _is_block_of(unit, farm_id, block_id):
            raise InputInvalid("the notes cannot be listed", [_no_such_block(block_id)])
        if after is not None and _find(unit, farm_id, after) is None:
            raise InputInvalid(
                "the notes cannot be listed", [Fault("after", after, "a note of this farm")]
            )
        notes = unit.visit_notes.list_notes(farm_id, block_id=block_id, after=after, most=most)
        return with_measured(unit, notes)


def last_visit(block_id: str, *, unit_of_work: UnitOfWorkFactory) -> list[VisitNote]:
    """The notes of the last visit to a block, in the order in which they were written.

    Notes of the whole farm count for each block. What has been corrected is left out. Raises
    NotFound for an unknown block.
    """
    with unit_of_work(write=False) as unit:
        farm_id = unit.blocks.get_farm_of(block_id).farm_id
        whole_id = block_id if "." in block_id else f"{farm_id}.{block_id}"
        found = unit.visit_notes.list_notes(farm_id, block_id=whole_id, most=MOST_OF_A_DAY)
    in_force = [each for each in found if each.corrected_by is None]
    return [each for each in reversed(in_force) if each.day == in_force[0].day]


def _find(unit: UnitOfWork, farm_id: str, note_id: str) -> VisitNote | None:
    return unit.visit_notes.find(farm_id, note_id) if _NOTE_ID.fullmatch(note_id) else None


def _plain(text: str) -> str:
    """Text of lines and nothing else: what could break a line or hide a word is left out."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    kept = (each for each in lines if each in _KEPT or unicodedata.category(each) not in _DROPPED)
    return "".join(kept).strip()


def _text_faults(text: str, visitor: str) -> list[Fault]:
    faults = []
    if not 0 < len(text) <= LONGEST_TEXT:
        found = f"{len(text)} characters" if text else "nothing"
        faults.append(Fault("text", found, f"1 to {LONGEST_TEXT} characters"))
    if not 0 < len(visitor) <= LONGEST_VISITOR:
        found = f"{len(visitor)} characters" if visitor else "nothing"
        faults.append(Fault("visitor", found, f"1 to {LONGEST_VISITOR} characters"))
    return faults


def _same_note(
    unit: UnitOfWork, farm_id: str, draft: NoteDraft, *, text: str, visitor: str
) -> VisitNote | None:
    """A note of that day with the same content: sent twice, it counts once."""
    wanted = (draft.block_id, visitor, text, draft.corrects)
    notes = unit.visit_notes.list_notes(farm_id, on_day=draft.day, most=MOST_OF_A_DAY)
    return next(
        (
            each
            for each in notes
            if (each.block_id, each.visitor, each.text, each.corrects) == wanted
        ),
        None,
    )


def _correction_faults(note_id: str, corrected: VisitNote | None) -> list[Fault]:
    if corrected is None:
        return [Fault("corrects", note_id, "a note of this farm")]
    if corrected.corrected_by is not None:
        allowed = f"the note that corrects it, {corrected.corrected_by}"
        return [Fault("corrects", note_id, allowed)]
    return []


def _block_faults(unit: UnitOfWork, farm_id: str, block_id: str, today: date) -> list[Fault]:
    names = {each.block_id for each in unit.blocks.list_blocks(farm_id=farm_id, day=today)}
    return [] if block_id in names else [_no_such_block(block_id)]


def _no_such_block(block_id: str) -> Fault:
    return Fault("block_id", block_id, "a block of this farm in full, `farm.block`")


def _is_block_of(unit: UnitOfWork, farm_id: str, block_id: str) -> bool:
    """Whether a block is, or once was, the farm's."""
    try:
        return unit.blocks.get_farm_of(block_id).farm_id == farm_id and "." in block_id
    except NotFound:
        return False


def with_measured(unit: UnitOfWork, notes: list[VisitNote]) -> list[ShownNote]:
    """Each note with the tests of its day, of its block or of all blocks of its farm."""
    if not notes:
        return []
    last_day = max(note.day for note in notes)
    blocks = unit.blocks.list_blocks(farm_id=notes[0].farm_id, day=last_day)
    noted = {note.block_id for note in notes}
    tests = {
        block.block_id: _tests_of(unit, block)
        for block in blocks
        if None in noted or block.block_id in noted
    }
    found = []
    for note in notes:
        kinds: dict[str, Measured] = {}
        for block_id, days in tests.items():
            if note.block_id in (None, block_id):
                for day, kind, name in days:
                    if day == note.day:
                        kinds.setdefault(name, Measured(kind, block_id))
        found.append(ShownNote(note, tuple(kinds.values())))
    return found


def _tests_of(unit: UnitOfWork, block: BlockDefinition) -> list[tuple[date, str, str]]:
    """Day, kind and name of each test; those of the water have one name for all of its blocks."""
    key = unit.blocks.get_block_key(block.block_id)
    supply_key = find_supply_key(unit, block.farm_id, block.supply_id)
    own = [
        *((each.day, each.kind) for each in unit.nutrition.list_tests(key)),
        *((each.day, CATCH_TEST) for each in unit.waterworks.list_catch_tests(key)),
    ]
    samples = unit.waterworks.list_samples(supply_key)
    return [
        *((day, str(kind), f"{kind} {block.block_id}") for day, kind in own),
        *((each.day, WATER, f"{WATER} {block.supply_id}") for each in samples),
    ]
