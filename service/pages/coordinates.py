"""Latitude and longitude as people paste them: decimal degrees, or degrees, minutes and seconds.

Letters for the sides of the world, or the words *lat* and *lon*, say which number is which. Without
them the latitude comes first, as maps and satellite receivers write it, unless the first number can
only be a longitude: beyond the polar circles nothing is irrigated.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from service.errors import Fault, InputInvalid
from service.pages.number_fields import digits_of
from service.translations import Wording
from service.translations.catalogue import marked

FIELD = "coordinates"
ALLOWED = marked(
    "latitude and longitude, such as 35.91, -79.22 or 35°54'36\"N 79°13'12\"W; the latitude first"
    " unless letters say which is which, and either a sign or a letter with each"
)
ALLOWED_RANGE = marked("a latitude from -90 to 90 and a longitude from -180 to 180 degrees")
POLAR_CIRCLE_DEG = 66.57
"""Latitude of the polar circles: 90 degrees less the tilt of the axis, 23.43 degrees."""
SHOWN_DECIMALS = 3
"""Of degrees: to some hundred meters, within which weather is the same."""
_MARKS = {"°": 0, "'": 1, '"': 2}
_SIDES = {"N": ("LAT", 1), "S": ("LAT", -1), "E": ("LON", 1), "W": ("LON", -1), "O": ("LON", -1)}
"""Axis and sign; O is the west of Spanish, *oeste*."""
_SAME = str.maketrans({
    "\N{MINUS SIGN}": "-", "\N{EN DASH}": "-", "º": "°", "˚": "°",
    "\N{PRIME}": "'", "\N{RIGHT SINGLE QUOTATION MARK}": "'", "\N{ACUTE ACCENT}": "'", "`": "'",
    "\N{DOUBLE PRIME}": '"', "\N{RIGHT DOUBLE QUOTATION MARK}": '"',
    "\N{LEFT DOUBLE QUOTATION MARK}": '"', "\N{NO-BREAK SPACE}": " ",
})  # fmt: skip
_AXIS_WORD = re.compile(r"\b(lat|lon)[a-z]*\.?\s*[:=]?|\blng\s*[:=]?", re.IGNORECASE)
_UNIT_WORDS = (
    (re.compile(r"\s*(?:degrees?|deg|grados?)\b\.?", re.IGNORECASE), "°"),
    (re.compile(r"\s*(?:minutes?|minutos?|min)\b\.?", re.IGNORECASE), "'"),
    (re.compile(r"\s*(?:seconds?|segundos?|sec|seg)\b\.?", re.IGNORECASE), '"'),
    (re.compile(r"''"), '"'),
)
_SIDE_WORDS = (
    (re.compile(r"\b(?:north|norte)\b", re.IGNORECASE), "N"),
    (re.compile(r"\b(?:south|sur)\b", re.IGNORECASE), "S"),
    (re.compile(r"\b(?:east|este)\b", re.IGNORECASE), "E"),
    (re.compile(r"\b(?:west|oeste)\b", re.IGNORECASE), "W"),
)
_TOKEN = re.compile(r"\s*(?:([+-]?[0-9]+(?:\.[0-9]+)?)\s*([°'\"]?)|([NSEWO])|<(LAT|LON)>|([,;/]))")


@dataclass(frozen=True, slots=True)
class _Angle:
    """The numbers of one angle as they were written."""

    numbers: tuple[str, ...] = ()
    marks: tuple[str, ...] = ()
    axis: str = ""
    sign: int = 0
    """Of a letter; 0 where there is none."""


def read_coordinates(text: str) -> tuple[float, float]:
    """Latitude and longitude in degrees, north and east positive; raises InputInvalid.

    >>> read_coordinates("35.91, -79.22")
    (35.91, -79.22)
    >>> read_coordinates("79°13'12\\"W 35°54'36\\"N")
    (35.91, -79.22)
    """
    first, second = _split(_tokens(text), text)
    if first.axis == second.axis and first.axis:
        raise _refused(text)
    degrees = [_degrees(each, text) for each in (first, second)]
    is_swapped = first.axis == "LON" or second.axis == "LAT"
    if not first.axis and not second.axis:
        is_swapped = abs(degrees[0]) > POLAR_CIRCLE_DEG >= abs(degrees[1])
    latitude, longitude = reversed(degrees) if is_swapped else degrees
    if abs(latitude) > 90.0 or abs(longitude) > 180.0:
        raise _refused(text, ALLOWED_RANGE)
    return latitude, longitude


def shown_coordinates(latitude_deg: float, longitude_deg: float) -> str:
    """As a field shows them, to be read back as they are.

    >>> shown_coordinates(35.91, -79.22)
    '35.91, -79.22'
    """
    return f"{digits_of(latitude_deg, 7)}, {digits_of(longitude_deg, 7)}"


def place_text(latitude_deg: float, longitude_deg: float, words: Wording) -> str:
    """A place with the sides of the world, as a person checks it: 35.91° N, 79.22° W."""
    latitude = words.number(abs(latitude_deg), SHOWN_DECIMALS)
    longitude = words.number(abs(longitude_deg), SHOWN_DECIMALS)
    if latitude_deg >= 0.0:
        north = words.gettext("{latitude}° N", latitude=latitude)
    else:
        north = words.gettext("{latitude}° S", latitude=latitude)
    if longitude_deg >= 0.0:
        east = words.gettext("{longitude}° E", longitude=longitude)
    else:
        east = words.gettext("{longitude}° W", longitude=longitude)
    return f"{north}, {east}"


# --- parts ---------------------------------------------------------------------------------------


def _refused(text: str, allowed: str = ALLOWED) -> InputInvalid:
    return InputInvalid("no coordinates", [Fault(FIELD, repr(text[:60]), allowed)])


def _tokens(text: str) -> list[re.Match[str]]:
    """Numbers with their marks, letters, words for an axis, and separators."""
    plain = _AXIS_WORD.sub(
        lambda word: "<LAT>" if word[0].lower().startswith("lat") else "<LON>",
        text.translate(_SAME).removeprefix("geo:").strip().strip("()[]"),
    )
    for words, sign in (*_UNIT_WORDS, *_SIDE_WORDS):
        plain = words.sub(sign, plain)
    is_comma_decimal = "." not in plain and bool(
        re.search(r"[0-9],[0-9]", plain) and re.search(r"[;\s/]|,\s", plain.strip())
    )
    if is_comma_decimal:
        plain = re.sub(r"(?<=[0-9]),(?=[0-9])", ".", plain)
    plain = plain.upper()
    found = []
    place = 0
    while place < len(plain):
        token = _TOKEN.match(plain, place)
        if token is None or token.end() == place:
            raise _refused(text)
        found.append(token)
        place = token.end()
    return found


def _split(tokens: list[re.Match[str]], text: str) -> tuple[_Angle, _Angle]:
    """The two angles."""
    numbers = [token for token in tokens if token[1]]
    starts = _starts(tokens, numbers)
    angles = [_Angle(), _Angle()]
    if len(starts) != 2 or len(numbers) > 6:
        raise _refused(text)
    second = starts[1]
    separators = [place for place, token in enumerate(tokens) if token[5]]
    if len(separators) > 1 or any(place not in (second - 1, second) for place in separators):
        raise _refused(text)  # such as 35,9,-79,2, which may be decimals or minutes
    for place, token in enumerate(tokens):
        which = int(place >= second)
        angle = angles[which]
        if token[1]:
            angle = replace(
                angle, numbers=(*angle.numbers, token[1]), marks=(*angle.marks, token[2])
            )
        elif token[3] or token[4]:
            axis, sign = _SIDES[token[3]] if token[3] else (token[4], 0)
            if angle.axis not in ("", axis) or (token[3] and angle.sign):
                raise _refused(text)
            angle = replace(angle, axis=axis, sign=sign or angle.sign)
        angles[which] = angle
    return angles[0], angles[1]


def _starts(tokens: list[re.Match[str]], numbers: list[re.Match[str]]) -> list[int]:
    """Where the angles begin: at letters before them, after letters, at degrees, or in halves."""
    named = [place for place, token in enumerate(tokens) if token[3] or token[4]]
    if named and named[0] == 0:
        words = [place for place, token in enumerate(tokens) if token[4]]
        return words or named
    if named:
        return [0, named[0] + 1] if named[0] + 1 < len(tokens) else []
    places = [place for place, token in enumerate(tokens) if token[1]]
    at_degrees = [place for place in places if tokens[place][2] == "°"]
    if at_degrees:
        return at_degrees
    half, odd = divmod(len(numbers), 2)
    return [] if odd or not half else [places[0], places[half]]


def _degrees(angle: _Angle, text: str) -> float:
    """The angle in degrees; minutes and seconds are below 60, and only the last has decimals."""
    expected = tuple(_MARKS)[: len(angle.numbers)]
    if not 1 <= len(angle.numbers) <= 3 or any(
        mark not in ("", usual) for mark, usual in zip(angle.marks, expected, strict=True)
    ):
        raise _refused(text)
    parts = [abs(float(number)) for number in angle.numbers]
    is_signed = angle.numbers[0][0] in "+-"
    if (
        any("." in number for number in angle.numbers[:-1])
        or any(number[0] in "+-" for number in angle.numbers[1:])
        or any(part >= 60.0 for part in parts[1:])
        or (is_signed and angle.sign)
    ):
        raise _refused(text)
    size = sum(part / 60.0**place for place, part in enumerate(parts))
    negative = angle.sign < 0 or angle.numbers[0].startswith("-")
    return round(-size if negative else size, 7)
