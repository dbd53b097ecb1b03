"""The page of a block's past season against a rule of thumb."""

from __future__ import annotations

from html import unescape

import pytest

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


def test_money_and_nitrogen_are_columns_or_said_to_be_not_stated(looker: Reader) -> None:
    bare = looker.text(f"{PAGE}?rule=1.5+in/week")
    assert "Nitrogen at risk, lb/ac" in bare and bare.count("not stated") == 2 * 4 + 2
    assert "not stated because no price of water was given" in bare
    # Fields that are left empty are sent all the same.
    empty = looker.text(f"{PAGE}?rule=1.5+in/week&days=7&price=&nitrogen=&from=&to=")
    assert empty.count("not stated") == bare.count("not stated")
    priced = looker.text(f"{PAGE}?rule=1.5+in/week&price=1.50/1000+gal&nitrogen=70+lb/ac")
    assert "not stated" not in priced
    assert "in the currency of the price" in priced


@pytest.mark.parametrize(
    ("query", "field", "allowed"),
    [
        ("price=cheap", "price", "a price over a volume, such as"),
        ("nitrogen=70", "nitrogen", "70 lb/ac"),
        ("from=yesterday", "from", "a day such as 2026-07-14"),
        ("from=2026-07-10&to=2026-07-01", "from", "days that rise"),
    ],
)
def test_a_field_that_cannot_be_read_says_what_is_allowed(
    looker: Reader, query: str, field: str, allowed: str
) -> None:
    shown = unescape(looker.get(f"{PAGE}?rule=1.5+in/week&{query}").text)
    assert f'id="{field}-fault"' in shown and allowed in shown
    assert "That rule cannot be read" not in shown
