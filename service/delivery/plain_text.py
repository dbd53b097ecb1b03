"""Names that somebody typed, made safe for a header, a line of text or a calendar."""

from __future__ import annotations

import unicodedata

LONGEST_NAME = 60
_DROPPED = {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}
"""Controls, marks that turn the direction of writing, and line ends that are not called so."""


def clean(text: str, *, longest: int = LONGEST_NAME) -> str:
    """One line without control characters, at most so long; ``-`` where nothing is left.

    A line end in a header would begin a header of the writer's own; a mark of direction would let
    a name read as another one.
    """
    spaced = "".join(
        " " if character.isspace() else character
        for character in text
        if character.isspace() or unicodedata.category(character) not in _DROPPED
    )
    joined = " ".join(spaced.split())
    return (joined if len(joined) <= longest else joined[: longest - 1].rstrip() + "…") or "-"
