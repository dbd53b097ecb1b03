"""The page of a farm's record of changes, in both languages."""

from __future__ import annotations

from service.api.app import create_app
from service.bootstrap import Service
from service.delivery.log_words import ENTRANCES, SUBJECTS
from service.operations.access.manage_keys import Right
from service.records.audit import Entrance, Subject
from tests.api.invented_farm import BLOCK_ID, FARM_ID
from tests.pages.conftest import Reader, key_for

PAGE = f"/farms/{FARM_ID}/changes"
PAUSE = {
    "day": "2026-08-01", "time": "10:00", "end_day": "2026-08-29", "end_time": "10:00",
    "reason": "cosecha",
}  # fmt: skip


def test_every_subject_and_entrance_has_a_word() -> None:
    assert set(SUBJECTS) == set(Subject)
    assert set(ENTRANCES) == set(Entrance)


def test_the_page_says_who_did_what(service: Service) -> None:
    reader = Reader(create_app(service))
    reader.sign_in(key_for(service, Right.PLAN_READ, Right.WATER_WRITE))
    assert reader.send(f"/blocks/{BLOCK_ID}", f"/blocks/{BLOCK_ID}/pauses", **PAUSE).is_redirect
    shown = reader.text(f"{PAGE}?of=pause")
    assert "Ana <b>, key " in shown and "on a page" in shown
    assert "cosecha" in shown
    assert "Pause</strong>" in shown and "Weather site</strong>" not in shown


def test_numbers_have_no_more_digits_than_count(service: Service, reader: Reader) -> None:
    area_m2 = 0.75 * 4046.8564224
    with service.unit_of_work(write=True) as unit:
        unit.audit.note(
            Subject.BLOCK,
            BLOCK_ID,
            farm_id=FARM_ID,
            before={"area_m2": area_m2, "root_depth_m": 0.4572},
            after={"area_m2": 2.0 * area_m2, "root_depth_m": 18 * 0.0254 + 1e-12},
        )
    shown = reader.text(f"{PAGE}?of=block")
    assert "3,035" in shown and "6,070" in shown and "0.4572" in shown
    assert "3035.1" not in shown and "0.45720" not in shown


def test_older_changes_are_on_the_pages_after(service: Service, reader: Reader) -> None:
    with service.unit_of_work(write=True) as unit:
        change = unit.audit.list_entries(FARM_ID, count=1)[0]
        for number in range(51):
            unit.audit.note(
                change.subject, f"thing-{number}", farm_id=FARM_ID, after={"name": f"n{number}"}
            )
    shown = reader.text(PAGE)
    assert "thing-50<" in shown and "thing-0<" not in shown
    address = shown.partition(f'href="{PAGE}?before=')[2].partition('"')[0]
    assert "thing-0<" in reader.text(f"{PAGE}?before={address}")
    assert "No older change is recorded." in reader.text(f"{PAGE}?before=1")


def test_the_page_is_in_the_readers_language(reader: Reader) -> None:
    reader.headers = {"Accept-Language": "es"}
    shown = reader.text(PAGE)
    assert "Cambios" in shown and "Who changed what" not in shown


def test_another_farms_changes_are_not_found(service: Service) -> None:
    reader = Reader(create_app(service))
    reader.sign_in(key_for(service, Right.PLAN_READ, farm_id="later-farm"))
    assert reader.get(PAGE).status_code == 404
