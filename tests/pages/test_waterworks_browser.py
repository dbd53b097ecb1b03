"""The page of a block's pipes and water with everything on it, in a real browser."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page

from service.api.app import create_app
from tests.api.invented_farm import invented_service, load, plan_evening
from tests.api.test_waterworks import BLOCK, CAUGHT, PIPED_FARM
from tests.chromium import assert_everybody_can_read, tab_to
from tests.invented_summers import import_last_summer
from tests.pages.conftest import Reader
from tests.pages.test_waterworks import ORDER, PAGE, SAMPLE, SITE, meter_runs
from tests.web_server import serving

WIDTHS = (320, 768, 1280)
QUESTION = "capacity=1"
ACID_PAGE = f"/blocks/{BLOCK}/acid"


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A server of its own with a block of which everything is known."""
    with invented_service(tmp_path_factory.mktemp("piped")) as service, socket.socket() as listener:
        load(service, PIPED_FARM.replace("[[supply]]", SITE + "[[supply]]", 1))
        import_last_summer(service)
        assert not plan_evening(service)
        app = create_app(service)
        reader = Reader(app)
        volumes = " ".join(str(each) for each in CAUGHT)
        for action, fields in (
            ("catch-tests", {"day": "2026-07-13", "volumes": volumes}),
            ("water-samples", SAMPLE),
            ("fertigations", ORDER),
        ):
            assert reader.send(PAGE, f"{PAGE}/{action}", **fields).status_code == 303
        meter_runs(service, 60, share=0.8)
        listener.bind(("127.0.0.1", 0))
        with serving(app, listener):
            yield f"http://127.0.0.1:{listener.getsockname()[1]}"


@pytest.mark.parametrize("language", ["es", "en"])
def test_the_full_page_fits_every_screen_and_can_be_read_by_everybody(
    address: str, tab: Page, language: str
) -> None:
    tab.context.add_cookies([{"name": "rillwright-language", "value": language, "url": address}])
    tab.goto(f"{address}{PAGE}?{QUESTION}")
    assert tab.locator("main svg.chart").count() == 3
    assert_everybody_can_read(tab, WIDTHS)


@pytest.mark.parametrize("language", ["es", "en"])
def test_the_full_page_of_acid_fits_every_screen_and_can_be_read_by_everybody(
    address: str, tab: Page, language: str
) -> None:
    tab.context.add_cookies([{"name": "rillwright-language", "value": language, "url": address}])
    asked = "acid=sulfuric&strength=93&ph=6&minutes=30&tank=20&injections=9&price=8&price_per=gal"
    tab.goto(f"{address}{ACID_PAGE}?{asked}&passes_plastic=yes")
    assert tab.locator("ol.numbered li").count() == 6
    assert_everybody_can_read(tab, WIDTHS)


def test_by_keyboard_alone_acid_is_estimated_with_its_cautions(address: str, tab: Page) -> None:
    tab.set_viewport_size({"width": 320, "height": 800})
    tab.goto(address + ACID_PAGE)
    tab_to(tab, "#acid-ph")
    tab.keyboard.press("Control+A")
    tab.keyboard.type("6.0")
    tab.keyboard.press("Enter")
    tab.wait_for_url("**acid=sulfuric**")
    shown = tab.locator("main").inner_text()
    assert "To pH 6.0" in shown and "never water to acid" in shown
