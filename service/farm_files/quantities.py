"""Quantities as people write them, turned into plain SI numbers: the one place that knows pint.

``"10 ft"`` becomes 3.048 where metres are wanted. The spellings of units are a closed list, because
an open unit parser reads some field spellings as something else altogether (``ac`` as a share of
the speed of light, ``Gal`` as an acceleration). A gallon is the US gallon, an acre the
international one. A number without its unit is refused wherever a unit is needed: a guess that is
wrong by the factor between feet and metres would water for the wrong time all season.

pint is loaded on the first quantity that needs a conversion; files in SI never need it.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, time
from fractions import Fraction
from functools import cache, lru_cache
from itertools import product
from typing import TYPE_CHECKING

from service.errors import Fault, InputInvalid

if TYPE_CHECKING:
    from pint import UnitRegistry

_NUMBER = re.compile(r"([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?)\s*(.*)")
_GROUPED = re.compile(r"[+-]?[0-9.]*[0-9],[0-9]")
_LONGEST_TEXT = 60
_WITH_UNIT = "with its unit: "

_UNITS: dict[str, dict[str, str]] = {
    "length": {
        "meter": "m meter meters metre metres",
        "centimeter": "cm centimeter centimeters centimetre centimetres",
        "millimeter": "mm millimeter millimeters millimetre millimetres",
        "kilometer": "km kilometer kilometers kilometre kilometres",
        "inch": "in in. inch inches",
        "foot": "ft ft. foot feet",
        "yard": "yd yard yards",
        "mile": "mi mile miles",
    },
    "area": {
        "meter**2": "m2 m^2 sqm",
        "foot**2": "ft2 ft^2 sqft",
        "hectare": "ha hectare hectares",
        # Not pint's acre, which rests on the survey foot, deprecated in 2022.
        "(43560*foot**2)": "ac acre acres",
    },
    "volume": {
        "liter": "l liter liters litre litres",
        "milliliter": "ml",
        "gallon": "gal gals gallon gallons",
        "meter**3": "m3 m^3",
        "foot**3": "ft3 ft^3",
    },
    "water": {
        "(43560*foot**3)": "ac-ft acft acre-feet acre-foot",
        "(3630*foot**3)": "ac-in acre-inches acre-inch",
    },
    "duration": {
        "second": "s sec secs second seconds",
        "minute": "min mins minute minutes",
        "hour": "h hr hrs hour hours",
        "day": "d day days",
    },
    "flow": {
        "gallon/hour": "gph",
        "gallon/minute": "gpm",
        "liter/hour": "lph",
        "liter/minute": "lpm",
    },
    "rate": {"mile/hour": "mph"},
    "pressure": {
        "pound_force_per_square_inch": "psi",
        "kilopascal": "kpa",
        "bar": "bar bars",
    },
    "temperature": {
        "degree_Celsius": "degc °c c",
        "degree_Fahrenheit": "degf °f f",
        "kelvin": "k kelvin",
    },
    "mass": {
        "kilogram": "kg kilogram kilograms",
        "gram": "g gram grams",
        "pound": "lb lbs pound pounds",
    },
    "share": {"percent": "% pct percent"},
}
"""Names for pint and spellings of the units, by what they measure."""
_QUOTIENTS = {
    "flow": ("volume", "duration"),
    "rate": ("length", "duration"),
    "dose": ("mass", "area"),
}
"""Measures that may also be written as one unit over another, ``L/h`` or ``in per h``."""
_WORDS: dict[str, str] = {
    spelling: name
    for names in _UNITS.values()
    for name, spellings in names.items()
    for spelling in spellings.split()
}
_DIMENSIONS: dict[str, str] = {
    name: dimension for dimension, names in _UNITS.items() for name in names
}
_DEGREE_DAY = re.compile(r"(degc|°c|c|degf|°f|f)[ *·-]*(?:d|day|days)")
_DEGREE_NAMES = {"c": "delta_degree_Celsius", "f": "delta_degree_Fahrenheit"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """What a key expects: the unit of the resulting number, and its bounds."""

    noun: str
    """In words with its article, for example ``a length``."""
    unit: str
    """Unit of the result, spelt as in a file; empty for a plain number or a share of one."""
    lowest: float
    highest: float
    examples: tuple[str, ...]
    """Two ways to write one, as in a file."""
    is_difference: bool = False
    """Whether a temperature is a difference of two: 9 degF are 5 degC, and so is a bare 5."""

    @property
    def takes_bare_numbers(self) -> bool:
        """Whether a number may come without a unit."""
        return self.unit in ("", "%") or self.is_difference

    @property
    def dimension(self) -> str:
        """What the unit measures, ``length`` for ``m``; only of a measure with a unit."""
        return "temperature difference" if self.is_difference else dimension_of(self.unit)

    def unit_name(self, spelling: str) -> str | None:
        """The name for pint of a unit that this may be written in; None for one not on the list."""
        name = _unit_name(spelling.casefold())
        if name is None or not self.is_difference:
            return name
        return f"delta_{name}" if name.startswith("degree_") else name

    def __str__(self) -> str:
        return self.in_words()

    def in_words(self, unit: str = "") -> str:
        """What is allowed, its bounds in a unit of the same kind, or else in the measure's own."""
        if not unit or _bounds_in(self, unit) is None:
            unit = self.unit
        lowest, highest = self.bounds_in(unit)
        return (
            f"{self.noun} such as {' or '.join(self.examples)}, {lowest} to {highest}"
            f"{' ' if unit else ''}{unit}"
        )

    def bounds_in(self, unit: str) -> tuple[str, str]:
        """The bounds in a unit of the same kind, rounded inwards; else in the measure's own."""
        bounds = _bounds_in(self, unit) if unit != self.unit else None
        return bounds or (f"{self.lowest:,.12g}", f"{self.highest:,.12g}")

    def amount(self, number: float, unit: str) -> str:
        """A number of this measure in a unit of the same kind, with the unit."""
        name, own = self.unit_name(unit), self.unit_name(self.unit)
        shown = _convert(repr(number), own, name) if name and own else None
        if shown is None or unit == self.unit:
            shown, unit = number, self.unit
        return f"{shown:.4g}{' ' if unit else ''}{unit}"

    def unit_for(self, unit_system: str) -> str:
        """The unit for readers of a unit system: for ``us`` that of an example in US units."""
        if unit_system == "us":
            for example in self.examples:
                spelling = _spelling_of(example.strip("'"))
                if spelling in _US_SPELLINGS:
                    return spelling
        return self.unit


_US_SPELLINGS = frozenset(
    {"ft", "in", "mi", "ac", "gal", "gph", "gpm", "psi", "lb", "mph", "in/h", "lb/ac", "gal/h"}
    | {"degF", "degF day"}
)
_SHOWN_DIGITS = 4
"""Digits of a bound in another unit than the measure's."""


def show(value: object) -> str:
    """A value as found, short enough for a message."""
    if value is None:
        return "nothing"
    try:
        text = value.isoformat() if isinstance(value, date | time) else repr(value)
    except ValueError:
        # Python refuses to print integers of more than 4300 digits.
        return "a number of very many digits"
    return text if len(text) <= 80 else f"{text[:77]}..."


def read_quantity(value: object, measure: Measure, *, where: str, unit_system: str = "") -> float:
    """The number in the unit of ``measure``; raises InputInvalid with one fault that says why not.

    The fault says the bounds in the unit that was written, or else in that of the unit system.

    A number written in exactly that unit comes back bit for bit, so that an exported file reads
    back equal. A bare number is accepted only where no unit is needed; where a percentage is asked
    for it counts as a share (0.85 is 85 %).
    """
    number, hint = _number_of(value, measure)
    # Written so that NaN fails it too.
    if hint or not measure.lowest <= number <= measure.highest:
        allowed = measure.in_words(_unit_written(value, measure) or measure.unit_for(unit_system))
        fault = Fault(where, show(value), f"{hint}{allowed}")
        raise InputInvalid("a quantity that cannot be used", [fault])
    return number


def _number_of(value: object, measure: Measure) -> tuple[float, str]:
    """The number in the unit of the measure, and what to say first where it cannot be read.

    NaN where it cannot be read and there is nothing to say but what is allowed.
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        return math.nan, ""
    if isinstance(value, str):
        return _read_text(value, measure)
    if not measure.takes_bare_numbers:
        return math.nan, _WITH_UNIT
    try:
        return float(value) * (100.0 if measure.unit == "%" else 1.0), ""
    except OverflowError:
        return math.inf, ""


def _unit_written(value: object, measure: Measure) -> str:
    """The unit that a text ends with, if it can measure the same; empty otherwise."""
    if not isinstance(value, str) or measure.unit in ("", "%"):
        return ""
    spelling = _spelling_of(value)
    name, target = measure.unit_name(spelling), measure.unit_name(measure.unit)
    is_same_kind = name and target and _convert("1", name, target) is not None
    return spelling if is_same_kind else ""


def _spelling_of(text: str) -> str:
    """The unit at the end of a quantity, ``in/h`` for ``0.4 in per h``; empty without one."""
    match = _NUMBER.fullmatch(unicodedata.normalize("NFKC", text).strip())
    if match is None or len(text) > _LONGEST_TEXT:
        return ""
    return "/".join(word.strip() for word in re.split(r"/| per ", match[2].strip()))


def _bounds_in(measure: Measure, unit: str) -> tuple[str, str] | None:
    """The bounds in another unit, rounded towards what is allowed; None for one of another kind."""
    name, own = measure.unit_name(unit), measure.unit_name(measure.unit)
    if not name or not own:
        return None
    ends = [_convert(repr(bound), own, name) for bound in (measure.lowest, measure.highest)]
    lowest, highest = ends
    if lowest is None or highest is None:
        return None
    return _rounded(lowest, math.ceil), _rounded(highest, math.floor)


def _rounded(number: float, towards: Callable[[float], int]) -> str:
    """A number in few digits, rounded up or down; what floats leave of a whole number is not."""
    if number == 0.0 or not math.isfinite(number):
        return f"{number:g}"
    step = 10.0 ** (math.floor(math.log10(abs(number))) + 1 - _SHOWN_DIGITS)
    nearest = round(number / step)
    steps = nearest if abs(number / step - nearest) < 1e-6 else towards(number / step)
    return f"{steps * step:,.{_SHOWN_DIGITS}g}" if abs(number) < 1e4 else f"{steps * step:,.0f}"


def write_quantity(number: float, unit: str) -> str:
    """A number in a unit, written so that :func:`read_quantity` gives back the same bits."""
    return f"{number!r} {unit}" if unit else repr(number)


def is_in_inches(text: str) -> bool:
    """Whether a quantity is written in inches."""
    return _unit_name(_spelling_of(text).casefold()) == "inch"


def dimension_of(unit: str) -> str:
    """What a unit measures, ``length`` for ``m``."""
    if _DEGREE_DAY.fullmatch(unit.casefold()):
        return "sum of degree days"
    parts = [_DIMENSIONS[_WORDS[word.casefold()]] for word in unit.split("/")]
    if len(parts) == 1:
        return parts[0]
    return next(name for name, quotient in _QUOTIENTS.items() if quotient == tuple(parts))


def units_of(dimension: str) -> tuple[str, ...]:
    """The shortest spelling of each unit that measures something."""
    if dimension == "sum of degree days":
        return ("degC day", "degF day")
    if dimension == "head of water":
        return (*units_of("length"), *units_of("pressure"))
    if dimension == "temperature difference":
        return units_of("temperature")
    short = tuple(spellings.split()[0] for spellings in _UNITS[dimension].values())
    quotients = [units_of(part) for part in _QUOTIENTS.get(dimension, ())]
    return (*short, *("/".join(pair) for pair in product(*quotients) if pair))


def spelling_pattern(dimension: str) -> str:
    """A regular expression for all spellings of the units of a dimension.

    A head of water is a length or a pressure.
    """
    if dimension == "sum of degree days":
        return "([dD][eE][gG]|°)?[cCfF][ *·-]*[dD]([aA][yY][sS]?)?"
    if dimension == "head of water":
        return f"{spelling_pattern('length')}|{spelling_pattern('pressure')}"
    if dimension == "temperature difference":
        return spelling_pattern("temperature")
    spellings = " ".join(_UNITS[dimension].values()).split()
    parts = [_in_any_case(each) for each in spellings]
    if dimension in _QUOTIENTS:
        over, under = (spelling_pattern(part) for part in _QUOTIENTS[dimension])
        parts.append(rf"({over})\s*(/| [pP][eE][rR] )\s*({under})")
    return "|".join(parts)


def _in_any_case(spelling: str) -> str:
    """A regular expression for a spelling in lower or upper case, with superscript digits too."""
    signs = {"2": "[2²]", "3": "[3³]"}
    return "".join(
        signs.get(sign, f"[{sign}{sign.upper()}]" if sign.isalpha() else re.escape(sign))
        for sign in spelling
    )


def _read_text(value: str, measure: Measure) -> tuple[float, str]:
    """As :func:`_number_of`, for a text."""
    text = unicodedata.normalize("NFKC", value).strip()
    if len(text) > _LONGEST_TEXT:
        return math.nan, ""
    if _GROUPED.match(text):
        return math.nan, "no comma, and a point before decimals: "
    match = _NUMBER.fullmatch(text)
    if match is None:
        return math.nan, ""
    number, spelling = float(match[1]), match[2].casefold().strip()
    if not spelling:
        if not measure.takes_bare_numbers:
            return math.nan, _WITH_UNIT
        return number * (100.0 if measure.unit == "%" else 1.0), ""
    if not math.isfinite(number):
        return math.nan, ""
    if spelling == measure.unit.casefold():
        return number, ""
    name = measure.unit_name(spelling)
    if name == "percent" and measure.unit in ("", "%"):
        return (number if measure.unit else number / 100.0), ""
    target = measure.unit_name(measure.unit)
    converted = _convert(match[1], name, target) if name and target else None
    return (math.nan if converted is None else converted), ""


@cache
def _unit_name(spelling: str) -> str | None:
    """The unit's name for pint, or None for a spelling that is not on the list."""
    if degree_day := _DEGREE_DAY.fullmatch(spelling):
        return f"{_DEGREE_NAMES[degree_day[1][-1]]}*day"
    words = [word.strip() for word in re.split(r"/| per ", spelling)]
    names = [_WORDS.get(word) for word in words]
    if len(words) > 2 or None in names:
        return None
    return "/".join(f"({name})" for name in names) if len(names) > 1 else names[0]


@cache
def _registry() -> UnitRegistry[Fraction]:
    import pint  # noqa: PLC0415 - slow to load, and files in SI do without it

    # Exact arithmetic: 10 ft are 3.048 m, not 3.0479999999999996.
    return pint.UnitRegistry(non_int_type=Fraction, cache_folder=None)


@lru_cache(maxsize=4096)
def _convert(number: str, name: str, target: str) -> float | None:
    """The number in the target unit, or None if the two do not measure the same thing."""
    registry = _registry()
    # Taken apart, because the text "50 degree_Fahrenheit" would multiply a unit that has an offset.
    factor = registry.parse_expression(name)
    unit = registry.parse_expression(target)
    quantity = registry.Quantity(Fraction(number) * Fraction(factor.magnitude), factor.units)
    if quantity.dimensionality != unit.dimensionality:
        return None
    try:
        return float(quantity.to(unit.units).magnitude / Fraction(unit.magnitude))
    except OverflowError:
        return math.inf
