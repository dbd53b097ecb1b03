"""The page of a block's past season against a rule of thumb."""

from __future__ import annotations

from tests.api.invented_farm import BLOCK_ID
from tests.pages.conftest import Reader

PAGE = f"/blocks/{BLOCK_ID}/comparison"


def test_the_page_asks_for_a_rule_and_shows_the_programs_beside_it(looker: Reader) -> None:
    asked = looker.text(PAGE)
    assert "Water by the rule" in asked and "<table" not in asked
    shown = looker.text(f"{PAGE}?rule=1.5+in/week&days=3")
    assert "rule of thumb" in shown and "weekly timer" in shown
    assert "water of a year" in shown
    assert "Nothing is known of what was run" in shown


def test_a_rule_that_cannot_be_read_says_what_is_allowed(looker: Reader) -> None:
    for query in ("rule=much", "rule=1.5+in/week&days=9", "rule=%3Cb%3E"):
        shown = looker.get(f"{PAGE}?{query}").text
        assert "That rule cannot be read" in shown
        assert "<b>" not in shown


def test_the_block_leads_to_it(looker: Reader) -> None:
    assert f'href="{PAGE}"' in looker.get(f"/blocks/{BLOCK_ID}").text
