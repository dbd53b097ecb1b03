"""The example of a receiver: it takes what the service signs, once, and nothing else."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from examples.event_receiver import EventReceiver
from service.bootstrap import Service
from service.operations.events.event_secrets import new_secret
from tests.event_farm import OWN_SECRET, EventFarm, event_farm


@pytest.fixture
def server() -> Iterator[EventReceiver]:
    with EventReceiver(0, new_secret(OWN_SECRET)[1]) as found:
        thread = threading.Thread(target=found.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        yield found
        found.shutdown()
        thread.join()


def told(service: Service, server: EventReceiver) -> EventFarm:
    farm = event_farm(service, f"http://127.0.0.1:{server.server_port}/")
    farm.clock.instant = datetime.now(UTC)
    farm.happen("a", "b")
    return farm


def test_what_the_service_signs_is_taken_once(own_service: Service, server: EventReceiver) -> None:
    from standardwebhooks.webhooks import Webhook

    farm = told(own_service, server)
    server.webhook = Webhook(farm.secret)
    assert farm.deliver().delivered_count == 2
    assert [each["subject"] for each in server.events.values()] == ["a", "b"]


def test_what_another_secret_signs_is_refused(own_service: Service, server: EventReceiver) -> None:
    farm = told(own_service, server)
    assert farm.deliver().delivered_count == 0
    assert farm.deliveries()[0].status == 401 and server.events == {}
