"""Events on the command line: a receiver set up, tried, listed, and given a new secret."""

from __future__ import annotations

from functools import partial

import pytest

from tests.cli.conftest import Command, document
from tests.event_farm import OWN_SECRET
from tests.webhook_receiver import Answer, running_receiver

FARM = "larkbend"
ADD = ("events", "add", FARM, "office")


@pytest.fixture
def telling(own_demo: Command) -> Command:
    """The command line of an operator who lets events be sent, also to this machine."""
    settings = {
        "RILLWRIGHT_EVENT_SECRET": OWN_SECRET, "RILLWRIGHT_EVENT_NETWORKS": '["127.0.0.0/8"]',
    }  # fmt: skip
    return partial(own_demo, **settings)


def test_a_receiver_is_set_up_tried_and_removed(telling: Command) -> None:
    with running_receiver() as receiver:
        added = telling(*ADD, receiver.url, "--kind", "flow.alarm")
        assert added.exit_code == 0, added.output
        secret = added.stdout.strip()
        assert secret.startswith("whsec_")
        again = telling(*ADD, receiver.url, "--kind", "flow.alarm")
        assert again.exit_code == 0 and "whsec_" not in again.output
        (listed,) = document(telling("events", "list", FARM, "--json"))
        assert (listed["url"], listed["disabled_at"]) == (receiver.url, None)
        assert secret not in telling("events", "list", FARM).output
        event_id = document(telling("events", "test", FARM, "office", "--json"))["event_id"]
        assert document(telling("events", "send", "--json"))["delivered_count"] == 1
        assert receiver.event_ids == [event_id]
        (sent,) = document(telling("events", "deliveries", FARM, "office", "--json"))["items"]
        assert (sent["state"], sent["status"], sent["kind"]) == ("delivered", 204, "test")
        assert telling("events", "remove", FARM, "office").exit_code == 0
        assert document(telling("events", "list", FARM, "--json")) == []


def test_what_was_given_up_is_sent_again(telling: Command) -> None:
    with running_receiver() as receiver:
        receiver.answer = lambda _: Answer(410)
        telling(*ADD, receiver.url, "--kind", "flow.alarm")
        telling("events", "test", FARM, "office")
        assert document(telling("events", "send", "--json"))["disabled_count"] == 1
        assert "410" in telling("events", "list", FARM).stdout
        receiver.answer = lambda _: Answer()
        telling(*ADD, receiver.url, "--kind", "flow.alarm")
        assert "1 event will" in telling("events", "resend", FARM, "office").stdout
        assert "1 event delivered" in telling("events", "send").stdout
        assert "delivered" in telling("events", "deliveries", FARM, "office").stdout


def test_a_new_secret_is_shown_once(telling: Command) -> None:
    url = "https://office.example.org/"
    first = telling("events", "add", FARM, "office", url).stdout.strip()
    newer = document(telling("events", "rotate", FARM, "office", "--json"))
    assert newer["secret"].startswith("whsec_") and newer["secret"] != first
    assert newer["former_until"]


def test_without_the_operators_secret_nothing_is_told(demo: Command) -> None:
    url = "https://office.example.org/"
    refused = demo("events", "add", FARM, "office", url)
    assert refused.exit_code == 1 and "RILLWRIGHT_EVENT_SECRET" in refused.output
    assert demo("events", "send").exit_code == 1


def test_slips_are_wrong_input(telling: Command) -> None:
    refused = telling("events", "add", FARM, "office", "http://office.example.org/", "--kind", "x")
    assert refused.exit_code == 2 and "kinds" in refused.output
    assert telling("events", "list", "nowhere").exit_code == 1
    assert telling("events", "test", FARM, "nobody").exit_code == 1
