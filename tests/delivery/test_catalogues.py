"""Every text that people may read is in both catalogues, whole, and takes the same values."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

import service
from service.agronomy.reasoning import PLAN_FLAG_TEXT
from service.translations import LANGUAGES, wording
from service.translations.catalogue import read_catalogue, translations
from service.translations.gather import gather, is_empty

PACKAGE = Path(service.__file__).parent
PLACE = re.compile(r"{(\w+)}")
GATHERED = {message.id for message in gather(PACKAGE) if message.id}


def forms(text: object) -> tuple[str, ...]:
    """The singular and the plural, or the one form that there is."""
    return tuple(map(str, text)) if isinstance(text, tuple | list) else (str(text),)


def test_the_code_is_looked_through() -> None:
    texts = {text for each in GATHERED for text in (each if isinstance(each, tuple) else (each,))}
    assert "In order of time" in texts  # of a template
    assert "REST" in texts  # of code
    assert "forecast over a day old" in texts  # marked
    assert "{count} more blocks do not fit into this mail; see the page." in texts  # a plural
    assert set(PLAN_FLAG_TEXT.values()) <= texts  # of the agronomy


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_text_is_in_the_catalogue_and_nothing_else(language: str) -> None:
    kept = {message.id for message in read_catalogue(language) if message.id}
    assert GATHERED - kept == set(), "python -m service.translations.gather"
    assert kept - GATHERED == set(), "python -m service.translations.gather"


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_translation_is_empty_fuzzy_or_takes_other_values(language: str) -> None:
    for message in read_catalogue(language):
        if not message.id:
            continue
        assert not is_empty(message), message.id
        assert not message.fuzzy, message.id
        wanted = {name for text in forms(message.id) for name in PLACE.findall(text)}
        for form in forms(message.string):
            assert set(PLACE.findall(form)) == wanted, message.id


def test_spanish_is_not_english() -> None:
    same = {m.id for m in read_catalogue("es") if m.id and m.string == m.id}
    assert same <= {
        "ET",
        "Kiwi",
        "mm",
        "{depth} mm",
        "{day} {depth}",
        "{farm}, {day}: {headline}",
        "{minutes} min",
        "{volume} L",
        "{volume} gal",
        "{volume} m³",
    }


def test_a_language_that_is_not_kept_is_refused() -> None:
    with pytest.raises(KeyError, match="en, es"):
        translations("fr")


def test_numbers_days_and_times_as_each_reader_writes_them() -> None:
    at = datetime(2026, 7, 16, 11, 5, tzinfo=UTC)
    day, zone = date(2026, 7, 16), "America/New_York"
    said = {
        (language, units): (
            words.depth(12.7),
            words.volume(12_345.6),
            words.clock(at, zone),
            words.long_day(day),
            words.short_day(day),
            words.weekday(day),
            words.percent(0.6),
        )
        for language in LANGUAGES
        for units in ("us", "si")
        for words in [wording(language, units)]
    }
    assert said == {
        ("en", "us"): (
            "0.50 in", "3,261 gal", "7:05 AM", "Thursday, July 16", "Thu, Jul 16", "Thu", "60%",
        ),
        ("en", "si"): (
            "12.7 mm", "12,346 L", "07:05", "Thursday 16 July", "Thu, 16 Jul", "Thu", "60%",
        ),
        ("es", "us"): (
            "0.50 pulg", "3,261 gal", "7:05 a.m.", "jueves 16 de julio", "jue, 16 de jul", "jue",
            "60%",
        ),
        ("es", "si"): (
            "12.7 mm", "12,346 L", "07:05", "jueves 16 de julio", "jue 16 de jul", "jue", "60%",
        ),
    }  # fmt: skip


def test_what_is_not_known_is_a_question_mark() -> None:
    assert wording("en", "us").depth(float("nan")) == "? in"
    assert wording("es", "si").volume(250_000.0) == "250 m³"
