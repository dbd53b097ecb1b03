"""Makes names that people typed safe for a header, a line of text or a calendar."""

from __future__ import annotations

import re
import unicodedata

LONGEST_NAME = 60
LONGEST_STORED = 200
"""Names and reasons are never stored longer, so that such a one is whole."""
_DROPPED = {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}
"""Control characters, direction marks and unusual line separators."""
_DIGITS = re.compile(r"([0-9]+)")


def clean(text: str, *, longest: int = LONGEST_NAME) -> str:
    """One line without control characters, cut to ``longest``; ``-`` if nothing is left.

    A line end in a header would let the writer add headers; a direction mark would make one name
    read as another.
    """
    spaced = "".join(
        " " if character.isspace() else character
        for character in text
        if character.isspace() or unicodedata.category(character) not in _DROPPED
    )
    joined = " ".join(spaced.split())
    return (joined if len(joined) <= longest else joined[: longest - 1].rstrip() + "…") or "-"


def reading_order(name: str) -> list[tuple[bool, int, str]]:
    """A key that sorts names as people count: block 2 before block 10, however they are written.

    >>> sorted(["Row 10", "row 2", "Row 1b"], key=reading_order)
    ['Row 1b', 'row 2', 'Row 10']
    """
    parts = _DIGITS.split(name.casefold())
    return [(i % 2 == 0, int(part) if i % 2 else 0, part) for i, part in enumerate(parts)]
