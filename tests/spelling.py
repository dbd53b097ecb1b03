"""Finds British spelling in a text."""

from __future__ import annotations

import re

# Endings and stems that only the British spelling has (common practice, no source); the words after
# them are spelled so on both sides of the ocean.
BRITISH = re.compile(
    r"\b\w*(?:ilis|alis|imis|anis|idis|tris|onis|aris|eris|cognis)(?:e|ed|es|er|ers|ing|ation)\b"
    r"|\b\w*(?:litre|metre|centre|fibre)s?\b"
    r"|\b\w*(?:col|vap|fav|lab|neighb|behavi|harb|od|flav|hon)our\w*"
    r"|\b\w*(?:analys|hydrolys|paralys)(?:e|ed|es|ing)\b"
    r"|\b\w*(?:ancell|ravell|abell|odell|uell|evell)(?:ed|ing|er)\b"
    r"|\b(?:grey|sulph|alumini|mould|plough|licence|programme|tonne|tyre|kerb|catalogue|defence)\w*",
    re.IGNORECASE,
)
NOT_BRITISH = frozenset({"analyses", "programmed", "programmer"})
PLACE = re.compile(r"\{[^{}]*\}")


def british(text: str) -> list[str]:
    """The words of a text, outside its braces, that are spelled the British way."""
    words = (found.group().lower() for found in BRITISH.finditer(PLACE.sub(" ", text)))
    return [word for word in words if word not in NOT_BRITISH]
