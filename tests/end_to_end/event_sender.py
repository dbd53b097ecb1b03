"""A process that sends the events of a database, on a clock that the test sets.

    python -m tests.end_to_end.event_sender URL AT

Its time stands still, so that nobody has to wait for the lease of a process that was killed.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Sequence
from datetime import datetime, timedelta

from service.operations.events.deliver_events import LEASE_S
from tests.webhook_receiver import Answer, Received, Receiver


def send(url: str, at: str) -> None:
    """Send all that waits."""
    from service.bootstrap import open_service
    from service.settings import Settings
    from tests.api.invented_farm import FixedClock
    from tests.event_farm import EventFarm, with_events

    clock = FixedClock(datetime.fromisoformat(at))
    service = with_events(open_service(Settings(database_url=url), clock=clock))
    EventFarm(service, clock, "").deliver(owner=f"sender {os.getpid()}")
    service.close()


def send_through_kills(
    url: str, receiver: Receiver, *, at: datetime, kill_at: Sequence[int]
) -> list[int]:
    """Send all that waits by one process after the other; returns how each ended.

    ``kill_at``: the process at work is killed with SIGKILL while it waits for the answer to this
    request, counted over all of them. The one after the last is let live.
    """
    ends = []
    sender: subprocess.Popen[bytes]

    def answer(_received: Received) -> Answer:
        if len(receiver.requests) in kill_at:
            sender.send_signal(signal.SIGKILL)
            sender.wait()
        return Answer()

    receiver.answer = answer
    for number in range(len(kill_at) + 1):
        moment = at + number * timedelta(seconds=LEASE_S)
        sender = subprocess.Popen([sys.executable, "-m", __name__, url, moment.isoformat()])
        ends.append(sender.wait())
    return ends


if __name__ == "__main__":
    send(*sys.argv[1:])
