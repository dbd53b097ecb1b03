"""Setting up a farm as numbered steps: which are done, where one stands, and what comes next.

The steps are shown until the first plan of the farm is made. Each is a form that is there
anyway; what it stores is kept, so that one can stop at any step and come back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from service.operations.reading.set_up_progress import SetUpProgress, read_progress
from service.pages.visit import Visit
from service.records.farms import FarmDefinition
from service.translations import Wording
from service.translations.catalogue import marked


class Step(StrEnum):
    """The steps in their order, by the end of the address of each."""

    FARM = "edit"
    WATER = "supplies/new"
    BLOCK = "blocks/new"
    SOIL = "soil-now"
    WEATHER = "first-weather"
    PLAN = "tomorrow"


_NAMES = {
    Step.FARM: marked("Farm"),
    Step.WATER: marked("Water"),
    Step.BLOCK: marked("Block"),
    Step.SOIL: marked("Soil now"),
    Step.WEATHER: marked("Weather"),
    Step.PLAN: marked("First plan"),
}
_ORDER = tuple(Step)


@dataclass(frozen=True, slots=True)
class ShownStep:
    """A step as the list of steps shows it."""

    name: str
    is_done: bool
    is_here: bool
    address: str
    """Empty: it cannot be gone to from here."""


@dataclass(frozen=True, slots=True)
class SetUp:
    """A farm on its way to its first plan."""

    steps: tuple[ShownStep, ...]
    number: int
    """Of the step that the page is, from 1; 0 where it is none."""
    title: str
    before: ShownStep | None
    following: ShownStep | None
    """The step after this one; on a page that is none, the first that is not done."""


def set_up_of(visit: Visit, farm: FarmDefinition, here: Step | None) -> SetUp | None:
    """The steps of a farm; None once its first plan is made."""
    progress = read_progress(
        farm, unit_of_work=visit.service.unit_of_work, clock=visit.service.clock
    )
    if progress is None:
        return None
    if visit.service.refreshers:  # they are asked for the first plan
        progress = replace(progress, has_weather=True)
    return _set_up(progress, here, farm.farm_id, visit.words)


def new_set_up(words: Wording) -> SetUp:
    """The steps of a farm that is still to be stored."""
    nothing = SetUpProgress((), (), knows_soil=False, has_weather=False)
    return _set_up(nothing, Step.FARM, "", words)


def next_address(visit: Visit, farm: FarmDefinition, stored: Step) -> str:
    """Where to go on after a step was stored; empty once the first plan is made."""
    found = set_up_of(visit, farm, stored)
    return "" if found is None or found.following is None else found.following.address


def _set_up(progress: SetUpProgress, here: Step | None, farm_id: str, words: Wording) -> SetUp:
    done = {
        Step.FARM: bool(farm_id),
        Step.WATER: bool(progress.supply_ids),
        Step.BLOCK: bool(progress.block_ids),
        Step.SOIL: progress.knows_soil,
        Step.WEATHER: progress.has_weather,
        Step.PLAN: False,
    }
    addresses = {step: f"/farms/{farm_id}/{step}" for step in _ORDER}
    if progress.supply_ids:
        addresses[Step.WATER] = f"/farms/{farm_id}/supplies/{progress.supply_ids[-1]}/edit"
    if progress.block_ids:
        addresses[Step.BLOCK] = f"/blocks/{progress.block_ids[-1]}/edit"
    steps = []
    is_open = bool(farm_id)
    for step in _ORDER:
        steps.append(
            ShownStep(
                words.gettext(_NAMES[step]),
                is_done=done[step],
                is_here=step is here,
                address=addresses[step] if is_open else "",
            )
        )
        # Soil and weather may be left as they are; nothing comes after a step that is needed.
        is_open = is_open and (done[step] or step in (Step.SOIL, Step.WEATHER))
    place = next((row for row, step in enumerate(steps) if step.is_here), None)
    if place is None:
        following = next(step for step in steps if not step.is_done)
        return SetUp(tuple(steps), 0, "", None, following)
    return SetUp(
        tuple(steps),
        place + 1,
        words.gettext(
            "Step {number} of {count}: {name}",
            number=words.number(place + 1),
            count=words.number(len(steps)),
            name=steps[place].name,
        ),
        steps[place - 1] if place and farm_id else None,
        steps[place + 1] if place + 1 < len(steps) else None,
    )
