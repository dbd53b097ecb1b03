"""Signing in and stopping mails by keyboard alone, in a real browser.

Runs on SQLite only: a browser sees the same page whatever the database behind it, and what the
pages read and write is tested on both databases without one.
"""

from __future__ import annotations

import re
import socket
from collections.abc import Iterator
from dataclasses import dataclass, replace

import pytest
from playwright.sync_api import Browser, Page

from service.api.app import create_app
from service.bootstrap import Service, make_post
from service.operations.access.people import save_person
from service.operations.access.unsubscribe import new_token, token_digest
from service.operations.mail.send_mail import deliver
from service.records.mail import MailOrder, Person
from tests.api.invented_farm import PLAN_DAY, RUN_AT, invented_service
from tests.chromium import findings, new_context, tab_to
from tests.mail_relay import Relay, running_relay
from tests.pages.conftest import key_for
from tests.web_server import serving

ANA = "ana@example.org"
WIDTHS = (320, 1280)


@dataclass(frozen=True, slots=True)
class Site:
    """The service as a browser reaches it, with a relay for its mails."""

    address: str
    service: Service
    relay: Relay
    key: str


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """A server of its own on a free port of this machine, that sends mail."""
    with (
        invented_service(tmp_path_factory.mktemp("sign-in")) as made,
        running_relay() as relay,
        socket.socket() as listener,
    ):
        listener.bind(("127.0.0.1", 0))
        address = f"http://127.0.0.1:{listener.getsockname()[1]}"
        settings = made.settings.model_copy(
            update={
                "mail_host": "127.0.0.1",
                "mail_port": relay.port,
                "mail_security": "none",
                "mail_from": "plans@mail.example.org",
                "domain": "mail.example.org",
                "public_url": address,
            }
        )
        service = replace(made, settings=settings)
        key = key_for(service, "plan:read", "water:write")
        ana = Person(mail_address=ANA, name="Ana", receives=())
        save_person(ana, farm_ids=["test-farm"], unit_of_work=service.unit_of_work)
        with serving(create_app(service), listener):
            yield Site(address, service, relay, key)


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """Somebody who is not signed in."""
    context = new_context(browser, locale="en-US")
    yield context.new_page()
    context.close()


def looks_right(page: Page) -> None:
    """No scrolling to the side, nothing too small to touch, nothing grave for axe."""
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width, width
    small = page.evaluate(
        "[...document.querySelectorAll('button, input:not([type=hidden]):not([hidden])')]"
        ".filter(each => each.getBoundingClientRect().height < 24).length"
    )
    assert small == 0
    for scheme in ("dark", "light"):
        page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
        assert findings(page) == [], scheme


def test_by_keyboard_alone_a_key_signs_in(site: Site, page: Page) -> None:
    page.goto(f"{site.address}/farms/test-farm/weather")
    page.wait_for_url("**/sign-in?next=**")
    looks_right(page)
    tab_to(page, "#key")
    page.keyboard.type("rw_wrong")
    page.keyboard.press("Enter")
    page.wait_for_selector("#key-fault")
    tab_to(page, "#key")
    page.keyboard.type(site.key)
    page.keyboard.press("Enter")
    page.wait_for_url("**/farms/test-farm/weather")
    tab_to(page, "form[action='/sign-out'] button")
    page.keyboard.press("Enter")
    page.wait_for_url("**/sign-in")


def test_by_keyboard_alone_a_mailed_link_signs_in(site: Site, page: Page) -> None:
    page.goto(f"{site.address}/sign-in")
    tab_to(page, "#mail")
    page.keyboard.type("ana@nowhere")  # the browser lets it pass, the service does not
    page.keyboard.press("Enter")
    page.wait_for_selector("#mail-fault")
    looks_right(page)
    tab_to(page, "#mail")
    page.keyboard.press("Control+A")
    page.keyboard.type(ANA)
    page.keyboard.press("Enter")
    page.wait_for_url("**/sign-in?asked=1")
    assert "a link is on its way" in page.locator("[role=status]").inner_text()
    post = make_post(site.service, owner="first")
    assert post is not None
    assert deliver(replace(post, pause=lambda _seconds: None)).sent_count == 1
    body = site.relay.messages[-1].get_body(("plain",))
    assert body is not None
    found = re.search(rf"{re.escape(site.address)}/sign-in/mail/[\w-]+", body.get_content())
    assert found is not None
    page.goto(found[0])
    looks_right(page)
    tab_to(page, "main button")
    page.keyboard.press("Enter")
    page.wait_for_url("**/farms/test-farm/tomorrow")
    assert "Signed in as Ana." in page.locator("footer").inner_text()
    page.goto(found[0])
    assert "no longer works" in page.locator("h1").inner_text()
    looks_right(page)


def test_by_keyboard_alone_mails_are_stopped(site: Site, page: Page) -> None:
    bob = Person(mail_address="bob@example.org", name="Bob", language="es")
    save_person(bob, farm_ids=["test-farm"], unit_of_work=site.service.unit_of_work)
    token = new_token()
    with site.service.unit_of_work(write=True) as unit:
        (known,) = unit.people.list_people(mail_address="bob@example.org")
        order = MailOrder(
            person_key=known.person_key, farm_id="test-farm", plan_day=PLAN_DAY, kind="evening",
            expires_at=RUN_AT,
        )  # fmt: skip
        unit.outbox.queue([order], at=RUN_AT)
        (mail,) = unit.outbox.claim(owner="first", now=RUN_AT, lease_s=60, limit=1)
        unit.outbox.store_message(
            mail.mail_key, b"x", message_id="x", token_digest=token_digest(token)
        )
    page.goto(f"{site.address}/u/{token}")
    looks_right(page)
    tab_to(page, "main button")
    page.keyboard.press("Enter")
    page.wait_for_selector("[role=status]")
    assert "ya no recibe los planes" in page.locator("[role=status]").inner_text()
    looks_right(page)
    page.goto(f"{site.address}/u/unknown")
    looks_right(page)
