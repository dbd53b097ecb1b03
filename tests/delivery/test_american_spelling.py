"""Readers of English with US units read American spelling; nobody's own words are touched."""

from __future__ import annotations

import pytest

from service.translations import wording
from service.translations.catalogue import AMERICAN_WORDS, american, read_catalogue, translations
from service.translations.patterns import ALONE, PATTERNS
from tests.spelling import british


def forms(text: object) -> tuple[str, ...]:
    return tuple(map(str, text)) if isinstance(text, tuple | list) else (str(text),)


def test_no_text_for_us_readers_is_spelled_the_british_way() -> None:
    words = wording("en", "us")
    texts = [form for each in read_catalogue("en") if each.id for form in forms(each.id)]
    assert any(british(text) for text in texts)  # so that this test can fail
    left = {word for text in texts for word in british(words.gettext(text))}
    many = translations("en", is_american=True)
    for message in read_catalogue("en"):
        if isinstance(message.id, tuple):
            one, other = message.id
            left |= {w for count in (1, 2) for w in british(many.ngettext(one, other, count))}
    assert left == set()


@pytest.mark.parametrize(
    ("unit_system", "fertilizer"), [("us", "Fertilizer"), ("si", "Fertiliser")]
)
def test_a_text_is_spelled_as_the_reader_spells(unit_system: str, fertilizer: str) -> None:
    assert wording("en", unit_system).gettext("Fertiliser in the water") == (
        f"{fertilizer} in the water"
    )


def test_spanish_with_us_units_is_spanish() -> None:
    assert wording("es", "us").gettext("Acid per litre") == wording("es", "si").gettext(
        "Acid per litre"
    )


def test_values_are_never_respelled() -> None:
    words = wording("en", "us")
    typed = "Grey Litre fertiliser"
    assert words.gettext("{first} to {last}", first=typed, last="x") == f"{typed} to x"
    assert words.gettext(typed) == typed
    assert words.gettext("{kilometres} km", kilometres="3") == "3 km"


def test_a_text_that_has_its_values_in_it_is_spelled_around_them() -> None:
    words = wording("en", "us")
    assert words.gettext("0 to 5000 litres") == "0 to 5000 liters"
    texts = [*ALONE, *PATTERNS]
    assert {word for text in texts for word in british(american(text))} == set()


def test_capitals_stay_and_parts_of_words_are_left_alone() -> None:
    assert american("Vapour and litres; perimetre, greyhound") == (
        "Vapor and liters; perimetre, greyhound"
    )
    assert all(british(word) for word in AMERICAN_WORDS)
    assert not any(british(word) for word in AMERICAN_WORDS.values())
