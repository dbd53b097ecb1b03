"""kill -9 in the middle of a burst of events: none is lost, and they come in their order."""

from __future__ import annotations

import signal

from service.bootstrap import Service
from tests.end_to_end.event_sender import send_through_kills
from tests.event_farm import event_farm
from tests.webhook_receiver import running_receiver

EVENT_COUNT = 150
KILL_AT = (70,)


def test_nothing_is_lost_and_nothing_overtakes_through_kills(own_service: Service) -> None:
    with running_receiver() as receiver:
        farm = event_farm(own_service, receiver.url)
        farm.happen(*(str(number) for number in range(EVENT_COUNT)))
        ends = send_through_kills(
            own_service.settings.database_url, receiver, at=farm.clock.now(), kill_at=KILL_AT
        )
        assert ends == [-signal.SIGKILL, 0]
        first_seen = list(dict.fromkeys(each.event["subject"] for each in receiver.requests))
        assert first_seen == [str(number) for number in range(EVENT_COUNT)]
        assert len(set(receiver.event_ids)) == EVENT_COUNT
        assert len(receiver.requests) > EVENT_COUNT  # what was not stored as sent came again
        assert farm.states() == ["delivered"] * EVENT_COUNT
