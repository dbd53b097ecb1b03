"""Charts in letters: the pages' drawing as a small picture, identical on every machine."""

from __future__ import annotations

import hashlib
import io
from xml.etree import ElementTree

import pytest
from PIL import Image

from service.delivery.letter_chart import MOST_ROWS, PNG_WIDTH, chart_png, draw_letter, png
from service.delivery.message import LARGEST_CHART_BYTES
from service.drawing.frame import as_file
from service.records.letters import Letter
from service.translations import wording
from tests.letters import block_line, block_week, bulletin, evening, pulse, weekly

WORDS = wording("en", "us")
LETTERS = (evening(), weekly(), bulletin())
WORDY = "Long name of a block, row {}"
LONG = (
    evening(*(block_line(WORDY.format(n), pulse("04:00", 30)) for n in range(60))),
    weekly(*(block_week(WORDY.format(n)) for n in range(60))),
)


def kind(letter: Letter) -> str:
    return type(letter).__name__


def shown(letter: Letter) -> str:
    drawn = draw_letter(letter, WORDS)
    assert drawn is not None
    return " ".join(ElementTree.fromstring(as_file(drawn)).itertext())


@pytest.mark.parametrize("letter", LETTERS, ids=kind)
def test_a_picture_is_small_and_the_same_twice(letter: Letter) -> None:
    first = chart_png(letter, WORDS)
    assert first is not None
    assert chart_png(letter, WORDS) is first  # readers of a farm share it
    png.cache_clear()
    assert chart_png(letter, WORDS) == first
    assert len(first) < 10_000
    assert Image.open(io.BytesIO(first)).width == PNG_WIDTH


@pytest.mark.parametrize("letter", LONG, ids=kind)
def test_the_picture_of_a_large_farm_stays_below_forty_kilobytes(letter: Letter) -> None:
    picture = chart_png(letter, WORDS)
    assert picture is not None
    assert len(picture) < min(40_000, LARGEST_CHART_BYTES)


def test_letters_come_from_the_font_that_travels_with_the_service() -> None:
    def drawn(letters: str) -> bytes:
        content = f'<text x="5" y="25" font-family="DejaVu Sans" font-size="20">{letters}</text>'
        return png(
            '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 30">'
            f'<rect width="100" height="30" fill="#fff"/>{content}</svg>'
        )

    # Without a font every text would be the same empty picture.
    pictures = [drawn(""), drawn("ñ"), drawn("n"), drawn("ж")]
    assert len({hashlib.sha256(each).digest() for each in pictures}) == len(pictures)


def test_names_and_times_are_in_the_chart() -> None:
    text = shown(evening(block_line("$a_{b}$ & <c>", pulse("04:00", 30))))
    assert "$a_{b}$ & <c>" in text
    assert "30 min" in text
    assert "6:00 AM" in text


def test_the_week_names_what_each_kind_of_bar_is() -> None:
    text = shown(weekly())
    for part in ("Watered", "Rain kept", "Crop used", "North", "inches"):
        assert part in text


def test_rain_and_irrigation_differ_by_more_than_colour() -> None:
    drawn = draw_letter(weekly(), WORDS)
    assert drawn is not None
    assert '<pattern id="week-hatch"' in drawn
    assert 'class="kept" fill="url(#week-hatch)"' in drawn


def test_a_county_is_written_with_its_depth() -> None:
    text = shown(bulletin())
    assert "Alder" in text
    assert WORDS.depth(27.94) in text
    assert "Brack" not in text


def test_there_is_no_chart_of_nothing() -> None:
    assert chart_png(evening(block_line("North")), WORDS) is None


def test_a_long_farm_gets_a_chart_that_can_be_read() -> None:
    text = shown(evening(*(block_line(f"B{n}", pulse("04:00", 30)) for n in range(60))))
    assert f"B{MOST_ROWS - 1} " in text
    assert f"B{MOST_ROWS} " not in text
