"""Mails as a telephone shows them: in a real browser, with pictures and without.

Mail programs differ from browsers in what they leave out, not in how they lay out what is there;
what is left out most often is pictures, so each mail is looked at with and without them.
"""

from __future__ import annotations

import base64
import os
from dataclasses import replace
from datetime import timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from service.agronomy.pulse_plan import ShortfallCause
from service.agronomy.reasoning import PlanFlag
from service.delivery.message import MailIdentity, compose
from service.records.letters import AnyLetter, SignInLetter
from tests.chromium import findings, new_context
from tests.letters import (
    DAY,
    STAMP,
    block_line,
    block_week,
    bulletin,
    evening,
    pulse,
    reader,
    sample_reminders,
    weekly,
)

IDENTITY = MailIdentity(
    sender_address="plans@mail.example.org",
    sender_name="Plans",
    domain="mail.example.org",
    reply_address="",
    public_url="https://farm.example.org",
)
WIDTH = 360
"""CSS pixels of a small telephone (common practice, no source)."""
LEAST_TEXT_PX = 14.0
LEAST_TARGET_PX = 24.0
"""WCAG 2.2, 2.5.8: height and width of what is touched, or as much room around it."""
PICTURES = os.environ.get("RILLWRIGHT_TEST_PICTURES", "")
"""A folder for screenshots, for whoever wants to look."""
LONG_NAME = "Arándanos del lado norte, junto al pozo viejo (Duke 2016)"

LETTERS: dict[str, AnyLetter] = {
    "evening": evening(
        block_line(LONG_NAME, pulse("04:00", 69), pulse("06:10", 69), pulse("08:20", 69)),
        block_line(
            "South",
            pulse("10:10", 1_110),
            flags=int(PlanFlag.FORECAST_MISSING),
            cause=int(ShortfallCause.SUPPLY),
            shortfall_mm=2.54,
            rain_credit_mm=5.08,
            volume_l=98_400.0,
        ),
        block_line("West", dry_day=DAY + timedelta(days=3)),
        block_line("Frambuesas", status="no-weather", numbers={}, outlook=(), volume_l=0.0),
        plan_version=2,
    ),
    "weekly": weekly(
        block_week(LONG_NAME, short_days_count=1, assumed_days_count=2, applied_l=1_234_567.0),
        block_week("South", raw_mm=None, depletion_end_mm=None),
        block_week("West", applied_mm=101.6, needed_mm=101.6, rain_mm=152.4),
        reminders=sample_reminders(LONG_NAME, "South"),
    ),
    "bulletin": replace(
        bulletin(),
        counties=(
            *bulletin().counties,
            replace(bulletin().counties[0], name="San Bernardino del Río Grande", rank=2),
        ),
    ),
    "sign-in": SignInLetter(lasts=timedelta(minutes=15)),
}


def shown(letter: AnyLetter, language: str, *, has_pictures: bool) -> str:
    """The HTML of a mail as a mail program puts it together from its parts."""
    unit_system = "us" if language == "en" else "si"
    who = reader(language=language, unit_system=unit_system)
    content = compose(letter, who, STAMP, identity=IDENTITY)
    message = message_from_bytes(content, policy=policy.default)
    assert isinstance(message, EmailMessage)
    body = message.get_body(("html",))
    assert body is not None
    # The fonts asked for are not installed here; DejaVu Sans is wider than each (from memory).
    html = str(body.get_content()).replace("font-family:Roboto", "font-family:DejaVu Sans")
    assert "DejaVu" in html
    for part in message.walk():
        if has_pictures and part.get_content_maintype() == "image":
            coded = base64.b64encode(part.get_content()).decode()
            cid = part["Content-ID"].strip("<>")
            assert f"cid:{cid}" in html
            html = html.replace(f"cid:{cid}", f"data:image/png;base64,{coded}")
    return html


@pytest.mark.parametrize("name", LETTERS)
@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("has_pictures", [True, False], ids=["pictures", "no-pictures"])
def test_a_mail_reads_well_on_a_small_telephone(
    browser: Browser, name: str, language: str, has_pictures: bool
) -> None:
    context = new_context(browser, viewport={"width": WIDTH, "height": 740}, is_mobile=True)
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.set_content(shown(LETTERS[name], language, has_pictures=has_pictures))
    page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
    if PICTURES:
        path = Path(PICTURES) / f"{name}-{language}-{'' if has_pictures else 'no-'}pictures.png"
        page.screenshot(path=path, full_page=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= WIDTH
    outside = page.evaluate(
        "width => [...document.querySelectorAll('body *')].filter(each => {"
        " const box = each.getBoundingClientRect(); return box.right > width || box.left < 0;"
        "}).map(each => each.outerHTML.slice(0, 120))",
        WIDTH,
    )
    assert outside == []
    small = page.evaluate(
        "least => { const found = []; const walker = document.createTreeWalker(document.body,"
        " NodeFilter.SHOW_TEXT); while (walker.nextNode()) { const text = walker.currentNode;"
        " const size = parseFloat(getComputedStyle(text.parentElement).fontSize);"
        " if (text.data.trim() && size < least) found.push([size, text.data.trim()]); }"
        " return found; }",
        LEAST_TEXT_PX,
    )
    assert small == []
    targets = page.evaluate(
        "least => [...document.links].filter(each => {"
        " const box = each.getBoundingClientRect(); return box.width < least ||"
        " box.height < least; }).map(each => each.outerHTML)",
        LEAST_TARGET_PX,
    )
    assert targets == []
    links = page.evaluate("[...document.links].map(each => each.href)")
    assert links and all(link.startswith(IDENTITY.public_url) for link in links)
    assert findings(page) == []
    pictures = page.evaluate(
        "[...document.images].map(each => [each.alt, each.complete && each.naturalWidth > 0])"
    )
    assert all(alt for alt, _ in pictures)
    if has_pictures:
        assert all(is_there for _, is_there in pictures)
    assert all(url.startswith("data:") or url.startswith("cid:") for url in asked)
    context.close()


DARK_GROUND = "rgb(18, 15, 10)"
"""--ground of the pages by night."""


@pytest.mark.parametrize("name", LETTERS)
def test_a_mail_is_as_easy_to_read_by_night(browser: Browser, name: str) -> None:
    context = new_context(
        browser, viewport={"width": 390, "height": 844}, is_mobile=True, color_scheme="dark"
    )
    page = context.new_page()
    page.set_content(shown(LETTERS[name], "en", has_pictures=True))
    page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
    if PICTURES:
        page.screenshot(path=Path(PICTURES) / f"{name}-dark.png", full_page=True)
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == DARK_GROUND
    assert findings(page) == []  # contrast among them
    context.close()


@pytest.mark.parametrize("language", ["en", "es"])
def test_without_pictures_no_number_is_missing(browser: Browser, language: str) -> None:
    context = new_context(browser, viewport={"width": WIDTH, "height": 740})
    page = context.new_page()
    texts = {}
    for has_pictures in (True, False):
        page.set_content(shown(LETTERS["evening"], language, has_pictures=has_pictures))
        texts[has_pictures] = page.locator("body").inner_text()
    assert texts[True] == texts[False]
    for minutes in ("69 min", "1,110 min"):
        assert minutes in texts[False]
    context.close()
