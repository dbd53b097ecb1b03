"""Requests that must not count twice: the answer is stored in the transaction of its effect.

A caller that lost the answer sends the same request with the same key and gets the same answer
again. Answers are kept for 48 hours. After draft-ietf-httpapi-idempotency-key-header.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Conflict, Fault, InputInvalid
from service.ports import Clock
from service.records.access import StoredAnswer

KEPT_FOR = timedelta(hours=48)

_under_way: set[tuple[str, str]] = set()
_lock = threading.Lock()


class StillRunning(Conflict):
    """The same request is still being processed."""


class KeyTaken(InputInvalid):
    """The idempotency key has been used for another request."""


@dataclass(frozen=True, slots=True)
class Once:
    """What identifies a request."""

    tenant: str
    """Owner of the key: the farm, or the region."""
    idempotency_key: str
    request_digest: str
    """Hash of method, address and body."""


def answer_once(
    once: Once,
    work: Callable[[UnitOfWork], tuple[int, bytes]],
    *,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
) -> StoredAnswer:
    """Do the work and store its status and body, or return the stored answer.

    Raises KeyTaken if the key belongs to another request, and StillRunning if this process is
    working on the request right now. A request in another process holds the write lock, so it is
    waited for.
    """
    with _running(once), unit_of_work(write=True) as unit:
        now = clock.now()
        stored = unit.answers.find(once.tenant, once.idempotency_key)
        if stored is not None and now - stored.stored_at < KEPT_FOR:
            if stored.request_digest != once.request_digest:
                raise KeyTaken(
                    "the idempotency key belongs to another request",
                    [Fault("Idempotency-Key", "a key in use", "a new key for a new request")],
                )
            return stored
        status, body = work(unit)
        answer = StoredAnswer(once.request_digest, status, body, now)
        unit.answers.save(once.tenant, once.idempotency_key, answer)
        unit.answers.prune(before=now - KEPT_FOR)
        return answer


@contextmanager
def _running(once: Once) -> Iterator[None]:
    place = (once.tenant, once.idempotency_key)
    with _lock:
        if place in _under_way:
            raise StillRunning("a request with this idempotency key is being worked on")
        _under_way.add(place)
    try:
        yield
    finally:
        with _lock:
            _under_way.discard(place)
