"""Cursors of lists: opaque to callers, so that what they name can change."""

from __future__ import annotations

import base64
import binascii
from typing import Final, NoReturn

from service.errors import Fault, InputInvalid

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
    named = name_of(cursor)
    if not named.isascii() or not named.isdigit() or len(named) > _MOST_DIGITS:
        _refuse()
    return int(named)


def _refuse(cause: Exception | None = None) -> NoReturn:
    raise InputInvalid(
        "the cursor cannot be read",
        [Fault("cursor", "another text", "the cursor of a `next` address, unchanged")],
    ) from cause
