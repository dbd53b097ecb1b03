"""Fields of forms that hold a number without a unit."""

from __future__ import annotations

import math
from collections.abc import Mapping

SHOWN_DIGITS = 5
_LONGEST_DEFAULT = len("0.75")
_ROUNDED_SHARE = 0.01


def digits_of(value: float, digits: int = SHOWN_DIGITS) -> str:
    """A number with so many digits that count, as a field takes it."""
    places = digits - 1 - math.floor(math.log10(abs(value))) if value else 0
    rounded = round(value, places)
    text = f"{rounded:.{max(0, places)}f}"
    return text.rstrip("0").rstrip(".") if places > 0 else text


def in_few_digits(value: float) -> str:
    """A number that nobody entered; what a conversion made long is rounded, 4.9 for 4.9213.

    Rounding changes it by a hundredth at most.
    """
    if len(digits_of(value)) <= _LONGEST_DEFAULT:
        return digits_of(value)
    shown = (digits_of(value, digits) for digits in range(1, SHOWN_DIGITS))
    near = (text for text in shown if abs(float(text) - value) <= _ROUNDED_SHARE * abs(value))
    return next(near, digits_of(value))


def entered_number(form: Mapping[str, str], name: str) -> float | str | None:
    """A field without a unit; as it is where it is no number, for the reader to refuse."""
    text = form.get(name, "").replace(",", ".")
    if not text:
        return None
    try:
        number = float(text)
    except ValueError:
        return text
    return int(number) if number.is_integer() else number


def optional_number(asked: Mapping[str, str], name: str) -> float | None:
    """A field that may stay empty; NaN where it is no number, for an operation to refuse."""
    text = asked.get(name, "").strip()
    return number_or_nan(text) if text else None


def number_or_nan(text: str) -> float:
    """A number with a point or a comma; NaN where it is none."""
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return math.nan
