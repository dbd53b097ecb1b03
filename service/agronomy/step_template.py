"""Numbers put into the templates of the reasoning.

In: a template with places such as ``{need_mm:.2f}``, and numbers by name. Out: the text, with a
question mark for each number that is not known.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import TypeGuard

Numbers = Mapping[str, float | None]


def put_in(template: str, values: Numbers, write: Callable[[float, int], str] | None = None) -> str:
    """A template of a step with its numbers put in; one that is not known is a question mark.

    Shapes: one template, and numbers by the names of its places.
    write: how a number with so many decimals is written; None: as Python does.
    Returns: text.
    >>> put_in("{need_mm:.2f} / {rate:.1f}", {"need_mm": 3.0})
    '3.00 / ?'
    """
    shown = {name: Shown(value, write or _plain_number) for name, value in values.items()}
    return template.format_map(_Missing(shown))


def _plain_number(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}"


def is_known(value: object) -> TypeGuard[float]:
    """Whether a value is a number that can be shown.

    Shapes: one value.
    Returns: False for None, NaN and what is no number.
    >>> is_known(2.0), is_known(None)
    (True, False)
    """
    return isinstance(value, int | float) and math.isfinite(value)


class Shown:
    """A number in a template; one that is not known is shown as a question mark."""

    def __init__(self, value: object, write: Callable[[float, int], str] = _plain_number) -> None:
        self._value = value
        self._write = write

    def __format__(self, spec: str) -> str:
        # Templates know one form of a place alone: decimals that stay, as in ".2f".
        decimals = int(spec.removeprefix(".").removesuffix("f"))
        return self._write(self._value, decimals) if is_known(self._value) else "?"


class _Missing(dict[str, Shown]):
    def __missing__(self, key: str) -> Shown:
        return Shown(None)
