"""Chromium of the distribution, without a window, and what every test in it looks at.

Where there is none (``apt-get install chromium``) these tests fail and say so, since nobody should
believe that they ran.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from tests.patience import PATIENCE_S

AXE = Axe()
NAMES = ("chromium", "chromium-browser", "google-chrome")
MOST_TABS = 80

STEP_MS = 20_000.0
"""How long a step of a journey may take before the journey fails; it takes a tenth of a second, or
a second where the farm is planned. Longer patience would cost a whole run minutes for each journey
that is broken, since a missing button is waited for like a slow one."""


@contextmanager
def open_chromium() -> Iterator[Browser]:
    """One browser; only one may be open at a time in a process."""
    found = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), None)
    assert found is not None, "no Chromium: install it (apt-get install chromium) or set CHROMIUM"
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(
            executable_path=found, args=["--no-sandbox"], timeout=1000.0 * PATIENCE_S
        )
        yield opened
        opened.close()


def new_context(browser: Browser, **options: Any) -> BrowserContext:
    """Somebody's browser with nothing in it."""
    made = browser.new_context(**options)
    made.set_default_timeout(STEP_MS)
    return made


def findings(page: Page, *, colours_only: bool = False) -> list[tuple[str, str]]:
    """Everything that axe finds fault with, with the first place of each.

    The script of half a megabyte is sent once to a page and stays until the page is left.
    """
    if not page.evaluate("typeof axe === 'object'"):
        page.evaluate(AXE.axe_script)
    rules = {"runOnly": ["color-contrast"]} if colours_only else {}
    found = page.evaluate("options => axe.run(options)", {"resultTypes": ["violations"], **rules})
    return [(each["id"], each["nodes"][0]["html"]) for each in found["violations"]]


def assert_everybody_can_read(page: Page, widths: Sequence[int]) -> None:
    """The opened page, unfolded, fits screens of these widths and axe finds nothing.

    It is looked at by day and by night, on the narrowest screen.
    """
    for summary in page.locator("summary").all():
        summary.click()
    for width in (*widths, min(widths)):
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width, width
    assert findings(page) == []
    page.emulate_media(color_scheme="dark")
    assert findings(page) == []
    page.emulate_media(color_scheme="light")


def tab_to(page: Page, selector: str) -> None:
    """Go on by the tabulator key until something has the focus."""
    wanted = page.locator(selector).first
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        if wanted.evaluate("each => each === document.activeElement"):
            return
    raise AssertionError(f"the keyboard does not reach {selector}")
