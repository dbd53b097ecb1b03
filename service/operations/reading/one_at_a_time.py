"""Work that keeps a core busy for seconds: one at a time, others are asked to come back later."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock

from service.errors import Busy


@contextmanager
def one_at_a_time(lock: Lock, refusal: str) -> Iterator[None]:
    """Hold a lock for the work within; raises Busy with this text while somebody else holds it."""
    if not lock.acquire(blocking=False):
        raise Busy(refusal)
    try:
        yield
    finally:
        lock.release()
