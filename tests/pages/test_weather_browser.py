"""The page of the weather with a value that was set aside, in a real browser."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page

from service.api.app import create_app
from tests.api.invented_farm import FARM_ID, invented_service
from tests.chromium import assert_everybody_can_read
from tests.stormy_station import plan_beside_a_storm
from tests.web_server import serving


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A server of its own."""
    with invented_service(tmp_path_factory.mktemp("storm")) as service, socket.socket() as listener:
        plan_beside_a_storm(service)
        listener.bind(("127.0.0.1", 0))
        with serving(create_app(service), listener):
            yield f"http://127.0.0.1:{listener.getsockname()[1]}"


@pytest.mark.parametrize(("language", "heading"), [("en", "Set aside"), ("es", "Descartado")])
def test_what_was_set_aside_can_be_read_by_everybody(
    address: str, tab: Page, language: str, heading: str
) -> None:
    tab.context.add_cookies([{"name": "rillwright-language", "value": language, "url": address}])
    tab.goto(f"{address}/farms/{FARM_ID}/weather")
    assert tab.locator("h3", has_text=heading).count() == 1
    assert_everybody_can_read(tab, (390, 1366))
