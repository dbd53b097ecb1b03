"""Cursors of lists: opaque to callers, so that what they name can change."""

from __future__ import annotations

import base64
import binascii
from datetime import UTC, datetime, timedelta
from typing import Final, NoReturn

from service.errors import Fault, InputInvalid

EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MOST_DIGITS: Final = 18
"""Of a number that the database takes."""


def cursor_of(named: str) -> str:
    """The cursor that names an item."""
    return base64.urlsafe_b64encode(named.encode()).decode().rstrip("=")


def name_of(cursor: str) -> str:
    """What a cursor names; raises InputInvalid."""
    try:
        padded = cursor.encode("ascii") + b"=" * (-len(cursor) % 4)
        return base64.b64decode(padded, altchars=b"-_", validate=True).decode()
    except (binascii.Error, UnicodeError) as error:
        _refuse(error)


def number_of(cursor: str) -> int:
    """The number that a cursor names; raises InputInvalid."""
    return _number(name_of(cursor))


def pair_of(cursor: str) -> tuple[int, int]:
    """The two numbers that a cursor names, with a dot between them; raises InputInvalid."""
    first, _, second = name_of(cursor).partition(".")
    return _number(first), _number(second)


def moment_of(cursor: str) -> tuple[datetime, int]:
    """The instant and the number that a cursor names; raises InputInvalid."""
    since_epoch, number = pair_of(cursor)
    try:
        return EPOCH + timedelta(microseconds=since_epoch), number
    except OverflowError as error:
        _refuse(error)


def moment_name(instant: datetime, number: int) -> str:
    """What a cursor names by an instant and a number."""
    return f"{(instant - EPOCH) // timedelta(microseconds=1)}.{number}"


def _number(text: str) -> int:
    if not text.isascii() or not text.isdigit() or len(text) > _MOST_DIGITS:
        _refuse()
    return int(text)


def _refuse(cause: Exception | None = None) -> NoReturn:
    raise InputInvalid(
        "the cursor cannot be read",
        [Fault("cursor", "another text", "the cursor of a `next` address, unchanged")],
    ) from cause
