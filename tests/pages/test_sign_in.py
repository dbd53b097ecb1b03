"""Signing in by a mailed link, through a real relay: who gets in, how far, and who does not."""

from __future__ import annotations

import hashlib
import logging
import re
from dataclasses import dataclass, replace
from datetime import timedelta
from email.message import EmailMessage

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import event, select
from sqlalchemy.engine import Engine

from service.api.app import create_app
from service.bootstrap import Service, make_post
from service.database.engine import make_engine
from service.database.tables import metadata
from service.errors import InputInvalid
from service.operations.access.manage_keys import Right
from service.operations.access.people import remove_person, save_person
from service.operations.access.sign_in_links import (
    LINK_LASTS,
    MOST_LINKS,
    ask_for_link,
    find_holder,
)
from service.operations.mail.send_mail import PostOutcome, deliver
from service.pages.mount import LINKED_PAGES
from service.pages.sessions import LASTS, LONGEST_COOKIE, Seals
from service.records.letters import SIGN_IN_LINK
from service.records.mail import Person
from tests.api.invented_farm import BLOCK_ID, RUN_AT, FixedClock
from tests.mail_relay import Relay
from tests.pages.conftest import Reader, key_for

ANA = "ana@example.org"
PUBLIC_URL = "https://farm.example.org"
LINKS = [(method, path) for method, path, _ in LINKED_PAGES if path.startswith(SIGN_IN_LINK)]
LINK = re.compile(r"https?://[^\s\"<]+/sign-in/mail/([\w-]+)")


@dataclass(slots=True)
class Mailed:
    """A service that sends mail, and the relay that takes it."""

    service: Service
    clock: FixedClock
    relay: Relay
    app: FastAPI
    key: str
    """The operator's."""

    def add(
        self, mail_address: str, *farm_ids: str, name: str = "Ana", language: str = "en"
    ) -> None:
        """Somebody among the people of these farms, on no list; of none: an adviser."""
        person = Person(
            mail_address=mail_address,
            name=name,
            language=language,
            role="grower" if farm_ids else "adviser",
            receives=(),
        )
        save_person(person, farm_ids=farm_ids, unit_of_work=self.service.unit_of_work)

    def send(self) -> PostOutcome:
        """One round of the sender."""
        post = make_post(self.service, owner="first")
        assert post is not None
        return deliver(replace(post, pause=lambda _seconds: None))

    def reader(self) -> Reader:
        """Somebody at a browser."""
        return Reader(self.app, origin=PUBLIC_URL)

    def start_again(self) -> None:
        """Another process of the same service."""
        self.app = create_app(self.service)

    def last_token(self) -> str:
        """The token of the mail that came last."""
        found = LINK.search(text_of(self.relay.messages[-1]))
        assert found is not None
        return found[1]

    def link_for(self, reader: Reader, mail_address: str = ANA) -> str:
        """Ask for a link, have it sent, and read its path in the mail."""
        assert asked(reader, mail_address).status_code == 303
        self.send()
        return f"/sign-in/mail/{self.last_token()}"

    def signed_in(self, mail_address: str = ANA) -> Reader:
        """Somebody who came by a link."""
        reader = self.reader()
        assert reader.send(self.link_for(reader, mail_address)).status_code == 303
        return reader


@pytest.fixture
def mailed(service: Service, relay: Relay) -> Mailed:
    settings = service.settings.model_copy(
        update={
            "mail_host": "127.0.0.1",
            "mail_port": relay.port,
            "mail_security": "none",
            "mail_from": "plans@mail.example.org",
            "domain": "mail.example.org",
            "public_url": PUBLIC_URL,
        }
    )
    clock = FixedClock()
    made = replace(service, settings=settings, clock=clock)
    key = key_for(made, "plan:read", farm_id=None)  # closes the service to this machine
    return Mailed(made, clock, relay, create_app(made), key)


def text_of(message: EmailMessage, kind: str = "plain") -> str:
    body = message.get_body((kind,))
    assert body is not None
    return str(body.get_content())


def asked(reader: Reader, mail_address: str) -> httpx.Response:
    return reader.send("/sign-in", "/sign-in/mail", mail=mail_address)


def session_cookie(answer: httpx.Response) -> str:
    return next(each for each in answer.headers.get_list("set-cookie") if "session=" in each)


def is_out(reader: Reader, path: str = "/farms/test-farm/tomorrow") -> bool:
    return str(reader.get(path).headers.get("Location")).startswith("/sign-in?next=")


# --- the way in ----------------------------------------------------------------------------------


def test_a_grower_asks_opens_the_mail_and_is_at_their_own_farm_alone(mailed: Mailed) -> None:
    mailed.add(ANA, "test-farm")
    reader = mailed.reader()
    answer = asked(reader, ANA)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/sign-in?asked=1")
    assert "a link is on its way" in reader.text("/sign-in?asked=1")
    assert mailed.send().sent_count == 1
    assert mailed.relay.recipients == [ANA]
    link = f"/sign-in/mail/{mailed.last_token()}"
    assert f"{PUBLIC_URL}{link}" in text_of(mailed.relay.messages[0], "html")
    shown = reader.get(link)
    assert shown.status_code == 200
    assert shown.text.count('<button type="submit">') == 1 and ANA in shown.text
    assert shown.headers["Referrer-Policy"] == "no-referrer"
    assert is_out(reader)  # looking is not signing in
    answer = reader.send(link)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/farms")
    cookie = session_cookie(answer)
    assert "HttpOnly" in cookie and "samesite=lax" in cookie.lower() and "Secure" in cookie
    assert "__Host-" in cookie and f"Max-Age={int(LASTS.total_seconds())}" in cookie
    assert link.rpartition("/")[2] not in cookie


def test_what_a_growers_link_opens_is_what_a_growers_key_would(mailed: Mailed) -> None:
    mailed.add(ANA, "test-farm")
    reader = mailed.signed_in()
    assert reader.get("/farms").headers["Location"] == "/farms/test-farm/tomorrow"
    assert "Signed in as Ana." in reader.text("/farms/test-farm/tomorrow")
    assert 'action="/blocks/test-farm.north/rain"' in reader.text(f"/blocks/{BLOCK_ID}")
    for path in ("/farms/later-farm/tomorrow", "/blocks/later-farm.young"):
        assert reader.get(path).status_code == 404
    for path in ("/farms/new", "/farms/test-farm/blocks/new", "/counties"):
        assert reader.get(path).status_code == 403
    assert reader.get("/v1/blocks").status_code == 401  # the pages' session is no key


def test_who_reads_of_two_farms_sees_both_and_no_third(mailed: Mailed) -> None:
    mailed.add(ANA, "test-farm", "later-farm")
    reader = mailed.signed_in()
    page = reader.text("/farms")
    assert "/farms/test-farm/tomorrow" in page and "/farms/later-farm/tomorrow" in page
    for farm_id in ("test-farm", "later-farm"):
        assert reader.get(f"/farms/{farm_id}/weather").status_code == 200
    remove_person(ANA, farm_id="later-farm", unit_of_work=mailed.service.unit_of_work)
    assert reader.get("/farms/later-farm/weather").status_code == 404
    assert reader.get("/farms").headers["Location"] == "/farms/test-farm/tomorrow"


def test_an_advisers_link_opens_the_counties_and_no_farm(mailed: Mailed) -> None:
    mailed.add("adviser@example.org")
    reader = mailed.signed_in("adviser@example.org")
    page = reader.text("/counties")
    assert "North blueberries" not in page and "/farms" not in page
    assert reader.get("/farms/test-farm/tomorrow").status_code == 404
    assert reader.get(f"/counties?block={BLOCK_ID}").status_code == 404
    assert reader.get("/farms").status_code == 403


def test_an_adviser_who_also_grows_compares_with_blocks_of_their_farms_alone(
    mailed: Mailed,
) -> None:
    mailed.add(ANA)
    mailed.add(ANA, "later-farm")
    page = mailed.signed_in().text("/counties?by=block")
    assert "later-farm.young" in page and BLOCK_ID not in page


def test_the_mail_is_in_the_readers_language_and_on_no_list(mailed: Mailed) -> None:
    mailed.add(ANA, "test-farm", language="es")
    reader = mailed.reader()
    reader.headers["Accept-Language"] = "en"
    link = mailed.link_for(reader)
    (message,) = mailed.relay.messages
    assert message["Subject"] == "Su enlace para iniciar sesión"
    assert message["Content-Language"] == "es"
    assert message["List-Unsubscribe"] is None and message["List-Id"] is None
    assert message["Auto-Submitted"] == "auto-generated"
    assert "15 min" in text_of(message)
    assert '<html lang="es">' in reader.get(link).text
    # ... and its token stops no mail.
    assert reader.get(link.replace("/sign-in/mail/", "/u/")).status_code == 404


def test_sessions_of_keys_and_of_links_exist_side_by_side(mailed: Mailed) -> None:
    mailed.add(ANA, "test-farm")
    reader = mailed.reader()
    assert reader.sign_in(key_for(mailed.service, "plan:read", farm_id="later-farm")).is_redirect
    assert reader.get("/farms/later-farm/tomorrow").status_code == 200
    assert reader.send(mailed.link_for(reader)).status_code == 303
    assert reader.get("/farms/later-farm/tomorrow").status_code == 404
    assert reader.get("/farms/test-farm/tomorrow").status_code == 200
    reader.send("/farms/test-farm/tomorrow", "/sign-out")
    assert is_out(reader)


# --- the link ------------------------------------------------------------------------------------


def test_a_link_opens_once(mailed: Mailed) -> None:
    mailed.add(ANA, "test-farm")
    first, second = mailed.reader(), mailed.reader()
    link = mailed.link_for(first)
    assert [reader.get(link).status_code for reader in (first, second, first)] == [200] * 3
    token = re.search(r'name="token" value="([^"]*)"', second.get(link).text)
    assert token is not None
    assert first.send(link).status_code == 303
    answer = second.request("POST", link, data={"token": token[1]})
    assert answer.status_code == 404 and "no longer works" in answer.text
    assert second.get(link).status_code == 404 and is_out(second)
    assert 'href="/sign-in"' in answer.text


def test_a_link_ends_after_a_quarter_of_an_hour(mailed: Mailed) -> None:
    mailed.add(ANA, "test-farm")
    reader = mailed.reader()
    link = mailed.link_for(reader)
    token = re.search(r'name="token" value="([^"]*)"', reader.get(link).text)
    assert token is not None
    mailed.clock.instant += LINK_LASTS - timedelta(seconds=1)
    assert reader.get(link).status_code == 200
    mailed.clock.instant += timedelta(seconds=1)
    assert reader.get(link).status_code == 404
    assert reader.request("POST", link, data={"token": token[1]}).status_code == 404
    assert is_out(reader)


def test_a_link_that_the_relay_puts_off_too_long_is_dropped_and_stops_no_plan(
    mailed: Mailed,
) -> None:
    mailed.add(ANA, "test-farm")
    mailed.relay.rcpt_replies[ANA] = ["451 greylisted"] * 100
    for _ in range(4):
        mailed.start_again()
        assert asked(mailed.reader(), ANA).status_code == 303
        dropped_count = 0
        for _minute in range(16):
            dropped_count += mailed.send().dropped_count
            mailed.clock.instant += timedelta(minutes=1)
        assert dropped_count == 1
    with mailed.service.unit_of_work(write=False) as unit:
        (known,) = unit.people.list_people(mail_address=ANA)
    assert known.suppressed_at is None and mailed.relay.accepted == []


def test_a_token_has_128_random_bits_and_only_its_hash_is_kept(mailed: Mailed) -> None:
    mailed.add(ANA, "test-farm")
    link = mailed.link_for(mailed.reader())
    token = link.rpartition("/")[2]
    assert len(token) >= 22  # base64 has six bits a letter
    engine = make_engine(mailed.service.settings.database_url)
    with engine.connect() as connection:
        held = [str(row) for table in metadata.sorted_tables
                for row in connection.execute(select(table))]  # fmt: skip
    engine.dispose()
    assert not any(token in row for row in held)
    assert any(hashlib.sha256(token.encode()).hexdigest() in row for row in held)


@pytest.mark.parametrize("host", ["evil.example", "farm.example.org.evil.example", "127.0.0.1:1"])
def test_the_host_that_a_request_names_does_not_reach_the_link(mailed: Mailed, host: str) -> None:
    mailed.add(ANA, "test-farm")
    reader = mailed.reader()
    reader.headers = {"Host": host, "X-Forwarded-Host": host, "Forwarded": f"host={host}"}
    asked(reader, ANA)
    mailed.send()
    (message,) = mailed.relay.messages
    for kind in ("plain", "html"):
        text = text_of(message, kind)
        assert "evil" not in text and "127.0.0.1" not in text
        assert {found.group(0).partition("/sign-in")[0] for found in LINK.finditer(text)} == {
            PUBLIC_URL
        }


def test_a_form_that_this_reader_was_not_shown_signs_nobody_in(mailed: Mailed) -> None:
    mailed.add(ANA, "test-farm")
    victim, stranger = mailed.reader(), mailed.reader()
    link = mailed.link_for(stranger)
    theirs = re.search(r'name="token" value="([^"]*)"', stranger.get(link).text)
    assert theirs is not None
    victim.get("/sign-in")
    for token in ("", "0" * 64, theirs[1]):
        assert victim.request("POST", link, data={"token": token}).status_code == 403
        sent = victim.request("POST", "/sign-in/mail", data={"token": token, "mail": ANA})
        assert sent.status_code == 403
    assert is_out(victim)
    assert mailed.send().queued_count == 0
    assert stranger.get(link).status_code == 200  # still good


def test_a_hostile_name_reaches_no_header_and_no_markup(mailed: Mailed) -> None:
    name = 'Ana\r\nBcc: evil@example.net\r\n\r\n<script>"{0}\u202e'
    mailed.add(ANA, "test-farm", name=name)
    reader = mailed.reader()
    link = mailed.link_for(reader)
    (message,) = mailed.relay.messages
    assert mailed.relay.recipients == [ANA]
    assert message["Bcc"] is None and len(message["To"].addresses) == 1
    page = reader.get(link).text
    assert "<script" not in page and "\u202e" not in page
    reader.send(link)
    page = reader.get("/farms/test-farm/tomorrow").text
    assert "<script" not in page and "\u202e" not in page


# --- what is not revealed ------------------------------------------------------------------------


def test_nobody_learns_from_the_answer_whether_an_address_is_known(mailed: Mailed) -> None:
    mailed.add(ANA, "test-farm")
    statements: list[str] = []
    answers: list[tuple[object, ...]] = []

    def note(_c: object, _cur: object, statement: str, *_rest: object) -> None:
        statements.append(statement)

    for mail_address in ("bob@example.org", ANA, "eve@example.org"):
        reader = mailed.reader()
        reader.get("/sign-in")
        event.listen(Engine, "before_cursor_execute", note)
        try:
            answer = asked(reader, mail_address)
        finally:
            event.remove(Engine, "before_cursor_execute", note)
        headers = {
            name: value
            for name, value in answer.headers.items()
            if name not in ("x-request-id", "set-cookie")
        }
        answers.append((answer.status_code, headers, answer.content, tuple(statements)))
        statements.clear()
    assert answers[0] == answers[1] == answers[2]
    mailed.send()
    assert mailed.relay.recipients == [ANA]


def test_the_mail_goes_to_the_address_as_it_is_stored(mailed: Mailed) -> None:
    mailed.add(ANA, "test-farm")
    reader = mailed.reader()
    assert reader.send(mailed.link_for(reader, "ANA@Example.ORG")).status_code == 303
    assert mailed.relay.recipients == [ANA]
    assert reader.get("/farms/test-farm/tomorrow").status_code == 200


@pytest.mark.parametrize(
    "text",
    ["", "ana", "ana@", "a@b@c.example", "ana@example.org\r\nBcc: e@example.net", "ä@example.org",
     "ana@example.org, bob@example.org", "a" * 300 + "@example.org"],
)  # fmt: skip
def test_an_invalid_address_is_shown_beside_the_field_and_queues_nothing(
    mailed: Mailed, text: str
) -> None:
    answer = asked(mailed.reader(), text)
    assert answer.status_code == 422 and 'id="mail-fault"' in answer.text
    with pytest.raises(InputInvalid):
        ask_for_link(text, unit_of_work=mailed.service.unit_of_work, clock=mailed.clock)
    assert mailed.send().queued_count == 0


def test_three_links_in_a_quarter_of_an_hour_are_enough(mailed: Mailed) -> None:
    mailed.add(ANA, "test-farm")
    for mail_address in (ANA, "nobody@example.org"):
        answers = [asked(mailed.reader(), mail_address) for _ in range(5)]
        assert [answer.status_code for answer in answers] == [303] * 3 + [429] * 2
        assert 1 <= int(answers[-1].headers["Retry-After"]) <= 900
        assert 'id="mail-fault"' in answers[-1].text
    assert asked(mailed.reader(), "Ana@example.org").status_code == 429  # the same person


def test_one_household_may_ask_for_so_many_links(mailed: Mailed) -> None:
    answers = [asked(mailed.reader(), f"reader-{n}@example.org").status_code for n in range(22)]
    assert answers == [303] * 20 + [429] * 2


def test_many_processes_together_send_no_more_than_three(mailed: Mailed) -> None:
    mailed.add(ANA, "test-farm")
    for _ in range(MOST_LINKS + 3):
        mailed.start_again()  # its count starts from zero
        asked(mailed.reader(), ANA)
        mailed.send()
        mailed.clock.instant += timedelta(seconds=20)
    assert len(mailed.relay.accepted) == MOST_LINKS
    mailed.clock.instant += LINK_LASTS
    mailed.start_again()
    asked(mailed.reader(), ANA)
    assert mailed.send().sent_count == 1


def test_who_may_get_no_mail_gets_no_link(mailed: Mailed) -> None:
    mailed.add(ANA, "test-farm")
    with mailed.service.unit_of_work(write=True) as unit:
        (known,) = unit.people.list_people(mail_address=ANA)
        unit.people.suppress(known.person_key, at=RUN_AT, reason="550 no such user")
    assert asked(mailed.reader(), ANA).status_code == 303
    assert mailed.send().queued_count == 0


def test_who_stopped_the_mails_still_signs_in(mailed: Mailed) -> None:
    mailed.add(ANA, "test-farm")
    with mailed.service.unit_of_work(write=True) as unit:
        (known,) = unit.people.list_people(mail_address=ANA)
        for mail_list in ("evening", "weekly"):
            unit.people.unsubscribe(known.person_key, mail_list)
    assert mailed.signed_in().get("/farms/test-farm/tomorrow").status_code == 200


def test_who_asked_while_no_mail_was_sent_gets_no_stale_link(mailed: Mailed) -> None:
    mailed.add(ANA, "test-farm")
    asked(mailed.reader(), ANA)
    mailed.clock.instant += LINK_LASTS
    assert mailed.send().queued_count == 0
    with mailed.service.unit_of_work(write=False) as unit:
        assert not unit.sign_ins.has_asked()


# --- the session ---------------------------------------------------------------------------------


def test_who_is_removed_is_out_with_the_next_page(mailed: Mailed) -> None:
    mailed.add(ANA, "test-farm")
    reader = mailed.signed_in()
    waiting = mailed.link_for(mailed.reader())
    assert reader.get("/farms/test-farm/tomorrow").status_code == 200
    remove_person(ANA, unit_of_work=mailed.service.unit_of_work)
    assert is_out(reader)
    assert reader.get(waiting).status_code == 404
    assert find_holder(ANA, unit_of_work=mailed.service.unit_of_work) is None


def test_a_session_by_mail_ends_by_itself_and_cannot_be_made_up() -> None:
    seals, other = Seals("x" * 40), Seals("y" * 40)
    longest = f"{'a' * 64}@{'b' * 181}.example"
    for mail_address in (ANA, longest):
        cookie = seals.mail_session_cookie(mail_address, now=RUN_AT)
        session = seals.read_session(cookie, now=RUN_AT)
        assert session is not None and len(cookie) < LONGEST_COOKIE
        assert (session.key_id, session.mail_address) == ("", mail_address)
        assert seals.read_session(cookie, now=RUN_AT + LASTS) is None
        assert other.read_session(cookie, now=RUN_AT) is None
        changed = cookie.replace(cookie[1:5], "YWJj", 1)
        for forged in (changed, cookie[1:], f"@{cookie}", cookie[:-1], "@.1.x." + "0" * 64):
            assert seals.read_session(forged, now=RUN_AT) is None


def test_a_reader_by_mail_never_has_the_region(mailed: Mailed) -> None:
    mailed.add("adviser@example.org")
    mailed.add(ANA, "test-farm", "later-farm")
    for mail_address in ("adviser@example.org", ANA):
        holder = find_holder(mail_address, unit_of_work=mailed.service.unit_of_work)
        assert holder is not None
        assert Right.FARM_WRITE not in holder.rights


# --- around it -----------------------------------------------------------------------------------


@pytest.mark.parametrize("missing", ["mail_host", "public_url"])
def test_without_mail_or_a_place_for_links_only_keys_are_offered(
    mailed: Mailed, missing: str
) -> None:
    settings = mailed.service.settings.model_copy(update={missing: ""})
    app = create_app(replace(mailed.service, settings=settings))
    reader = Reader(app, origin=PUBLIC_URL)
    page = reader.text("/sign-in")
    assert 'name="mail"' not in page and "sign in with a key" in page
    assert "link is on its way" not in reader.text("/sign-in?asked=1")
    assert asked(reader, ANA).status_code == 404


@pytest.mark.parametrize(("method", "path"), LINKS)
def test_no_token_is_in_the_numbers_or_the_log(
    mailed: Mailed, caplog: pytest.LogCaptureFixture, method: str, path: str
) -> None:
    mailed.add(ANA, "test-farm")
    caplog.set_level(logging.DEBUG, logger="service")
    reader = mailed.reader()
    link = mailed.link_for(reader)
    token = link.rpartition("/")[2]
    if method == "POST":
        reader.send(link)
    else:
        assert reader.request("HEAD", link).status_code == 200
    reader.get("/sign-in/mail/nobody-knows-this")
    numbers = reader.get("/metrics", headers={"Authorization": f"Bearer {mailed.key}"}).text
    assert path in numbers
    for text in (numbers, caplog.text):
        assert token not in text and "nobody-knows-this" not in text
        assert ANA not in text
