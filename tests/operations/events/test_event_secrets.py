"""Signing secrets: derived from two halves, stored as neither."""

from __future__ import annotations

import base64
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from service.errors import Conflict
from service.operations.events.event_secrets import new_secret, signing_secrets
from service.records.events import EventKind, SigningSecret, Subscription
from tests.event_farm import OWN_SECRET

NOW = datetime(2026, 7, 14, 23, tzinfo=UTC)


def subscription(secret: SigningSecret) -> Subscription:
    return Subscription(
        farm_id="orchard",
        subscription_id="office",
        url="https://example.org/",
        kinds=frozenset(EventKind),
        note="",
        created_at=NOW,
        secret=secret,
        next_try_at=NOW,
    )


def test_a_secret_is_what_standard_webhooks_asks_for() -> None:
    """ "24 to 64 bytes", base64 behind `whsec_`: Standard Webhooks, "Signature Scheme"."""
    stored, shown = new_secret(OWN_SECRET)
    assert shown.startswith("whsec_") and len(base64.b64decode(shown[6:])) == 32
    assert shown not in repr(stored) and shown[6:] not in repr(stored)
    assert new_secret(OWN_SECRET)[1] != shown


def test_the_same_halves_give_the_same_secret_and_others_none() -> None:
    stored, shown = new_secret(OWN_SECRET)
    assert signing_secrets(subscription(stored), OWN_SECRET, now=NOW) == (shown,)
    assert signing_secrets(subscription(stored), OWN_SECRET + "x", now=NOW) == ()
    other = replace(stored, salt=new_secret(OWN_SECRET)[0].salt)
    assert signing_secrets(subscription(other), OWN_SECRET, now=NOW) == ()


def test_the_former_secret_signs_until_its_time_is_over() -> None:
    (former, shown), (stored, newer) = new_secret(OWN_SECRET), new_secret(OWN_SECRET)
    both = replace(subscription(stored), former_secret=former, former_until=NOW)
    before = NOW - timedelta(microseconds=1)
    assert signing_secrets(both, OWN_SECRET, now=before) == (newer, shown)
    assert signing_secrets(both, OWN_SECRET, now=NOW) == (newer,)


@pytest.mark.parametrize("own", ["", "x" * 31])
def test_an_operator_without_a_secret_is_told_what_to_set(own: str) -> None:
    with pytest.raises(Conflict, match="RILLWRIGHT_EVENT_SECRET"):
        new_secret(own)
