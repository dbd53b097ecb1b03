"""Visit notes: kept as plain text, corrected by another, shown with what was measured that day."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.season.note_visits import (
    LONGEST_TEXT,
    NoteDraft,
    last_visit,
    list_notes,
    record_note,
)
from service.records.season import VisitNote
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, FARM_ID, TODAY, YOUNG_BLOCK_ID
from tests.operations.season.test_plan_season import sample_petioles

YESTERDAY = TODAY - timedelta(days=1)


def keep(service: Service, text: str = "Row 12 dry.", **changes: Any) -> VisitNote:
    """A note of the north block, written today, unless a test differs."""
    facts: dict[str, Any] = {"day": TODAY, "block_id": BLOCK_ID, "visitor": "Ana Ejemplo"}
    return record_note(
        FARM_ID,
        NoteDraft(text=text, **{**facts, **changes}),
        reporter="office",
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )


def texts(service: Service, **of: Any) -> list[str]:
    found = list_notes(FARM_ID, unit_of_work=service.unit_of_work, **of)
    return [each.note.text for each in found]


def test_a_note_is_kept_with_who_when_and_where(own_service: Service) -> None:
    kept = keep(own_service)
    (found,) = list_notes(FARM_ID, unit_of_work=own_service.unit_of_work)
    assert found.note == kept
    assert (kept.visitor, kept.reporter, kept.day) == ("Ana Ejemplo", "office", TODAY)
    assert kept.recorded_at == own_service.clock.now()
    assert keep(own_service, "No name given.", visitor="").visitor == "office"


def test_the_same_note_again_is_the_one_on_file(own_service: Service) -> None:
    assert keep(own_service).note_id == keep(own_service).note_id
    assert len(texts(own_service)) == 1


def test_lines_stay_and_what_could_mislead_goes(own_service: Service) -> None:
    kept = keep(own_service, " First\r\nsecond\tline\x00\u202eabc\u2028 <b>bold</b>\n\n")
    assert kept.text == "First\nsecond\tlineabc <b>bold</b>"


def test_a_correction_is_a_new_note_and_the_first_stays(own_service: Service) -> None:
    first = keep(own_service)
    second = keep(own_service, "Row 13 dry.", corrects=first.note_id)
    newest, oldest = list_notes(FARM_ID, unit_of_work=own_service.unit_of_work)
    assert newest.note.corrects == first.note_id
    assert (oldest.note.text, oldest.note.corrected_by) == ("Row 12 dry.", second.note_id)
    with pytest.raises(InputInvalid) as refused:
        keep(own_service, "Row 14 dry.", corrects=first.note_id)
    assert second.note_id in refused.value.faults[0].allowed


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"text": " \n "}, "text"),
        ({"text": "x" * (LONGEST_TEXT + 1)}, "text"),
        ({"visitor": "x" * 81}, "visitor"),
        ({"day": TODAY + timedelta(days=1)}, "day"),
        ({"block_id": f"{FARM_ID}.nowhere"}, "block_id"),
        ({"block_id": YOUNG_BLOCK_ID}, "block_id"),  # another farm's
        ({"corrects": "0123456789abcdef"}, "corrects"),
        ({"corrects": "\x00"}, "corrects"),
    ],
)
def test_what_cannot_be_kept_is_refused_and_nothing_is_written(
    own_service: Service, changes: dict[str, Any], where: str
) -> None:
    with pytest.raises(InputInvalid) as refused:
        keep(own_service, **changes)
    assert [each.where for each in refused.value.faults] == [where]
    assert texts(own_service) == []


def test_a_note_of_another_farm_cannot_be_corrected_or_read_on_from(own_service: Service) -> None:
    theirs = record_note(
        "later-farm",
        NoteDraft(day=TODAY, text="Theirs."),
        reporter="them",
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
    )
    with pytest.raises(InputInvalid) as refused:
        keep(own_service, corrects=theirs.note_id)
    assert refused.value.faults[0].where == "corrects"
    for of in ({"after": theirs.note_id}, {"block_id": YOUNG_BLOCK_ID}, {"block_id": "young"}):
        with pytest.raises(InputInvalid):
            texts(own_service, **of)
    assert texts(own_service) == []
    with pytest.raises(NotFound):
        list_notes("nowhere", unit_of_work=own_service.unit_of_work)


def test_a_block_has_its_own_notes_and_those_of_the_whole_farm(own_service: Service) -> None:
    keep(own_service, "North.")
    keep(own_service, "South.", block_id=BARE_BLOCK_ID)
    keep(own_service, "Everywhere.", block_id=None, day=YESTERDAY)
    assert texts(own_service) == ["South.", "North.", "Everywhere."]
    assert texts(own_service, block_id=BLOCK_ID) == ["North.", "Everywhere."]


def test_what_was_measured_on_the_day_is_named_and_not_copied(own_service: Service) -> None:
    sample_petioles(own_service)
    keep(own_service, "South.", block_id=BARE_BLOCK_ID)
    keep(own_service, "North.")
    keep(own_service, "Everywhere.", block_id=None)
    keep(own_service, "Before.", block_id=BARE_BLOCK_ID, day=YESTERDAY)
    found = list_notes(FARM_ID, unit_of_work=own_service.unit_of_work)
    measured = {each.note.text: [(m.kind, m.block_id) for m in each.measured] for each in found}
    petioles = [("petiole", BARE_BLOCK_ID)]
    assert measured == {"South.": petioles, "Everywhere.": petioles, "North.": [], "Before.": []}


def test_the_last_visit_is_read_in_the_order_in_which_it_was_written(own_service: Service) -> None:
    assert last_visit(BLOCK_ID, unit_of_work=own_service.unit_of_work) == []
    keep(own_service, "Long ago.", day=date(2026, 5, 1))
    wrong = keep(own_service, "Gauge at 9 bar.", day=YESTERDAY)
    keep(own_service, "All of it.", block_id=None, day=YESTERDAY)
    keep(own_service, "Gauge at 0.9 bar.", day=YESTERDAY, corrects=wrong.note_id)
    keep(own_service, "South.", block_id=BARE_BLOCK_ID, day=TODAY)
    for name in (BLOCK_ID, "north"):
        found = last_visit(name, unit_of_work=own_service.unit_of_work)
        assert [each.text for each in found] == ["All of it.", "Gauge at 0.9 bar."]
    with pytest.raises(NotFound):
        last_visit("test-farm.nowhere", unit_of_work=own_service.unit_of_work)
