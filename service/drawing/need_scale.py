"""The scale of need: five classes of equal width, straw to loam, and the hatch of stand-ins."""

from __future__ import annotations

import math
from typing import Final

CLASSES: Final = 5
HATCH: Final = "hatch"
HATCH_PATTERN: Final = (
    f'<defs><pattern id="{HATCH}" width="6" height="6" patternUnits="userSpaceOnUse"'
    ' patternTransform="rotate(45)"><path class="hatch" d="M1.5 0v6"/></pattern></defs>'
)
"""Once a page, in a drawing that is always shown."""


def class_width(most: float) -> float:
    """A round width of class, so that five of them reach the largest value.

    >>> class_width(1.12), class_width(31.0), class_width(0.0)
    (0.25, 10.0, 0.2)
    """
    needed = most / CLASSES if most > 0.0 and math.isfinite(most) else 0.2
    power = 10.0 ** math.floor(math.log10(needed))
    return next(step * power for step in (1.0, 2.0, 2.5, 5.0, 10.0) if step * power >= needed)


def need_class(value: float, width: float) -> int:
    """The class of a value, 1 to 5; 0 where it is not known.

    >>> [need_class(value, 0.25) for value in (0.0, 0.25, 0.26, 1.3, math.nan)]
    [1, 1, 2, 5, 0]
    """
    if not math.isfinite(value):
        return 0
    return min(max(math.ceil(value / width - 1e-9), 1), CLASSES)
