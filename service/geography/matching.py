"""Which county each outline is, by a property of its feature that holds the county's code or name.

In: the names of features, and the counties known. Out: for each county the features that are it.
Codes and names are compared without regard to case, to the kind of spaces, and to a last word such
as "County".
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from service.errors import Fault, InputInvalid

_KINDS: Final = frozenset({"county", "parish", "borough", "condado", "municipio"})
"""Last words that one list of counties has and another leaves out."""
MOST_NAMED: Final = 8


@dataclass(frozen=True, slots=True)
class Matches:
    """Which features are which county."""

    name_property: str
    """The property they were matched by."""
    features_of: Mapping[str, tuple[int, ...]]
    """By county code, the numbers of its features."""
    unmatched: tuple[str, ...]
    """Names of features that are no known county, in their order, each once."""


def match_counties(
    features: Sequence[Mapping[str, str]],
    counties: Mapping[str, str],
    *,
    name_property: str | None = None,
) -> Matches:
    """The features of each county, by the property given or else by the one that fits the most.

    features: the properties of each feature. counties: names by code.
    Shapes: one mapping for each feature.
    Returns: the matches. Raises InputInvalid where no feature is a known county, and where two
    properties fit as many and say different things.
    Source: RFC 7946 names no property that names a feature. [CHOICE]

    >>> match_counties([{"NAME": "alderway"}], {"X1": "Alderway County"}).features_of
    {'X1': (0,)}
    """
    code_of = _codes_by_key(counties)
    names = dict.fromkeys(name for each in features for name in each)
    if name_property is not None:
        names = dict.fromkeys([name_property])
    found = [_by_property(features, code_of, name) for name in names]
    most = max((len(each.features_of) for each in found), default=0)
    if most == 0:
        raise InputInvalid("no boundary is that of a known county", [_no_match(features, counties)])
    best = [each for each in found if len(each.features_of) == most]
    if any(each.features_of != best[0].features_of for each in best):
        told = ", ".join(repr(each.name_property) for each in best)
        raise InputInvalid(
            "it is not clear which property names the counties",
            [Fault("name_property", f"{told}, which fit as many", "one of them, given by name")],
        )
    return best[0]


def plain_name(text: str) -> str:
    """A code or name as it is compared.

    Shapes: one text.
    Returns: in lower case, with single spaces and without a last word such as "County".

    >>> plain_name("  Alder\\u00a0WAY County "), plain_name("County")
    ('alder way', 'county')
    """
    words = unicodedata.normalize("NFKC", text).casefold().split()
    return " ".join(words[:-1] if len(words) > 1 and words[-1] in _KINDS else words)


def _codes_by_key(counties: Mapping[str, str]) -> dict[str, str]:
    """County codes by what they may be called; a name that two counties have calls neither."""
    keys = [plain_name(name) for name in counties.values()]
    by_name = {key: code for code, key in zip(counties, keys, strict=True) if keys.count(key) == 1}
    return by_name | {plain_name(code): code for code in counties}


def _by_property(
    features: Sequence[Mapping[str, str]], code_of: Mapping[str, str], name_property: str
) -> Matches:
    features_of: dict[str, tuple[int, ...]] = {}
    unmatched: dict[str, None] = {}
    for place, names in enumerate(features):
        name = names.get(name_property, "")
        code = code_of.get(plain_name(name))
        if code is None:
            unmatched[name or f"feature {place + 1}"] = None
        else:
            features_of[code] = (*features_of.get(code, ()), place)
    return Matches(name_property, features_of, tuple(unmatched))


def _no_match(features: Sequence[Mapping[str, str]], counties: Mapping[str, str]) -> Fault:
    names = dict.fromkeys(name for each in features for name in each)
    samples = [
        f"{name} such as {next(each[name] for each in features if name in each)[:40]!r}"
        for name in list(names)[:MOST_NAMED]
    ]
    known = [f"{code} ({name})" for code, name in list(counties.items())[:MOST_NAMED]]
    return Fault(
        "name_property",
        "; ".join(samples) or "features without properties",
        f"a property with codes or names of counties: {', '.join(known)}",
    )
