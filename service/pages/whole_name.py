"""Names as pages show them: on one line of the source, and never cut."""

from __future__ import annotations

from functools import lru_cache

from service.delivery.plain_text import LONGEST_STORED, clean


@lru_cache(maxsize=10_000)
def whole_name(text: str) -> str:
    """A name without control characters, as long as it is."""
    return clean(text, longest=LONGEST_STORED)
