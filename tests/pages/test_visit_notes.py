"""The page of a farm's visit notes: written, corrected, escaped, and shown on the checklist."""

from __future__ import annotations

import re

from service.bootstrap import Service
from tests.api.invented_farm import BLOCK_ID
from tests.pages.conftest import Reader, key_for

PAGE = "/farms/test-farm/visit-notes"
NOTE = {"day": "2026-07-14", "block": BLOCK_ID, "visitor": "Ana", "text": "Row 12 dry.\nMended."}


def test_a_note_is_kept_and_listed(reader: Reader) -> None:
    assert "No note of a visit is on file yet" in reader.text(PAGE)
    answer = reader.send(PAGE, **NOTE)
    assert answer.headers["Location"] == f"{PAGE}?done=saved"
    shown = reader.text(PAGE)
    assert "Jul 14 2026 · North blueberries" in shown
    assert "Row 12 dry.\nMended." in shown
    assert "Row 12 dry." not in reader.text(f"{PAGE}?block=test-farm.south")


def test_a_correction_comes_from_the_note_itself(reader: Reader) -> None:
    reader.send(PAGE, **NOTE)
    found = re.search(r"\?corrects=([0-9a-f]{16})", reader.text(PAGE))
    assert found is not None
    form = reader.text(f"{PAGE}?corrects={found[1]}")
    assert "Correct the note" in form and 'value="Ana"' in form
    assert ">\nRow 12 dry.\nMended.</textarea>" in form
    reader.send(PAGE, **{**NOTE, "text": "Row 13 dry.", "corrects": found[1]})
    shown = reader.text(PAGE)
    assert shown.index("Row 13 dry.") < shown.index("corrected since") < shown.index("Row 12 dry.")
    assert found[1] not in re.findall(r"\?corrects=([0-9a-f]{16})", shown)


def test_what_was_typed_cannot_become_a_part_of_the_page(reader: Reader) -> None:
    hostile = '<script>alert(1)</script>"><b>'
    reader.send(PAGE, **{**NOTE, "visitor": hostile, "text": hostile})
    for path in (PAGE, f"/blocks/{BLOCK_ID}/parts"):
        raw = reader.get(path).text
        assert "<script>alert" not in raw and "&lt;script&gt;alert" in raw


def test_a_fault_is_told_beside_its_field_and_what_was_typed_stays(reader: Reader) -> None:
    answer = reader.send(PAGE, **{**NOTE, "text": "x" * 2001})
    assert answer.status_code == 422
    assert 'id="text-fault"' in answer.text and "1 to 2000 characters" in answer.text
    assert 'value="Ana"' in answer.text
    assert reader.send(PAGE, **{**NOTE, "day": "2027-01-01"}).status_code == 422
    assert reader.send(PAGE, **{**NOTE, "block": "later-farm.young"}).status_code == 422
    assert "No note of a visit is on file yet" in reader.text(PAGE)


def test_faults_are_in_the_readers_language(reader: Reader) -> None:
    reader.headers = {"Accept-Language": "es"}
    answer = reader.send(PAGE, **{**NOTE, "text": " "})
    assert "de 1 a 2000 caracteres" in answer.text


def test_the_visit_checklist_shows_what_was_noted_last(reader: Reader) -> None:
    checklist = f"/blocks/{BLOCK_ID}/parts"
    assert "Noted on the last visit" not in reader.text(checklist)
    reader.send(PAGE, **{**NOTE, "day": "2026-07-01", "text": "Long ago."})
    reader.send(PAGE, **{**NOTE, "block": "", "text": "Pump loud."})
    shown = reader.text(checklist)
    assert "Noted on the last visit" in shown and "Pump loud." in shown
    assert "Long ago." not in shown


def test_older_notes_are_on_further_pages(service: Service, reader: Reader) -> None:
    for number in range(51):
        reader.send(PAGE, **{**NOTE, "text": f"Note {number:02}."})
    first = reader.text(PAGE)
    assert "Note 50." in first and "Note 00." not in first
    found = re.search(r'href="([^"]+after=[0-9a-f]{16})"', first)
    assert found is not None
    rest = reader.text(found[1])
    assert "Note 00." in rest and "Older notes" not in rest


def test_who_signed_in_is_who_was_there_and_sees_ones_own_farm_alone(
    service: Service, reader: Reader
) -> None:
    reader.send(PAGE, **NOTE)
    reader.sign_in(key_for(service, "plan:read", "water:write", farm_id="later-farm"))
    assert reader.get(PAGE).status_code == 404
    theirs = "/farms/later-farm/visit-notes"
    assert reader.send(theirs, PAGE, **NOTE).status_code == 404
    assert reader.send(theirs, **{**NOTE, "block": "", "visitor": ""}).status_code == 303
    assert "Ana <b>" in reader.text(theirs)


def test_a_key_that_only_reads_gets_no_form(service: Service, reader: Reader) -> None:
    writer = Reader(reader.app)
    writer.send(PAGE, **NOTE)
    reader.sign_in(key_for(service, "plan:read"))
    shown = reader.text(PAGE)
    assert "Row 12 dry." in shown and "<textarea" not in shown and "?corrects=" not in shown
