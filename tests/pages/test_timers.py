"""The page of a farm's timers: what to set, that it was set, in both languages."""

from __future__ import annotations

from service.bootstrap import Service
from tests.api.invented_farm import BLOCK_ID, FARM_ID, with_timer
from tests.pages.conftest import Reader

PAGE = f"/farms/{FARM_ID}/timers"


def test_a_farm_without_timers_says_how_a_block_gets_one(reader: Reader) -> None:
    page = reader.text(PAGE)
    assert "No block of this farm has a timer" in page
    assert page.count(f'href="/farms/{FARM_ID}/setup"') == 2  # in the menu and beside the sentence


def test_the_page_says_what_to_set_and_keeps_what_was_set(service: Service, reader: Reader) -> None:
    with_timer(service)
    asked = reader.text(PAGE)
    assert "Nobody has said what the timer is set to" in asked
    assert "Set it to this" in asked
    assert "Expected by the end of its week:" in asked
    answer = reader.send(PAGE, f"/blocks/{BLOCK_ID}/timer", program_id="")
    assert answer.headers["Location"].endswith("/timers?done=set")
    shown = reader.text(f"{PAGE}?done=set")
    assert "Nothing to change before" in shown and "Set since" in shown
    assert "Set it to this" not in shown


def test_the_sheet_is_in_the_readers_language(service: Service, reader: Reader) -> None:
    with_timer(service)
    reader.headers = {"Accept-Language": "es"}
    shown = reader.text(PAGE)
    assert "Temporizadores" in shown
    assert "Set it to this" not in shown
