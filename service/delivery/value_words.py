"""Values of the record of changes as people read them: in their units, with few digits.

The unit of a number is the ending of its name, as everywhere in this service.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from datetime import date, datetime
from typing import Any, Final

import orjson

from service.translations import Wording
from service.translations.catalogue import marked
from service.translations.number_labels import NUMBER_LABELS
from service.translations.wording import US
from service.unit_sizes import (
    FAHRENHEIT_PER_CELSIUS,
    FREEZING_POINT_F,
    L_PER_GALLON,
    L_PER_H_PER_GPH,
    L_PER_H_PER_GPM,
    M2_PER_ACRE,
    M2_PER_HECTARE,
    M_PER_FOOT,
)

NOTHING: Final = "–"
DIGITS: Final = 4
"""That count, of a number without a unit of its own."""
LONGEST_VALUE: Final = 120
_LARGE_FLOW_L_PER_H: Final = 60.0
_MOMENT: Final = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}(:\d{2}(\.\d+)?)?(Z|[+-]\d{2}:\d{2})")
_WALL: Final = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}(:\d{2})?")
_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}")
_UNIT_OF_LABEL: Final = re.compile(
    r", (m²|m|L/h|%|min|s|mm|°C|m³/m³|mm/h|day of the year|día del año|year|año)$"
)
FIELD_LABELS: Final[Mapping[str, str]] = {
    "name": marked("Name"),
    "zone": marked("Time zone"),
    "unit_system": marked("Units"),
    "issue_wall_min": marked("Hour of the plan"),
    "flow_l_per_h": marked("Flow"),
    "crop_key": marked("Crop"),
    "supply_id": marked("Supply"),
    "site_id": marked("Weather site"),
    "no_water": marked("Days without water"),
    "weekly_no_water": marked("Hours of every week without water"),
    "balance_start": marked("First day of the balance"),
    "timer": marked("Timer"),
    "visits": marked("When somebody opens the valve"),
    "layout": marked("Pipes"),
    "latitude_deg": marked("Latitude"),
    "longitude_deg": marked("Longitude"),
    "elevation_m": marked("Elevation"),
    "mail_address": marked("Mail address"),
    "receives": marked("Mails"),
    "language": marked("Language"),
    "day": marked("Day"),
    "reason": marked("Reason"),
    "note": marked("Note"),
    "scopes": marked("Scopes"),
    "expires_at": marked("Valid until"),
    "revoked_at": marked("Withdrawn at"),
    "last_nitrogen_doy": marked("Last day for nitrogen"),
    "origins": marked("Where the numbers come from"),
    "normals": marked("Monthly normals"),
}
"""What people call a field that is no number with a default."""


def label_of(name: str, words: Wording) -> str:
    """What a field is called, without the unit that its stored number is in."""
    first, _, part = name.partition(".")
    if first == "origins" and part:
        return words.gettext("Source of {name}", name=label_of(part, words))
    if name in FIELD_LABELS:
        return words.gettext(FIELD_LABELS[name])
    if name in NUMBER_LABELS:
        return _UNIT_OF_LABEL.sub("", words.label(name))
    if part and first in FIELD_LABELS:
        return f"{words.gettext(FIELD_LABELS[first])}, {part.replace('_', ' ')}"
    return name.replace("_", " ").replace(".", ", ")


def value_of(name: str, value: object, words: Wording, zone: str) -> str:
    """A stored value in words: numbers in the reader's units, times on the farm's clock."""
    match value:
        case None:
            return NOTHING
        case bool():
            return words.gettext(marked("yes")) if value else words.gettext(marked("no"))
        case int() | float():
            return _number(name.rpartition(".")[2], float(value), words)
        case str():
            return cut(_text(value, words, zone))
    return cut(orjson.dumps(rounded(value)).decode())


def rounded(value: object) -> Any:
    """A value whose numbers have no more digits than count."""
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}") if math.isfinite(value) else None
    if isinstance(value, dict):
        return {name: rounded(part) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [rounded(part) for part in value]
    return value


def cut(text: str) -> str:
    """Text that is not longer than a value may be."""
    return text if len(text) <= LONGEST_VALUE else f"{text[:LONGEST_VALUE]}…"


def plain_number(value: float, words: Wording) -> str:
    """A number with the digits that count, in the marks of the language."""
    if not math.isfinite(value):
        return NOTHING
    few = float(f"{value:.{DIGITS}g}")
    text = f"{few:.10f}".rstrip("0").rstrip(".")
    return words.number(few, len(text.partition(".")[2]))


def length(length_m: float, words: Wording) -> str:
    """A length in feet or meters."""
    if words.unit_system == US:
        return f"{plain_number(length_m / M_PER_FOOT, words)} {words.unit('ft')}"
    return f"{plain_number(length_m, words)} m"


def wall_moment(text: str, words: Wording) -> str:
    """A wall-clock time as :meth:`Wording.moment` writes an instant."""
    local = datetime.fromisoformat(text)
    clock = words.wall_clock(local.hour * 60 + local.minute)
    return f"{words.short_day(local.date())}, {clock}"


def _text(text: str, words: Wording, zone: str) -> str:
    try:
        if _MOMENT.fullmatch(text):
            return words.moment(datetime.fromisoformat(text), zone)
        if _WALL.fullmatch(text):
            return wall_moment(text, words)
        if _DAY.fullmatch(text):
            return words.dated(date.fromisoformat(text))
    except ValueError:
        pass
    return words.gettext(text) if text else NOTHING


def _area(area_m2: float, words: Wording) -> str:
    if words.unit_system == US:
        return f"{plain_number(area_m2 / M2_PER_ACRE, words)} ac"
    return f"{plain_number(area_m2 / M2_PER_HECTARE, words)} ha"


def _flow(flow_l_per_h: float, words: Wording) -> str:
    if words.unit_system != US:
        return f"{plain_number(flow_l_per_h, words)} L/h"
    if flow_l_per_h >= _LARGE_FLOW_L_PER_H:
        return f"{plain_number(flow_l_per_h / L_PER_H_PER_GPM, words)} gal/min"
    return f"{plain_number(flow_l_per_h / L_PER_H_PER_GPH, words)} gal/h"


def _temperature(value_c: float, words: Wording) -> str:
    if words.unit_system == US:
        return f"{plain_number(value_c * FAHRENHEIT_PER_CELSIUS + FREEZING_POINT_F, words)} °F"
    return f"{plain_number(value_c, words)} °C"


def _volume(volume_l: float, words: Wording) -> str:
    if words.unit_system == US:
        return f"{plain_number(volume_l / L_PER_GALLON, words)} gal"
    return f"{plain_number(volume_l, words)} L"


_BY_ENDING: Final[tuple[tuple[str, Callable[[float, Wording], str]], ...]] = (
    ("_wall_min", lambda value, words: words.wall_clock(round(value))),
    ("_l_per_h", _flow),
    ("_mm_per_h", lambda value, words: f"{words.depth(value)}/h"),
    ("_mm", lambda value, words: words.depth(value)),
    ("_m2", _area),
    ("_m", length),
    ("_min", lambda value, words: f"{plain_number(value, words)} min"),
    ("_s", lambda value, words: f"{plain_number(value, words)} s"),
    ("_h", lambda value, words: f"{plain_number(value, words)} h"),
    ("_pct", lambda value, words: f"{plain_number(value, words)}%"),
    ("_fraction", lambda value, words: f"{plain_number(100.0 * value, words)}%"),
    ("_c", _temperature),
    ("_kpa", lambda value, words: f"{plain_number(value, words)} kPa"),
    ("_kg", lambda value, words: f"{plain_number(value, words)} kg"),
    ("_l", _volume),
    ("_year", lambda value, words: f"{value:.0f}"),
)
"""How a number is written, by the ending of its name; the first that fits."""


def _number(name: str, value: float, words: Wording) -> str:
    if not math.isfinite(value):
        return NOTHING
    if name in {"canopy_measured_year", "planting_year"}:
        return f"{value:.0f}"
    for ending, written in _BY_ENDING:
        if name.endswith(ending):
            return written(value, words)
    return plain_number(value, words)
