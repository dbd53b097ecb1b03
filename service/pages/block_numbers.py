"""All numbers of a block: what was given, what is a default, what follows, and from what."""

from __future__ import annotations

import math
from collections.abc import Iterable

from starlette.responses import Response

from service.delivery.value_words import label_of, value_of
from service.errors import PlanNotFound
from service.operations.reading.block_numbers import (
    DERIVED,
    DERIVED_ORIGINS,
    GIVEN,
    BlockNumber,
    BlockNumbers,
    block_numbers,
)
from service.operations.reading.read_plans import PlanView, get_plan, plan_steps
from service.pages.block_day import shown_steps
from service.pages.plans import farm_of
from service.pages.visit import Visit
from service.translations import Wording
from service.translations.catalogue import marked
from service.translations.number_labels import DERIVED_LABELS
from service.translations.wording import US
from service.unit_sizes import MM_PER_INCH

Row = tuple[str, str, str]
_PER_MIN = "_mm_per_min"
_ORIGINS = (marked("not given"), marked("no canopy measured on a day"), marked("by crop and place"))
"""Origins of numbers that have no default, which no key of a farm file names."""


def show_numbers(visit: Visit) -> Response:
    """The page: derived numbers first, then those of the farm file, then the plan's steps."""
    farm, words = farm_of(visit), visit.words
    service = visit.service
    found = block_numbers(
        visit.params["block_id"], unit_of_work=service.unit_of_work, clock=service.clock
    )
    view = _latest_plan(visit, found.block.block_id)
    stated = [each for each in found.stated if each.kind == GIVEN]
    defaults = [each for each in found.stated if each.kind != GIVEN]
    return visit.show(
        "block_numbers.html",
        farm=farm,
        block=found.block,
        day=words.dated(found.day),
        derived=_rows(found, found.derived, view, words),
        stated=_rows(found, stated, view, words),
        defaults=_rows(found, defaults, view, words),
        plan_day="" if view is None else words.long_day(view.plan.day),
        steps=() if view is None else shown_steps(plan_steps(view), words),
    )


def _latest_plan(visit: Visit, block_id: str) -> PlanView | None:
    try:
        return get_plan(block_id, day=None, unit_of_work=visit.service.unit_of_work)
    except PlanNotFound:
        return None


def _rows(
    found: BlockNumbers, numbers: Iterable[BlockNumber], view: PlanView | None, words: Wording
) -> list[Row]:
    """Name, value and source of each; what was given needs none."""
    return [
        (_name(each, words), _value(each, words), _source(found, each, view, words))
        for each in numbers
    ]


def _name(number: BlockNumber, words: Wording) -> str:
    if number.kind == DERIVED and number.name in DERIVED_LABELS:
        return words.gettext(DERIVED_LABELS[number.name])
    return label_of(number.name, words)


def _value(number: BlockNumber, words: Wording) -> str:
    if math.isinf(number.value):
        return words.gettext("no limit")
    if number.name.endswith(_PER_MIN):
        rate = number.value / MM_PER_INCH if words.unit_system == US else number.value
        unit = words.unit("in") if words.unit_system == US else "mm"
        return f"{words.number(rate, 4)} {unit}/min"
    return value_of(number.name, number.value, words, "UTC")


def _source(found: BlockNumbers, number: BlockNumber, view: PlanView | None, words: Wording) -> str:
    if number.kind == GIVEN:
        return ""
    if number.kind != DERIVED:
        return words.gettext(number.origin) if number.origin else "–"
    if number.name == "crop_coefficient":
        return words.gettext("the plan; its parts are among the steps below")
    return words.gettext(DERIVED_ORIGINS[number.name], year=found.day.year)
