"""How one step of the reasoning behind a plan is shown: label, unit, equation and source.

This is a record, not a step. In: the numbers of one plan. Out: which template fits it. A rule names
the number that it gives; its equation has places for the numbers that a reader types to get it,
with decimals enough to come out at the number shown. Where an equation depends on the case (the
stage of the season, a season in degree days), a rule has one template for each and chooses by the
numbers of the plan.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from service.agronomy.step_template import Numbers


def always(numbers: Numbers) -> int | None:
    """A step with one template for every plan.

    Shapes: the numbers of one plan.
    Returns: the first template.
    """
    return 0


@dataclass(frozen=True, slots=True)
class StepRule:
    """How one step is shown."""

    name: str
    """The quantity's name in the nomenclature."""
    label: str
    unit: str
    decimals: int
    source: str
    templates: tuple[str, ...]
    """The equation as words and places for numbers, ``{name:.2f}``; one for each case."""
    chosen: Callable[[Numbers], int | None] = always
    """Which of the templates fits the numbers of a plan; None: the step has no place in it."""


def has(name: str) -> Callable[[Numbers], int | None]:
    """A step that plans of earlier versions of the service do not have.

    Shapes: one name.
    Returns: what chooses the template: the first where the plan has that number, else none.
    >>> has("need_mm")({"need_mm": 1.0}), has("need_mm")({})
    (0, None)
    """
    return lambda numbers: None if numbers.get(name) is None else 0
