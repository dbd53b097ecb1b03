"""The way out of the mails: a page that only looks, and one click that acts (RFC 8058)."""

from __future__ import annotations

import logging
import re
from dataclasses import dataclass, replace

import pytest

from service.api.app import create_app
from service.bootstrap import Service
from service.operations.access.people import save_person
from service.operations.access.unsubscribe import new_token, token_digest
from service.pages.visit import POLICY
from service.records.mail import MailOrder, Person
from tests.api.invented_farm import PLAN_DAY, RUN_AT
from tests.pages.conftest import Reader, key_for

ONE_CLICK = {"List-Unsubscribe": "One-Click"}


@dataclass(frozen=True, slots=True)
class Sent:
    """A mail that went out, and the service that sent it."""

    service: Service
    path: str
    key: str

    def reader(self) -> Reader:
        return Reader(create_app(self.service))

    @property
    def receives(self) -> tuple[str, ...]:
        with self.service.unit_of_work(write=False) as unit:
            (known,) = unit.people.list_people()
        return known.person.receives


@pytest.fixture(params=["evening", "weekly"])
def sent(request: pytest.FixtureRequest, service: Service) -> Sent:
    """A Spanish reader's mail of either list; the service itself asks for keys."""
    key = key_for(service, "plan:read", farm_id=None)
    ana = Person(mail_address="ana@example.org", name="Ana", language="es")
    save_person(ana, farm_ids=["test-farm"], unit_of_work=service.unit_of_work)
    token = new_token()
    with service.unit_of_work(write=True) as unit:
        (known,) = unit.people.list_people()
        order = MailOrder(
            person_key=known.person_key,
            farm_id="test-farm",
            plan_day=PLAN_DAY,
            kind=request.param,
            expires_at=RUN_AT,
        )
        unit.outbox.queue([order], at=RUN_AT)
        (mail,) = unit.outbox.claim(owner="first", now=RUN_AT, lease_s=60, limit=1)
        unit.outbox.store_message(
            mail.mail_key, b"x", message_id="x", token_digest=token_digest(token)
        )
    return Sent(service, f"/u/{token}", key)


def test_looking_changes_nothing_and_says_in_the_readers_language_what_would_stop(
    sent: Sent,
) -> None:
    reader = sent.reader()
    reader.headers["Accept-Language"] = "en"
    for _ in range(2):
        answer = reader.get(sent.path)
        assert answer.status_code == 200
        assert (
            '<html lang="es">' in answer.text and "ana@example.org ya no recibiría" in answer.text
        )
        assert answer.text.count('<button type="submit">') == 1
    head = reader.request("HEAD", sent.path)
    assert (head.status_code, head.content) == (200, b"")
    assert sent.receives == ("evening", "weekly")
    assert answer.headers["Content-Security-Policy"] == POLICY
    assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert answer.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize(
    "body",
    [
        {"data": ONE_CLICK},
        {"files": {"List-Unsubscribe": (None, "One-Click")}},  # multipart, RFC 8058 section 3.2
        {},
    ],
)
def test_one_click_stops_the_mails_at_once_without_cookie_or_form(
    sent: Sent, body: dict[str, object]
) -> None:
    kind = "evening" if "de la noche" in sent.reader().text(sent.path) else "weekly"
    answer = sent.reader().request("POST", sent.path, **body)
    assert answer.status_code == 200 and "ya no recibe" in answer.text
    assert "set-cookie" not in answer.headers
    assert sent.receives == (("weekly",) if kind == "evening" else ("evening",))
    again = sent.reader().request("POST", sent.path, **body)
    assert again.status_code == 200 and "ya no recibe" in again.text
    assert '<button type="submit">' not in sent.reader().get(sent.path).text


def test_the_button_of_the_page_does_what_one_click_does(sent: Sent) -> None:
    reader = sent.reader()
    page = reader.get(sent.path).text
    (form,) = re.findall(
        r'<form method="post"><input type="hidden" name="(.+?)" value="(.+?)">', page
    )
    assert reader.request("POST", sent.path, data=dict([form])).status_code == 200
    assert len(sent.receives) == 1


@pytest.mark.parametrize("token", ["x", "0" * 22, "%27%20OR%201=1", "a" * 500, "%00"])
def test_a_token_that_is_not_known_gives_a_friendly_page(sent: Sent, token: str) -> None:
    for method in ("GET", "POST"):
        answer = sent.reader().request(method, f"/u/{token}")
        assert answer.status_code == 404
        assert "Unknown link" in answer.text and "<form" not in answer.text
    assert sent.receives == ("evening", "weekly")


def test_the_page_is_counted_by_address(sent: Sent) -> None:
    settings = sent.service.settings.model_copy(
        update={"requests_per_address": "2/minute", "requests_per_key": "2/minute"}
    )
    reader = Reader(create_app(replace(sent.service, settings=settings)))
    answers = [reader.request("POST", "/u/guess") for _ in range(4)]
    assert [answer.status_code for answer in answers] == [404, 404, 429, 429]
    assert "<h1>Too many requests</h1>" in answers[-1].text
    assert 1 <= int(answers[-1].headers["Retry-After"]) <= 60
    assert "default-src" in answers[-1].headers["Content-Security-Policy"]
    assert int(answers[-1].headers["Retry-After"]) >= 1


def test_no_token_is_in_the_numbers_or_the_log(
    sent: Sent, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG, logger="service")
    reader = sent.reader()
    reader.get(sent.path)
    reader.request("POST", sent.path)
    reader.get("/u/nobody-knows-this")
    numbers = reader.get("/metrics", headers={"Authorization": f"Bearer {sent.key}"}).text
    assert "/u/{token}" in numbers
    for text in (numbers, caplog.text):
        assert sent.path.rpartition("/")[2] not in text
        assert "nobody-knows-this" not in text and "ana@example.org" not in text
