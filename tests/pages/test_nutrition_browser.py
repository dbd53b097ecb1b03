"""The page of a block's leaf and soil tests with everything on it, in a real browser."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page

from service.api.app import create_app
from tests.api.invented_farm import invented_service, plan_evening
from tests.chromium import assert_everybody_can_read
from tests.operations.nutrition.test_plan_nutrients import with_tests
from tests.pages.conftest import Reader
from tests.pages.test_nutrition import PAGE, leaf_form
from tests.web_server import serving

WIDTHS = (320, 390, 820)


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A server of its own with a block that was sampled in three years."""
    with invented_service(tmp_path_factory.mktemp("leaf")) as service, socket.socket() as listener:
        assert not plan_evening(service)
        app = create_app(with_tests(service))
        reader = Reader(app)
        for day, nitrogen in (("2023-08-02", "2.2"), ("2024-05-20", "1.9")):
            form = leaf_form(day=day, N=nitrogen)
            assert reader.send(PAGE, f"{PAGE}/plant", **form).status_code == 303
        listener.bind(("127.0.0.1", 0))
        with serving(app, listener):
            yield f"http://127.0.0.1:{listener.getsockname()[1]}"


@pytest.mark.parametrize("language", ["es", "en"])
def test_the_full_page_fits_every_screen_and_can_be_read_by_everybody(
    address: str, tab: Page, language: str
) -> None:
    tab.context.add_cookies([{"name": "rillwright-language", "value": language, "url": address}])
    tab.goto(f"{address}{PAGE}?nutrient=N&legal_cap=20")
    assert tab.locator("figure circle").count() == 3
    assert_everybody_can_read(tab, WIDTHS)
