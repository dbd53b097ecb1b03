"""Parsing a service's JSON without trusting it: every step states what it expected."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import UTC, datetime

import numpy as np

from service.agronomy.great_circle import distance_km
from service.agronomy.records import Floats
from service.records.farms import SiteDefinition
from service.weather_sources.request import RequestFailed

LONGEST_SHOWN = 40
FARTHEST_ANSWER_KM = 100.0
"""An answer is for a cell of a model's grid: the widest in use is half a degree, and a cell of land
may stand in for one of water beside it. What is farther away is another place's weather.
"""
_NUMBERS_OR_NULL = frozenset({int, float, type(None)})


class AnswerInvalid(RequestFailed):
    """An answer, or a part of it, that is not what the service documents."""


def as_object(content: object, where: str) -> Mapping[str, object]:
    """The content as a JSON object."""
    if not isinstance(content, dict):
        raise AnswerInvalid("wrong-shape", f"{where}: an object is missing")
    return content


def as_list(content: object, where: str) -> list[object]:
    """The content as a JSON array."""
    if not isinstance(content, list):
        raise AnswerInvalid("wrong-shape", f"{where}: an array is missing")
    return content


def number_or_nan(value: object) -> float:
    """A JSON number as it is; NaN for null, a boolean, a text and what is too large to be one."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return math.nan
    try:
        return float(value)
    except OverflowError:
        return math.nan


def numbers(content: object, where: str, *, length: int) -> Floats:
    """An array of exactly this many numbers or nulls."""
    entries = as_list(content, where)
    if len(entries) != length:
        raise AnswerInvalid("wrong-shape", f"{where}: {len(entries)} values for {length} times")
    kinds = set(map(type, entries))
    if not kinds <= _NUMBERS_OR_NULL:
        strange = next(each for each in entries if type(each) not in _NUMBERS_OR_NULL)
        raise AnswerInvalid("wrong-shape", f"{where}: {shown(strange)} is not a number")
    try:
        return np.array(entries, dtype=np.float64)  # null becomes NaN
    except OverflowError:
        return np.array([number_or_nan(each) for each in entries], dtype=np.float64)


def require_unit(found: object, wanted: str, where: str) -> None:
    """The unit that the service says it used must be the one that was asked for."""
    if found != wanted:
        raise AnswerInvalid("wrong-unit", f"{where}: in {shown(found)} instead of {wanted}")


def require_place(
    latitude_deg: object, longitude_deg: object, site: SiteDefinition, where: str
) -> None:
    """The place that the service says it answered for must be about where the site is."""
    latitude, longitude = number_or_nan(latitude_deg), number_or_nan(longitude_deg)
    if not (abs(latitude) <= 90.0 and abs(longitude) <= 360.0):
        raise AnswerInvalid(
            "wrong-shape", f"{where}: {shown(latitude_deg)}, {shown(longitude_deg)} is not a place"
        )
    apart = distance_km(
        np.array([site.latitude_deg]),
        np.array([site.longitude_deg]),
        np.array([latitude]),
        np.array([longitude]),
    )
    away_km = float(apart[0, 0])
    if away_km > FARTHEST_ANSWER_KM:
        raise AnswerInvalid(
            "wrong-place",
            f"{where}: {latitude:g}, {longitude:g}, which is {away_km:.0f} km from the site at"
            f" {site.latitude_deg:g}, {site.longitude_deg:g}",
        )


def answered_for(entry: object, site: SiteDefinition) -> Mapping[str, object]:
    """One place of an answer for many, which says where it is."""
    place = as_object(entry, "place")
    require_place(place.get("latitude"), place.get("longitude"), site, "place")
    return place


def moment(content: object, where: str) -> datetime:
    """An ISO 8601 instant, which must have an offset, in UTC."""
    try:
        parsed = datetime.fromisoformat(content) if isinstance(content, str) else None
        if parsed is not None and parsed.tzinfo is not None:
            return parsed.astimezone(UTC)
    except (
        ValueError,
        OverflowError,
    ):  # the first and last hours of the calendar have no UTC equivalent
        pass
    raise AnswerInvalid("wrong-shape", f"{where}: {shown(content)} is not an instant")


def shown(content: object) -> str:
    """Foreign content made fit for a message: short and printable."""
    return ascii(content)[:LONGEST_SHOWN]
