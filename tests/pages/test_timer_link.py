"""The page behind "I set it" in a mail: it shows one program and one button."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import cast

import numpy as np
import pytest
from sqlalchemy.engine import URL

from service.api.app import create_app
from service.bootstrap import Service, make_post
from service.operations.access.people import save_person
from service.operations.mail.evening_mail import queue_evening_mails
from service.operations.mail.send_mail import deliver
from service.operations.timers.set_timer import list_timers
from service.records.mail import Person
from tests.api.invented_farm import FARM_ID, PLAN_DAY, RUN_AT, opened_service, with_timer
from tests.databases import copied, lent
from tests.mail_relay import running_relay
from tests.pages.conftest import Reader, key_for

PUBLIC_URL = "https://farm.example.org"
ANA = Person(mail_address="ana@example.org", name="Ana", language="es", receives=("evening",))


@dataclass(frozen=True, slots=True)
class Mailed:
    """A mail that says what to set, as it came."""

    service: Service
    plain: str
    html: str
    key: str

    @property
    def path(self) -> str:
        (link,) = re.findall(rf"{PUBLIC_URL}(/t/[\w-]+/\w+)", self.plain)
        assert f'href="{PUBLIC_URL}{link}"' in self.html
        return cast("str", link)

    def reader(self) -> Reader:
        return Reader(create_app(self.service), origin=PUBLIC_URL)

    @property
    def is_set(self) -> bool:
        (state,) = list_timers(
            FARM_ID, unit_of_work=self.service.unit_of_work, now=self.service.clock.now()
        )
        return state.set_program is not None


@pytest.fixture(scope="module")
def timed(region_database: URL, tmp_path_factory: pytest.TempPathFactory) -> Iterator[URL]:
    """The planned farm with a timer and a reader of its mails, which tests copy."""
    with copied(region_database, tmp_path_factory.mktemp("timed")) as url:
        with opened_service(url) as made:
            save_person(ANA, farm_ids=[FARM_ID], unit_of_work=made.unit_of_work)
            with_timer(made)
        yield url


@pytest.fixture
def service(timed: URL, tmp_path: Path) -> Iterator[Service]:
    with lent(timed, tmp_path) as url, opened_service(url) as made:
        yield made


@pytest.fixture
def mailed(service: Service) -> Iterator[Mailed]:
    key = key_for(service, "plan:read", farm_id=None)
    with running_relay() as relay:
        settings = service.settings.model_copy(
            update={
                "mail_host": "127.0.0.1", "mail_port": relay.port, "mail_security": "none",
                "mail_from": "plans@mail.example.org", "domain": "mail.example.org",
                "public_url": PUBLIC_URL,
            }
        )  # fmt: skip
        sender = replace(service, settings=settings)
        with service.unit_of_work(write=True) as unit:
            keys = np.array([unit.blocks.farm_keys([FARM_ID])[FARM_ID]])
            assert queue_evening_mails(unit, keys, day=PLAN_DAY, issued_at=RUN_AT) == 1
        post = make_post(sender, owner="test")
        assert post is not None
        deliver(post)
        (message,) = relay.messages
    plain, html = (message.get_body((kind,)) for kind in ("plain", "html"))
    assert plain is not None and html is not None
    yield Mailed(sender, plain.get_content(), html.get_content(), key)


def test_following_the_link_shows_the_program_in_the_readers_language_and_sets_nothing(
    mailed: Mailed,
) -> None:
    reader = mailed.reader()
    reader.headers["Accept-Language"] = "en"
    for _ in range(2):
        answer = reader.get(mailed.path)
        assert answer.status_code == 200
        assert '<html lang="es">' in answer.text and "¿El temporizador ya tiene" in answer.text
        assert answer.text.count('<button type="submit">') == 1
        assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert reader.request("HEAD", mailed.path).status_code == 200
    assert not mailed.is_set


def test_a_form_that_was_not_shown_sets_nothing(mailed: Mailed) -> None:
    assert mailed.reader().request("POST", mailed.path, data={"token": "x"}).status_code == 403
    assert not mailed.is_set


def test_the_button_sets_it_once_or_twice_alike(mailed: Mailed) -> None:
    reader = mailed.reader()
    for _ in range(2):
        page = reader.get(mailed.path).text
        if '<button type="submit">' in page:
            answer = reader.send(mailed.path, first_day="tomorrow")
            assert answer.status_code == 200 and "Guardado. El balance cuenta" in answer.text
    assert mailed.is_set
    assert "Guardado" in page and '<button type="submit">' not in page


@pytest.mark.parametrize("path", ["/t/x/y", "/t/%00/0", f"/t/{'a' * 500}/{'b' * 500}"])
def test_a_link_that_is_not_known_gives_a_friendly_page(mailed: Mailed, path: str) -> None:
    answer = mailed.reader().get(path)
    assert answer.status_code == 404
    assert "link no longer works" in answer.text


def test_blocks_without_a_program_to_set_have_no_link(mailed: Mailed) -> None:
    assert mailed.plain.count("/t/") == mailed.html.count("/t/") == 1


def test_no_token_is_in_the_numbers_or_the_log(
    mailed: Mailed, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG, logger="service")
    reader = mailed.reader()
    reader.send(mailed.path, first_day="tomorrow")
    numbers = reader.get("/metrics", headers={"Authorization": f"Bearer {mailed.key}"}).text
    assert "/t/{token}/{program_id}" in numbers
    token = mailed.path.split("/")[2]
    assert token not in numbers and token not in caplog.text
