"""Opaque cursors: the name of the last thing of a page, as an address can carry it."""

from __future__ import annotations

import base64
import binascii

from service.errors import Fault, InputInvalid


def cursor_of(name: str) -> str:
    """The cursor behind a thing."""
    return base64.urlsafe_b64encode(name.encode()).decode().rstrip("=")


def name_of(cursor: str) -> str:
    """The name that a cursor was made of; raises InputInvalid for another text."""
    try:
        padded = cursor.encode("ascii") + b"=" * (-len(cursor) % 4)
        return base64.b64decode(padded, altchars=b"-_", validate=True).decode()
    except (binascii.Error, UnicodeError) as error:
        raise InputInvalid(
            "the cursor cannot be read",
            [Fault("cursor", "another text", "the cursor of a `next` address, unchanged")],
        ) from error
