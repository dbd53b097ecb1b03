"""Pages in a real browser without a window: layout, colours, keyboard, paper, and nothing outside.

Chromium is that of the distribution (``apt-get install chromium``); where there is none these tests
fail and say so, since nobody should believe that they ran.
"""

from __future__ import annotations

import os
import re
import shutil
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright

from service.api.app import create_app
from service.bootstrap import Service
from service.operations.read_plans import get_plan
from tests.api.invented_farm import BLOCK_ID, PLAN_DAY, invented_service, load, plan_evening
from tests.pages.conftest import COUNTIES, farm_of_many

WIDTHS = (320, 768, 1280)
PAGES = {
    "tomorrow": "/farms/test-farm/tomorrow",
    "sheet": "/farms/test-farm/sheet",
    "block": f"/blocks/{BLOCK_ID}",
    "weather": "/farms/test-farm/weather",
    "counties": "/counties",
    "setup": "/farms/test-farm/setup",
    "new farm": "/farms/new",
    "new block": "/farms/test-farm/blocks/new",
    "farms": "/farms?all=1",
    "sign in": "/sign-in",
}
GRAVE = {"serious", "critical"}
MOST_TABS = 80


@dataclass(frozen=True, slots=True)
class Site:
    """The service as a browser reaches it."""

    address: str
    service: Service


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """A server of its own on a free port of this machine."""
    with invented_service(tmp_path_factory.mktemp("browser")) as service:
        load(service, COUNTIES)
        listener = socket.socket()
        listener.bind(("127.0.0.1", 0))
        server = uvicorn.Server(
            uvicorn.Config(create_app(service), log_level="warning", ws="none", lifespan="off")
        )
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        deadline = time.monotonic() + 20
        while not server.started and time.monotonic() < deadline:
            threading.Event().wait(0.05)
        assert server.started
        yield Site(f"http://127.0.0.1:{listener.getsockname()[1]}", service)
        server.should_exit = True
        thread.join(20)
        listener.close()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Chromium of the distribution."""
    names = ("chromium", "chromium-browser", "google-chrome")
    found = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, names)), None)
    assert found is not None, "no Chromium: install it (apt-get install chromium) or set CHROMIUM"
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.mark.parametrize("name", PAGES)
def test_a_page_fits_every_screen_and_asks_nobody_else(
    site: Site, browser: Browser, name: str
) -> None:
    context = browser.new_context()
    page = context.new_page()
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.goto(site.address + PAGES[name])
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width, width
    small = page.evaluate(
        "[...document.querySelectorAll('button, input:not([type=hidden]):not([hidden]), select,"
        " summary, .button')].filter(each => each.checkVisibility()"
        " && each.getBoundingClientRect().height < 24).length"
    )
    assert small == 0
    assert all(url.startswith(site.address) for url in asked)
    assert said == []
    for width, scheme in ((320, "dark"), (1280, "light")):
        page.set_viewport_size({"width": width, "height": 800})
        page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
        found = Axe().run(page).response["violations"]
        grave = [
            (each["id"], each["nodes"][0]["html"]) for each in found if each["impact"] in GRAVE
        ]
        assert grave == [], (width, scheme)
    context.close()


def test_a_page_works_without_javascript(site: Site, browser: Browser) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(site.address + PAGES["block"])
    page.locator("summary", has_text="A run").click()
    assert page.locator("#run-minutes").is_visible()
    context.close()


def test_the_sheet_fits_one_page_of_paper(site: Site, browser: Browser) -> None:
    load(site.service, farm_of_many(60))
    assert plan_evening(site.service) == []
    context = browser.new_context()
    page = context.new_page()
    for path in ("/farms/many/sheet", PAGES["sheet"]):
        page.goto(site.address + path)
        for paper in ("Letter", "A4"):
            content = page.pdf(format=paper)
            assert len(re.findall(rb"/Type\s*/Page\b", content)) == 1, (path, paper)
    page.emulate_media(media="print", color_scheme="dark")
    ground, ink = page.evaluate(
        "[getComputedStyle(document.body).backgroundColor, getComputedStyle(document.body).color]"
    )
    assert (ground, ink) == ("rgb(255, 255, 255)", "rgb(0, 0, 0)")
    assert page.locator("nav").is_hidden() and page.locator(".box").first.is_visible()
    context.close()


def test_by_keyboard_alone_a_farm_is_set_up(site: Site, browser: Browser) -> None:
    context = browser.new_context()
    page = context.new_page()
    page.goto(site.address + "/farms?all=1")
    _tab_to(page, "a[href='/farms/new']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/farms/new")
    for field, text in (
        ("name", "Key Farm"),
        ("latitude", "35.9"),
        ("longitude", "-79.2"),
        ("elevation", "500"),
        ("flow", "40"),
    ):
        _type_into(page, field, text)
    page.keyboard.press("Enter")
    page.wait_for_url("**/farms/key-farm/setup")
    _tab_to(page, "a[href$='/blocks/new']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/blocks/new")
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
    page.wait_for_url("**/farms/key-farm/setup")
    assert "First" in page.locator("main").inner_text()
    context.close()


def test_by_keyboard_alone_rain_is_entered_and_the_plan_changes(
    site: Site, browser: Browser
) -> None:
    before = get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=site.service.unit_of_work).plan
    # The service of this test stands still in the summer of its invented weather.
    context = browser.new_context(locale="en-US")
    page = context.new_page()
    page.goto(site.address + PAGES["block"])
    _tab_to(page, "details:has(#rain-amount) > summary")
    page.keyboard.press("Enter")
    _type_into(page, "rain-amount", "0.6")
    page.keyboard.press("Enter")
    page.wait_for_url("**done=rain-changed")
    after = get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=site.service.unit_of_work).plan
    assert after.version == before.version + 1
    assert f"{after.planned_min} min" in page.locator(".big").first.inner_text()
    _tab_to(page, "a[href$='/tomorrow']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/tomorrow")
    assert f"{after.planned_min} min" in page.locator("main").inner_text()
    context.close()


def test_by_keyboard_alone_counties_are_compared(site: Site, browser: Browser) -> None:
    context = browser.new_context()
    page = context.new_page()
    page.goto(site.address + PAGES["counties"])
    first = page.locator("main").inner_text()
    _tab_to(page, "#crop")
    page.keyboard.press("ArrowUp")
    _tab_to(page, "main form button")
    page.keyboard.press("Enter")
    page.wait_for_url("**crop=**")
    assert page.locator("main").inner_text() != first
    assert page.locator("svg[role=img]").count() == 2
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
