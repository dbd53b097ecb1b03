"""The page that asks what would change in the coming week."""

from __future__ import annotations

import re

import pytest

from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID
from tests.pages.conftest import Reader
from tests.pages.well_formed import faults_of

PAGE = "/farms/test-farm/what-if"
LARGEST_PAGE_BYTES = 60_000


def test_the_form_asks_and_the_address_is_the_question(looker: Reader) -> None:
    asked = looker.text(PAGE)
    assert "The pump is down" in asked and "The next seven days" not in asked
    shown = looker.text(f"{PAGE}?supply=&block=&pump_down=3&flow=&windows=&rain=")
    assert "no water from the supply for 3 days" in shown
    assert not faults_of(shown) and len(shown.encode()) < LARGEST_PAGE_BYTES
    # What was asked stands in the form again.
    assert re.search(r'<option value="3" selected>3 days', shown)


def test_blocks_are_shown_now_and_with_the_change(looker: Reader) -> None:
    shown = looker.text(f"{PAGE}?skip_tomorrow=yes&block={BLOCK_ID}")
    minutes = re.search(r'data-label="Minutes">([^<]+)<', shown)
    assert minutes is not None and " → " in minutes[1]
    assert 'role="img"' in shown and "Minutes, changed" in shown
    assert f'href="/blocks/{BLOCK_ID}"' in shown


def test_what_could_not_run_is_said(looker: Reader) -> None:
    shown = looker.text(f"{PAGE}?flow=30+gpm")
    assert "North blueberries would take more than its supply gives" in shown


def test_a_change_without_effect_is_said_to_have_none(looker: Reader) -> None:
    shown = looker.text(f"{PAGE}?flow=100+%25")
    assert "Nothing changes in the coming week" in shown


@pytest.mark.parametrize(
    ("query", "field", "allowed"),
    [
        ("flow=half", "flow", "50 %"),
        ("windows=20:00-06:00", "windows", "across midnight"),
        ("emitter_flow=2", "emitter_flow", "0.5 gph"),
        ("emitter_spacing=-1+m", "emitter_spacing", "18 in"),
        ("rain=much", "rain", "0.5 in"),
        ("pump_down=9", "pump_down", "1 to 7"),
        ("supply=creek&rain=1+in", "supply", "one of well"),
        ("block=test-farm.none&rain=1+in", "block", f"one of {BLOCK_ID}, {BARE_BLOCK_ID}"),
    ],
)
def test_a_field_that_cannot_be_read_says_what_is_allowed(
    looker: Reader, query: str, field: str, allowed: str
) -> None:
    answer = looker.get(f"{PAGE}?{query}")
    assert answer.status_code == 422
    shown = answer.text.replace("&#39;", "'")
    assert f'id="{field}-fault"' in shown and allowed in shown


def test_tomorrow_and_the_block_lead_to_it(looker: Reader) -> None:
    assert f'href="{PAGE}"' in looker.text("/farms/test-farm/tomorrow")
    assert f'href="{PAGE}?block={BLOCK_ID}"' in looker.text(f"/blocks/{BLOCK_ID}")


def test_a_farm_without_weather_is_answered(looker: Reader) -> None:
    assert "Nothing changes" in looker.text("/farms/later-farm/what-if?skip_tomorrow=yes")
