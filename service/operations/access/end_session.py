"""Ends a session of the pages on the server, so that a copy of its cookie opens nothing either."""

from __future__ import annotations

import hashlib
from datetime import datetime

from service.database.session import UnitOfWorkFactory
from service.ports import Clock


def end_session(
    cookie: str, *, ends_at: datetime, unit_of_work: UnitOfWorkFactory, clock: Clock
) -> None:
    """Refuse a session cookie from now on; ``ends_at`` is when it would end by itself."""
    with unit_of_work(write=True) as unit:
        unit.sign_ins.end_session(_digest(cookie), ends_at=ends_at, now=clock.now())


def has_ended(cookie: str, *, unit_of_work: UnitOfWorkFactory) -> bool:
    """Whether a session cookie was ended before its time."""
    with unit_of_work(write=False) as unit:
        return unit.sign_ins.has_ended(_digest(cookie))


def _digest(cookie: str) -> str:
    """Enough of a stored secret: a cookie carries 96 random bits and a signature."""
    return hashlib.sha256(cookie.encode()).hexdigest()
