"""Visit notes in the database: added, found, listed in their order, kept apart by farm."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest

from service.database.session import UnitOfWorkFactory
from service.errors import NotFound
from service.records.season import VisitNote
from tests.stored_farms import stored_block, stored_bundle

NOW = datetime(2026, 7, 14, 23, tzinfo=UTC)
NOTE = VisitNote(
    note_id="00000000000000aa",
    farm_id="orchard",
    block_id="orchard.north",
    day=date(2026, 7, 14),
    visitor="Ana Ejemplo",
    text="Row 12 dry.\nFilter cleaned: 0.4 bar.",
    reporter="office",
    recorded_at=NOW,
)


@pytest.fixture(autouse=True)
def orchard(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(
            stored_bundle(stored_block()), effective_day=date(2026, 6, 1), recorded_at=NOW
        )


def test_a_note_comes_back_as_it_was(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=True) as unit:
        unit.visit_notes.add(NOTE)
    with open_unit(write=False) as unit:
        assert unit.visit_notes.find("orchard", NOTE.note_id) == NOTE
        assert unit.visit_notes.find("elsewhere", NOTE.note_id) is None


def test_a_correction_names_the_note_and_is_named_by_it(open_unit: UnitOfWorkFactory) -> None:
    later = replace(NOTE, note_id="00000000000000bb", text="Row 13 dry.", corrects=NOTE.note_id)
    with open_unit(write=True) as unit:
        unit.visit_notes.add(NOTE)
        unit.visit_notes.add(later)
        newest, first = unit.visit_notes.list_notes("orchard", most=9)
    assert (newest, newest.corrects) == (later, NOTE.note_id)
    assert first == replace(NOTE, corrected_by=later.note_id)


def test_notes_are_listed_by_visit_and_read_on_from_any_of_them(
    open_unit: UnitOfWorkFactory,
) -> None:
    days = (date(2026, 7, 1), date(2026, 7, 14), date(2026, 7, 1), date(2026, 7, 9))
    ids = [f"{number:016x}" for number in range(4)]
    with open_unit(write=True) as unit:
        for note_id, day in zip(ids, days, strict=True):
            block_id = None if note_id == ids[3] else NOTE.block_id
            unit.visit_notes.add(replace(NOTE, note_id=note_id, day=day, block_id=block_id))
        found = unit.visit_notes.list_notes("orchard", most=9)
        order = [each.note_id for each in found]
        assert order == [ids[1], ids[3], ids[2], ids[0]]
        rest = unit.visit_notes.list_notes("orchard", after=ids[3], most=1)
        assert [each.note_id for each in rest] == [ids[2]]
        of_block = unit.visit_notes.list_notes("orchard", block_id="orchard.north", most=9)
        assert [each.note_id for each in of_block] == order  # the whole farm's come too
        of_day = unit.visit_notes.list_notes("orchard", on_day=date(2026, 7, 1), most=9)
        assert [each.note_id for each in of_day] == [ids[2], ids[0]]
        assert unit.visit_notes.list_notes("elsewhere", most=9) == []


@pytest.mark.parametrize(
    "changes",
    [
        {"farm_id": "elsewhere"},
        {"block_id": "orchard.none"},
        {"corrects": "ffffffffffffffff"},
    ],
)
def test_a_note_of_nothing_is_refused(
    open_unit: UnitOfWorkFactory, changes: dict[str, Any]
) -> None:
    with pytest.raises(NotFound), open_unit(write=True) as unit:
        unit.visit_notes.add(replace(NOTE, **changes))
