"""Where to report a security problem: RFC 9116, from the settings."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from service.api.app import create_app
from service.api.routes.pages import SECURITY_CONTACT, contact_expires
from service.bootstrap import Service
from service.errors import SettingsInvalid
from service.settings import read_settings
from tests.api.conftest import Client
from tests.api.invented_farm import RUN_AT


def client_of(service: Service, **settings: str) -> Client:
    return Client(
        create_app(replace(service, settings=service.settings.model_copy(update=settings)))
    )


def test_it_names_the_contact_in_the_form_of_the_standard(own_service: Service) -> None:
    client = client_of(
        own_service,
        security_contact="mailto:security@example.org",
        public_url="https://water.example.org",
    )
    answer = client.get(SECURITY_CONTACT)
    assert answer.status_code == 200
    # RFC 9116, 3: text/plain in UTF-8 under /.well-known/; 2.5: one field a line.
    assert answer.headers["Content-Type"] == "text/plain; charset=utf-8"
    fields = dict(line.split(": ", 1) for line in answer.text.splitlines())
    assert fields["Contact"] == "mailto:security@example.org"
    assert fields["Canonical"] == "https://water.example.org/.well-known/security.txt"
    # 2.5.5: Expires is required, once, by RFC 3339, and should be less than a year ahead.
    ahead = datetime.fromisoformat(fields["Expires"]) - RUN_AT
    assert timedelta(days=150) < ahead < timedelta(days=365)


def test_without_a_contact_it_is_not_found(own_service: Service) -> None:
    answer = client_of(own_service).get(SECURITY_CONTACT)
    assert (answer.status_code, answer.json()["type"]) == (404, "/problems/not-found")


def test_it_stays_the_same_for_a_week() -> None:
    monday = datetime(2026, 7, 13, tzinfo=UTC)
    week = {contact_expires(monday + timedelta(hours=hour)) for hour in range(7 * 24)}
    assert len(week) == 1
    assert contact_expires(monday + timedelta(days=7)) == week.pop() + timedelta(days=7)


@pytest.mark.parametrize(
    "contact", ["security@example.org", "http://example.org", "mailto:a@b\nExpires: never", "x"]
)
def test_a_contact_that_is_no_address_is_refused(
    contact: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RILLWRIGHT_SECURITY_CONTACT", contact)
    with pytest.raises(SettingsInvalid, match="RILLWRIGHT_SECURITY_CONTACT"):
        read_settings()
