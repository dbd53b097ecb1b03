"""Who asks for what a tool gives: set around each call, and read by the tools."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace

from service.api.access import Caller, Right
from service.api.county_desk import CountyDesk
from service.bootstrap import Service
from service.database.acting import acting_as
from service.records.audit import Entrance


@dataclass(frozen=True, slots=True)
class Desk:
    """What the tools work with."""

    service: Service
    counties: CountyDesk


_caller: ContextVar[Caller] = ContextVar("caller")


@contextmanager
def asked_by(caller: Caller) -> Iterator[None]:
    """Let calls within the block be those of a caller, and changes in them his.

    Who has no key only reads: whoever may write is to be found in the record of changes.
    """
    if not caller.key_id:
        caller = replace(caller, rights=caller.rights & {Right.PLAN_READ, Right.ADVISER})
    before = _caller.set(caller)
    try:
        with acting_as(replace(caller.actor, entrance=Entrance.AGENT_TOOLS)):
            yield
    finally:
        _caller.reset(before)


def who_asks() -> Caller:
    """The caller of the call at hand."""
    return _caller.get()
