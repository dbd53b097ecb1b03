"""The look that all pages share: its files, what is chosen, faults first, unknown addresses."""

from __future__ import annotations

import re

import pytest

from service.pages.look import font, font_path, style, style_path
from tests.pages.conftest import Reader
from tests.pages.well_formed import faults_of

LARGEST_STYLE_BYTES, LARGEST_FONT_BYTES = 25_000, 60_000
BROWSER = {"Accept": "text/html,application/xhtml+xml,*/*;q=0.8"}


def test_the_style_sheet_and_the_font_are_small_and_kept_for_good(looker: Reader) -> None:
    assert len(style()) < LARGEST_STYLE_BYTES and len(font()) < LARGEST_FONT_BYTES
    for path, media_type in (
        (style_path(), "text/css; charset=utf-8"),
        (font_path(), "font/woff2"),
    ):
        answer = looker.get(path)
        assert answer.headers["Content-Type"] == media_type
        assert answer.headers["Cache-Control"] == "public, max-age=31536000, immutable"
    assert font()[:4] == b"wOF2"


def test_the_licence_of_the_font_is_beside_it(looker: Reader) -> None:
    text = looker.get("/pages/font-licence.txt").text
    assert "SIL OPEN FONT LICENSE Version 1.1" in text and "Radio-Canada" in text


def test_the_packed_sheet_says_what_its_parts_say() -> None:
    sheet = style().decode()
    assert "/*" not in sheet and "  " not in sheet
    assert sheet.count("{") == sheet.count("}")
    # Spaces that mean something stay: in selectors, in sums, between values.
    assert ".foot form:not(.choices){" in sheet and "calc(-1 * 1rem)" in sheet


@pytest.mark.parametrize("token", ["--ground", "--ink", "--loam", "--rust", "--need-5"])
def test_day_and_night_have_the_same_tokens_and_no_rule_a_colour_of_its_own(token: str) -> None:
    sheet = style().decode()
    assert len(re.findall(rf"{token}:#", sheet)) >= 2
    rules = re.sub(r":root\{[^}]*\}", "", sheet)
    assert set(re.findall(r"#[0-9a-f]{3,6}\b(?=[;}])", rules)) <= {"#fff"}  # paper is white


def test_the_footer_shows_what_is_chosen(looker: Reader) -> None:
    page = looker.text("/farms/test-farm/tomorrow")
    pressed = re.findall(r'value="(\w+)"[^>]*aria-pressed="true"', page)
    assert pressed == ["en", "us"]
    assert re.search(r"<footer.*Farm shown: ", page, re.DOTALL)
    looker.send("/farms?all=1", "/reading", language="es")
    looker.send("/farms?all=1", "/reading", units="si")
    page = looker.text("/farms/test-farm/tomorrow")
    assert re.findall(r'value="(\w+)"[^>]*aria-pressed="true"', page) == ["es", "si"]


def test_faults_come_first_with_a_link_to_each_field_and_take_the_focus(looker: Reader) -> None:
    answer = looker.send("/farms/new", name="New", coordinates="95, -179", elevation="x")
    page = answer.text
    assert answer.status_code == 422 and "<title>Error: " in page
    summary = page.index('<div class="errors" role="alert" tabindex="-1" autofocus')
    assert summary < page.index("<h1>")
    linked = re.findall(r'<li><a href="#(\w+)">([^<:]+): ', page)
    assert {("coordinates", "Coordinates"), ("elevation", "Elevation")} <= set(linked)
    for field, _ in linked:
        assert re.search(rf'<(?:input|select) id="{field}"[^>]*aria-invalid="true"', page)
    assert f"{len(linked)} entries cannot be used" in page


@pytest.mark.parametrize(("language", "heading"), [("en", "Nothing here"), ("es", "Aquí no hay")])
def test_a_person_at_an_unknown_address_gets_a_page(
    looker: Reader, language: str, heading: str
) -> None:
    for path in ("/nowhere", "/farms/", "/pages/other.css"):
        answer = looker.get(path, headers={**BROWSER, "Accept-Language": language})
        assert answer.status_code == 404
        assert heading in answer.text and 'class="home"' in answer.text


def test_a_program_at_an_unknown_address_gets_a_problem_document(looker: Reader) -> None:
    for path, accept in (("/nowhere", "*/*"), ("/v1/nowhere", "text/html")):
        answer = looker.get(path, headers={"Accept": accept})
        assert answer.status_code == 404
        assert answer.headers["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize(
    ("accepted", "language"),
    [
        ("en;q=0.3, es-MX;q=0.9", "es"),
        ("de, fr;q=0.9, es;q=0.2", "es"),
        ("es;q=0, en;q=0.1", "en"),
        ("es;q=much", "en"),
        ("de", "en"),
        ("", "en"),
    ],
)
def test_the_language_is_what_the_browser_wants_most(
    looker: Reader, accepted: str, language: str
) -> None:
    page = looker.get("/sign-in", headers={"Accept-Language": accepted}).text
    assert f'<html lang="{language}">' in page


def test_a_link_of_a_mail_opens_in_the_language_and_units_of_its_reader(looker: Reader) -> None:
    page = looker.text("/farms/test-farm/tomorrow?language=es&units=si")
    assert '<html lang="es">' in page and not re.search(r"[0-9] (?:gal|in|pulg)\b", page)
    assert 'name="back" value="/farms/test-farm/tomorrow"' in page
    # And stays so on the pages after it.
    assert '<html lang="es">' in looker.text("/farms/test-farm/weather")
    looker.text("/farms/test-farm/tomorrow?language=xx&units=stone")
    assert '<html lang="es">' in looker.text("/farms/test-farm/weather")


def test_a_page_that_is_not_well_formed_is_noticed() -> None:
    page = '<p>one<div id="a" class="b" class="c"></div></p><label for="x">y</label><i id="a">'
    faults = " ".join(faults_of(page))
    for part in ("inside of <p>", "twice: ", "never closed", "id 'a' twice", "the id 'x'"):
        assert part in faults, part
    page = (
        "<!doctype html><html><title>a</title><main><h1>a</h1><h3>b</h3><ul>text<p>c</p></ul>"
        '<table><tr><td>d</td></tr></table><a href="/"><button>e</button></a><input id="f" '
        'type="text"><span><div>g</div></span></main></html>'
    )
    faults = " ".join(faults_of(page))
    for part in (
        "<!doctype html>", "level 3 after one of 1", "text in <ul>", "<p> directly inside of <ul>",
        "<tr> directly inside of <table>", "<button> inside of <a>", "<button> without a type",
        "'f' has no label", "<div> inside of <span>",
    ):  # fmt: skip
        assert part in faults, part
    assert faults_of('<p id="a">one<br><svg><path d=""/></svg> <a href="#a">two</a></p>') == []


def test_a_page_that_fails_says_what_is_kept_and_offers_to_try_again(
    looker: Reader, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fail(*_: object, **_names: object) -> None:
        raise RuntimeError("a secret of the inside")

    monkeypatch.setattr("service.pages.tomorrow.day_view", fail)
    answer = looker.get("/farms/test-farm/tomorrow")
    assert answer.status_code == 500 and "This page could not be made" in answer.text
    assert 'href="/farms/test-farm/tomorrow"' in answer.text
    assert "secret of the inside" not in answer.text
    assert "secret of the inside" in caplog.text
