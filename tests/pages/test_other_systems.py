"""The page of other systems: one more, its secret once, a test, and what is wrong."""

from __future__ import annotations

import re
import socket
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page
from sqlalchemy.engine import URL

from service.api.app import create_app
from service.bootstrap import Service
from service.operations.access.manage_keys import Right
from service.pages.other_systems import KINDS, STATES
from service.records.events import DeliveryState, EventKind
from tests.api.invented_farm import FARM_ID, copied_service
from tests.chromium import assert_everybody_can_read
from tests.event_farm import EventFarm, with_events
from tests.pages.conftest import Reader, key_for
from tests.web_server import serving
from tests.webhook_receiver import Answer, running_receiver

PAGE = f"/farms/{FARM_ID}/other-systems"


@pytest.fixture
def telling(own_service: Service) -> Service:
    return with_events(own_service)


@pytest.fixture
def office(telling: Service) -> Reader:
    reader = Reader(create_app(telling))
    reader.sign_in(key_for(telling, Right.FARM_WRITE, Right.PLAN_READ))
    return reader


def add(office: Reader, url: str, **more: str) -> str:
    form = {"subscription_id": "office", "url": url, "kind_block.paused": "yes", **more}
    return office.send(PAGE, PAGE, **form).text


def test_every_kind_and_state_has_a_word() -> None:
    assert set(KINDS) == set(EventKind) and set(STATES) == set(DeliveryState)


def test_a_system_is_added_and_its_secret_shown_once(office: Reader) -> None:
    shown = add(office, "https://office.example.org/events", note="bookkeeping")
    (secret,) = re.findall(r"whsec_[A-Za-z0-9+/=]+", shown)
    page = office.text(PAGE)
    assert secret not in page and "whsec_" not in page
    assert "https://office.example.org/events" in page and "bookkeeping" in page
    assert "Notified when: a block is paused." in page
    renewed = office.send(PAGE, PAGE, act="rotate", name="office").text
    assert "whsec_" in renewed and secret not in renewed


def test_a_test_is_sent_and_what_fails_is_said_and_sent_again(
    office: Reader, telling: Service
) -> None:
    farm = EventFarm(telling, telling.clock, "")  # type: ignore[arg-type]  # a fixed clock
    with running_receiver() as receiver:
        receiver.answer = lambda _: Answer(410)
        add(office, receiver.url)
        assert office.send(PAGE, PAGE, act="test", name="office").is_redirect
        farm.deliver()
        page = office.text(PAGE)
        assert "Off since" in page and "gone for good" in page and "given up" in page
        assert "Send a test" not in page
        office.send(PAGE, PAGE, act="switch", name="office")
        receiver.answer = lambda _: Answer()
        office.send(PAGE, PAGE, act="resend", name="office")
        assert farm.deliver().delivered_count == 1
    assert "taken" in office.text(PAGE)


def test_a_system_is_removed(office: Reader) -> None:
    add(office, "https://office.example.org/")
    office.send(PAGE, PAGE, act="remove", name="office")
    assert "No system is notified yet." in office.text(PAGE)


def test_slips_come_back_beside_their_fields(office: Reader) -> None:
    answer = office.send(PAGE, PAGE, subscription_id="Office!", url="http://10.0.0.1/")
    assert answer.status_code == 422
    for field in ("subscription_id", "url", "kinds"):
        assert f'id="{field}-fault"' in answer.text


def test_an_operator_who_set_no_secret_is_named(own_service: Service) -> None:
    reader = Reader(create_app(own_service))
    reader.sign_in(key_for(own_service, Right.FARM_WRITE))
    assert "RILLWRIGHT_EVENT_SECRET" in reader.text(PAGE)
    assert "RILLWRIGHT_EVENT_SECRET" in add(reader, "https://office.example.org/")


def test_who_may_not_change_the_farm_sees_no_addresses(telling: Service) -> None:
    reader = Reader(create_app(telling))
    reader.sign_in(key_for(telling, Right.PLAN_READ, Right.WATER_WRITE))
    assert reader.get(PAGE).status_code in (403, 404)


def test_the_page_is_in_spanish_too(office: Reader) -> None:
    add(office, "https://office.example.org/")
    office.headers = {"Accept-Language": "es"}
    page = office.text(PAGE)
    assert "Otros sistemas" in page and "Recibe aviso cuando: se pausa un bloque." in page


@pytest.fixture(scope="module")
def address(planned_database: URL, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A server without a key, on which one receiver fails."""
    folder = tmp_path_factory.mktemp("told")
    with copied_service(planned_database, folder) as plain, socket.socket() as listener:
        service = with_events(plain)
        app = create_app(service)
        with running_receiver() as receiver:
            receiver.answer = lambda _: Answer(500, body=b"out of order")
            add(Reader(app), receiver.url, note="bookkeeping")
            farm = EventFarm(service, service.clock, "")  # type: ignore[arg-type]  # fixed
            farm.happen("test-farm.north")
            farm.deliver()
        listener.bind(("127.0.0.1", 0))
        with serving(app, listener):
            yield f"http://127.0.0.1:{listener.getsockname()[1]}"


@pytest.mark.parametrize("language", ["es", "en"])
def test_everybody_can_read_the_page(address: str, tab: Page, language: str) -> None:
    tab.context.add_cookies([{"name": "rillwright-language", "value": language, "url": address}])
    tab.goto(f"{address}{PAGE}")
    assert tab.locator("main table").count() == 1
    assert_everybody_can_read(tab, (320, 390, 1366))
