"""Charts: the same drawing as a picture for mails and as a named, styleless SVG for pages."""

from __future__ import annotations

import io
from xml.etree import ElementTree

import pytest
from PIL import Image

from service.delivery.charts import MOST_ROWS, chart_png, chart_svg
from service.letters import Letter
from service.translations import wording
from tests.letters import block_line, bulletin, evening, pulse, weekly

WORDS = wording("en", "us")
LETTERS = (evening(), weekly(), bulletin())
SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("letter", LETTERS, ids=lambda letter: type(letter).__name__)
def test_a_picture_is_small_and_the_same_twice(letter: Letter) -> None:
    first, second = chart_png(letter, WORDS), chart_png(letter, WORDS)
    assert first is not None
    assert first == second
    assert len(first) < 20_000
    assert Image.open(io.BytesIO(first)).width > 600


@pytest.mark.parametrize("letter", LETTERS, ids=lambda letter: type(letter).__name__)
def test_an_svg_is_named_described_and_has_no_inline_style(letter: Letter) -> None:
    text = chart_svg(letter, WORDS, title="Tomorrow <1>", description="As in the table.")
    assert text is not None
    root = ElementTree.fromstring(text)
    assert root.get("role") == "img"
    assert root[0].tag == f"{SVG}title"
    assert root[0].text == "Tomorrow <1>"
    assert root[1].text == "As in the table."
    assert [e for e in root.iter() if e.get("style") or e.tag == f"{SVG}style"] == []
    assert root.get("viewBox")
    assert any(e.tag == f"{SVG}text" and e.get("font-size") for e in root.iter())
    assert text == chart_svg(letter, WORDS, title="Tomorrow <1>", description="As in the table.")
    assert len(text) < 40_000


def test_names_stand_in_the_svg_as_text() -> None:
    text = chart_svg(
        evening(block_line("$a_{b}$ & <c>", pulse("04:00", 30))), WORDS, title="t", description="d"
    )
    assert text is not None
    shown = "".join(ElementTree.fromstring(text).itertext())
    assert "$a_{b}$ & <c>" in shown
    assert "30 min" in shown


def test_there_is_no_chart_of_nothing() -> None:
    assert chart_png(evening(block_line("North")), WORDS) is None


def test_a_long_farm_gets_a_chart_that_can_be_read() -> None:
    letter = evening(*(block_line(f"B{n}", pulse("04:00", 30)) for n in range(60)))
    text = chart_svg(letter, WORDS, title="t", description="d")
    assert text is not None
    assert f"B{MOST_ROWS - 1}" in text
    assert f"B{MOST_ROWS}" not in text
