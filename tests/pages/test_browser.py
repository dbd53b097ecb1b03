"""Pages in a real browser without a window: layout, colours, keyboard, paper, and nothing outside.

Chromium is that of the distribution (``apt-get install chromium``); where there is none these tests
fail and say so, since nobody should believe that they ran.
"""

from __future__ import annotations

import re
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import product
from typing import Literal

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, Request

from service.api.app import create_app
from service.bootstrap import Service
from service.operations.reading.read_plans import get_plan
from service.pages.sheet import MOST_LINES
from tests.api.invented_farm import BLOCK_ID, PLAN_DAY, invented_service, load, plan_evening
from tests.chromium import findings, new_context
from tests.pages.addresses import addresses
from tests.pages.conftest import COUNTIES, bring_boundaries, farm_of_many
from tests.web_server import serving

WIDTHS = (320, 768, 1280)
PAGES = addresses(
    farm="test-farm", block=BLOCK_ID, supply="well", bare="later-farm", day=PLAN_DAY.isoformat()
)
MOST_TABS = 120
LOOKS: tuple[tuple[int, Literal["light", "dark"], bool], ...] = (
    (320, "light", False),
    (1280, "dark", True),
)
"""Width, colour scheme, and whether only colours are looked at."""
LEAST_TARGET_PX = 44
"""Of what is pressed outside running text, for a thumb in a glove."""
SMALL_TARGETS = f"""
[...document.querySelectorAll(
  'button, input:not([type=hidden]):not([hidden]):not([type=checkbox]), select, summary, .button,'
  + ' .top a, .things a, .choice a, .card h2 a, label.tick')]
.filter(each => each.checkVisibility() && each.getBoundingClientRect().height < {LEAST_TARGET_PX})
.map(each => each.outerHTML.slice(0, 120))
"""


@dataclass(frozen=True, slots=True)
class Site:
    """The service as a browser reaches it."""

    address: str
    service: Service


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """A server of its own on SQLite alone: other tests read the pages on both databases."""
    folder = tmp_path_factory.mktemp("browser")
    with invented_service(folder) as service, socket.socket() as listener:
        load(service, COUNTIES)
        bring_boundaries(service)
        listener.bind(("127.0.0.1", 0))
        with serving(create_app(service), listener):
            yield Site(f"http://127.0.0.1:{listener.getsockname()[1]}", service)


def _read_in(language: str, tab: Page, site: Site) -> None:
    tab.context.add_cookies(
        [{"name": "rillwright-language", "value": language, "url": site.address}]
    )


@pytest.mark.parametrize("name", PAGES)
def test_a_page_fits_every_screen_and_asks_nobody_else(site: Site, tab: Page, name: str) -> None:
    asked: list[str] = []
    messages: list[str] = []

    def note_request(request: Request) -> None:
        asked.append(request.url)

    def note_words(message: ConsoleMessage) -> None:
        messages.append(message.text)

    tab.on("request", note_request)
    tab.on("console", note_words)
    for language in ("es", "en"):
        _read_in(language, tab, site)
        tab.goto(site.address + PAGES[name])
        for width in WIDTHS:
            tab.set_viewport_size({"width": width, "height": 800})
            assert tab.evaluate("document.documentElement.scrollWidth") <= width, width
            assert tab.evaluate(SMALL_TARGETS) == [], width
    assert asked and all(url.startswith(site.address) for url in asked)
    assert [each for each in messages if "404" not in each] == []
    tab.remove_listener("request", note_request)
    tab.remove_listener("console", note_words)


@pytest.mark.parametrize("name", PAGES)
def test_a_page_can_be_read_by_everybody(site: Site, tab: Page, name: str) -> None:
    tab.goto(site.address + PAGES[name])
    # Rules of structure see no scheme, and those of colour no width: each is asked once.
    for width, scheme, colours_only in LOOKS:
        tab.set_viewport_size({"width": width, "height": 800})
        tab.emulate_media(media="null", color_scheme=scheme)
        assert findings(tab, colours_only=colours_only) == [], (width, scheme)
    tab.emulate_media(media="print", color_scheme="dark")
    assert tab.evaluate("document.documentElement.scrollWidth") <= WIDTHS[-1]
    assert findings(tab, colours_only=True) == []
    tab.emulate_media(media="null", color_scheme="light")


def test_a_page_works_without_javascript(site: Site, browser: Browser) -> None:
    context = new_context(browser, java_script_enabled=False)
    page = context.new_page()
    page.goto(site.address + PAGES["block"])
    page.locator("summary", has_text="An irrigation run").click()
    assert page.locator("#run-minutes").is_visible()
    context.close()


@pytest.mark.parametrize("depletion_mm", [0.0, 30.0], ids=["resting", "watered"])
@pytest.mark.parametrize("block_count", [12, 16, 60])
def test_the_sheet_fits_one_page_of_paper(
    site: Site, tab: Page, block_count: int, depletion_mm: float
) -> None:
    load(site.service, farm_of_many(block_count, depletion_mm=depletion_mm))
    assert plan_evening(site.service) == []
    for path, language in product(("/farms/many/sheet", PAGES["sheet"]), ("es", "en")):
        _read_in(language, tab, site)
        tab.goto(site.address + path)
        for paper in ("Letter", "A4"):
            content = tab.pdf(format=paper)
            assert len(re.findall(rb"/Type\s*/Page\b", content)) == 1, (path, language, paper)
        if path != PAGES["sheet"] and language == "en":
            # Few blocks are named after one word of their state, many have a line each.
            resting = block_count if block_count > MOST_LINES else 1
            assert tab.get_by_text("Rest", exact=True).count() == (0 if depletion_mm else resting)
    tab.emulate_media(media="print", color_scheme="dark")
    ground, ink = tab.evaluate(
        "[getComputedStyle(document.body).backgroundColor, getComputedStyle(document.body).color]"
    )
    assert (ground, ink) == ("rgb(255, 255, 255)", "rgb(0, 0, 0)")
    assert tab.locator("nav").is_hidden() and tab.locator(".box").first.is_visible()
    assert tab.locator(".choices").is_hidden()
    tab.emulate_media(media="null", color_scheme="light")


@pytest.mark.parametrize("name", ["log book", "reported runs", "forecast quality"])
def test_what_happened_is_printed_without_what_only_a_screen_can_do(
    site: Site, tab: Page, name: str
) -> None:
    for language in ("es", "en"):
        _read_in(language, tab, site)
        tab.goto(site.address + PAGES[name])
        for paper in ("Letter", "A4"):
            assert len(re.findall(rb"/Type\s*/Page\b", tab.pdf(format=paper))) == 1, paper
    tab.emulate_media(media="print", color_scheme="dark")
    assert tab.locator("button, input, select, .button").locator("visible=true").count() == 0
    assert "Test Farm" in tab.locator("main").inner_text()
    tab.emulate_media(media="null", color_scheme="light")


def test_the_first_five_seconds_show_the_next_valve_and_what_is_urgent(
    site: Site, tab: Page
) -> None:
    plan = get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=site.service.unit_of_work).plan
    minutes = dict(plan.pulses)[min(start for start, _ in plan.pulses)]
    tab.set_viewport_size({"width": 390, "height": 844})
    for language, word in (("en", "open first"), ("es", "abrir primero")):
        _read_in(language, tab, site)
        tab.goto(site.address + PAGES["tomorrow"])
        hero = tab.locator(".hero")
        assert word in hero.inner_text() and f"{minutes} min" in hero.inner_text()
        # The time is the largest thing on the page.
        sizes = tab.evaluate(
            "[...document.querySelectorAll('body *')].filter(e => e.checkVisibility())"
            ".map(e => [parseFloat(getComputedStyle(e).fontSize), e.className])"
        )
        assert max(sizes, key=lambda each: each[0])[1] == "time"
        for shown in (hero, *tab.locator(".alert").all(), tab.locator(".day tbody tr").first):
            box = shown.bounding_box()
            assert box is not None and box["y"] + box["height"] <= 844


def test_a_fault_takes_the_focus_and_its_link_leads_to_the_field(
    site: Site, browser: Browser
) -> None:
    with _page_of(browser) as page:
        page.goto(f"{site.address}/sign-in")
        page.fill("#key", "rw_wrong")
        page.locator("#key").press("Enter")
        page.wait_for_selector(".errors:focus")
        assert page.title().startswith("Error:")
        page.locator(".errors a").click()
        assert page.evaluate("document.activeElement.id") == "key"


def test_by_keyboard_alone_a_farm_is_set_up(site: Site, browser: Browser) -> None:
    context = new_context(browser)
    page = context.new_page()
    page.goto(site.address + "/farms?all=1")
    _tab_to(page, "a[href='/farms/new']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/farms/new")
    for field, text in (
        ("name", "Key Farm"),
        ("coordinates", "35.9 N, 79.2 W"),
        ("elevation", "500"),
    ):
        _type_into(page, field, text)
    page.keyboard.press("Enter")
    page.wait_for_url("**/farms/key-farm/supplies/new")
    _type_into(page, "flow", "40")
    page.keyboard.press("Enter")
    page.wait_for_url("**/blocks/new?*")
    for field, text in (
        ("name", "First"),
        ("crop", "Grapes, w"),
        ("area", "1"),
        ("row_spacing", "8"),
        ("emitter_spacing", "24"),
        ("emitter_flow", "0.5"),
    ):
        _type_into(page, field, text)
    page.keyboard.press("Enter")  # the first button: the preview, which stores nothing
    page.wait_for_selector("#preview")
    # 0.5 gph each 8 ft x 2 ft: one inch is 8 x 2 x 144 / 231 gal an emitter.
    assert f"{8 * 2 * 144 / 231 / 0.5:.1f} h" in page.locator("#preview").inner_text()
    _tab_to(page, "button[value=store]")
    page.keyboard.press("Enter")
    page.wait_for_url("**/farms/key-farm/soil-now?done=stored")
    assert "First" in page.locator("main").inner_text()
    context.close()


def test_by_keyboard_alone_rain_is_entered_and_the_plan_changes(
    site: Site, browser: Browser
) -> None:
    before = get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=site.service.unit_of_work).plan
    # The clock of this service is stopped in the summer of its invented weather.
    context = new_context(browser, locale="en-US")
    page = context.new_page()
    page.goto(site.address + PAGES["block"])
    _tab_to(page, "details:has(#rain-amount) > summary")
    page.keyboard.press("Enter")
    _type_into(page, "rain-amount", "0.6")
    page.keyboard.press("Enter")
    page.wait_for_url("**done=rain-changed")
    page.goto(site.address + PAGES["block"])
    after = get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=site.service.unit_of_work).plan
    assert after.version == before.version + 1
    assert f"{after.planned_min} min" in page.locator(".hero").inner_text()
    _tab_to(page, "a[href$='/tomorrow']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/tomorrow")
    assert f"{after.planned_min} min" in page.locator("main").inner_text()
    context.close()


def test_by_keyboard_alone_the_plan_is_read_down_to_its_reasons(
    site: Site, browser: Browser
) -> None:
    plan = get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=site.service.unit_of_work).plan
    with _page_of(browser) as page:
        page.goto(site.address + PAGES["tomorrow"])
        _tab_to(page, f"a[href^='/blocks/{BLOCK_ID}']")
        page.keyboard.press("Enter")
        page.wait_for_url(f"**/blocks/{BLOCK_ID}?date=*")
        shown = " ".join(page.locator("main").inner_text().split())
        assert f"{plan.planned_min} min" in shown
        _tab_to(page, "#why ~ details:has(ol) > summary")
        page.keyboard.press("Enter")
        assert "Minutes planned" in page.locator("#why ~ details ol").first.inner_text()
        _tab_to(page, "details:has(table) > summary")
        page.keyboard.press("Enter")
        assert page.locator("details:has(table) table").first.is_visible()
        _tab_to(page, "#why-date")


def test_by_keyboard_alone_a_run_is_entered(site: Site, browser: Browser) -> None:
    with _page_of(browser) as page:
        page.goto(site.address + PAGES["block"])
        _tab_to(page, "details:has(#run-minutes) > summary")
        page.keyboard.press("Enter")
        _type_into(page, "run-time", "0400AM")
        _type_into(page, "run-minutes", "35")
        page.keyboard.press("Enter")
        page.wait_for_url("**done=runs-*")
        assert "The run is saved." in page.locator("[role=status]").inner_text()
        page.goto(site.address + PAGES["block"])
        assert "a report" in page.locator("main").inner_text()


def test_by_keyboard_alone_a_block_is_paused_and_the_pause_taken_back(
    site: Site, browser: Browser
) -> None:
    with _page_of(browser) as page:
        page.goto(site.address + PAGES["block"])
        before = page.locator(".hero").inner_text()
        _tab_to(page, "details:has(#pause-reason) > summary")
        page.keyboard.press("Enter")
        _type_into(page, "pause-day", "07152026")
        _type_into(page, "pause-end-day", "07152026")
        _type_into(page, "pause-reason", "spraying")
        page.keyboard.press("Enter")
        page.wait_for_url("**done=pauses-changed")
        page.goto(site.address + PAGES["block"])
        assert "Paused" in page.locator(".head").inner_text()
        _tab_to(page, "form[action$='/cancel'] button")
        page.keyboard.press("Enter")
        page.wait_for_url("**done=pause-ended")
        page.goto(site.address + PAGES["block"])
        assert page.locator(".hero").inner_text() == before


def test_by_keyboard_alone_a_block_is_changed_and_one_retired(site: Site, browser: Browser) -> None:
    load(site.service, farm_of_many(3))
    with _page_of(browser) as page:
        page.goto(f"{site.address}/farms/many/setup")
        _tab_to(page, "a[href='/blocks/many.b1/edit']")
        page.keyboard.press("Enter")
        page.wait_for_url("**/many.b1/edit")
        _type_into(page, "name", "River side")
        _type_into(page, "area", "0.5")
        page.keyboard.press("Enter")  # the first button: the preview, which stores nothing
        page.wait_for_selector("#preview")
        _tab_to(page, "button[value=store]")
        page.keyboard.press("Enter")
        page.wait_for_url("**/many/setup?done=stored")
        assert "River side" in page.locator("main").inner_text()
        _tab_to(page, "a[href='/blocks/many.b2/edit']")
        page.keyboard.press("Enter")
        page.wait_for_url("**/many.b2/edit")
        _tab_to(page, "a[href='/blocks/many.b2/retire']")
        page.keyboard.press("Enter")
        page.wait_for_url("**/many.b2/retire")
        _tab_to(page, "main form button")
        page.keyboard.press("Enter")
        page.wait_for_url("**/many/setup?done=retired")
        assert page.locator("a[href='/blocks/many.b2']").count() == 0


def test_by_keyboard_alone_the_day_is_put_on_paper(site: Site, browser: Browser) -> None:
    with _page_of(browser) as page:
        page.goto(site.address + PAGES["tomorrow"])
        _tab_to(page, "a[href*='/sheet']")
        page.keyboard.press("Enter")
        page.wait_for_url("**/sheet?date=*")
        assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(format="Letter"))) == 1


def test_by_keyboard_alone_counties_are_compared(site: Site, browser: Browser) -> None:
    context = new_context(browser)
    page = context.new_page()
    page.goto(site.address + PAGES["counties"])
    first = page.locator("main").inner_text()
    _tab_to(page, "#crop")
    page.keyboard.press("ArrowUp")
    _tab_to(page, "main form button")
    page.keyboard.press("Enter")
    page.wait_for_url("**crop=**")
    assert page.locator("main").inner_text() != first
    assert page.locator("svg[role=img]").count() == 3
    _tab_to(page, "svg.map a")
    page.keyboard.press("Enter")
    assert page.locator("#week-table tr:target").count() == 1
    context.close()


@contextmanager
def _page_of(browser: Browser) -> Iterator[Page]:
    context = new_context(browser, locale="en-US")
    yield context.new_page()
    context.close()


def _tab_to(page: Page, selector: str) -> None:
    wanted = page.locator(selector).first
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        if wanted.evaluate("each => each === document.activeElement"):
            return
    raise AssertionError(f"the keyboard does not reach {selector}")


def _type_into(page: Page, field: str, text: str) -> None:
    _tab_to(page, f"#{field}")
    page.keyboard.type(text)
