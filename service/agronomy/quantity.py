"""One line of the nomenclature.

In: nothing. Out: :class:`Quantity`, what the table says of one name.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Quantity:
    """One name of the nomenclature."""

    name: str
    unit: str
    """As in ``units.SUFFIX_UNITS``; ``1`` for a pure number."""
    minimum: float
    maximum: float
    """A value outside this closed range is a mistake, not a hard case."""
    meaning: str
