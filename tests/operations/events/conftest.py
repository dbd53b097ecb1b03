"""The invented farm with a receiver of its events on this machine."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from service.bootstrap import Service
from tests.event_farm import EventFarm, event_farm
from tests.webhook_receiver import Receiver, running_receiver


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    """A receiver that takes all."""
    with running_receiver() as found:
        yield found


@pytest.fixture
def farm(own_service: Service, receiver: Receiver) -> EventFarm:
    """The invented farm, of which one system wants to be told everything."""
    return event_farm(own_service, receiver.url)
