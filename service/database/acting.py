"""Who acts: set once by each entrance, and read by every unit of work that writes.

A context variable, and not a parameter, so that no route, page, command or operation between the
entrance and the transaction can forget to pass it on. Worker threads of the web application get a
copy of it with each request. Where nobody has set it, as in the threads of the scheduler, it is the
service itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from service.records.audit import SERVICE, Actor

_actor: ContextVar[Actor] = ContextVar("actor", default=SERVICE)


@contextmanager
def acting_as(actor: Actor) -> Iterator[None]:
    """Let changes within the block be those of an actor."""
    before = _actor.set(actor)
    try:
        yield
    finally:
        _actor.reset(before)


def current_actor() -> Actor:
    """Whose changes these are."""
    return _actor.get()
