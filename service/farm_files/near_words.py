"""What a misspelt word may have meant."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from difflib import get_close_matches


def close_matches(word: str, known: Iterable[str]) -> list[str]:
    """Known words that look like the given one, nearest first."""
    wanted = word.strip().lower().replace("_", "-").replace(" ", "-")
    folded = {name.lower().replace("_", "-"): name for name in known}
    return [folded[name] for name in get_close_matches(wanted, folded, n=3, cutoff=0.6)]


def one_of(word: object, known: Sequence[str], *, most: int = 60) -> str:
    """What is allowed instead of ``word``: the nearest known words, then all if they are few."""
    close = close_matches(word, known) if isinstance(word, str) else []
    listed = ", ".join(known) if len(known) <= most else ""
    near = f"did you mean {' or '.join(repr(name) for name in close)}" if close else ""
    return "; ".join(part for part in (near, f"one of {listed}" if listed else "") if part)
