"""What to look at on a visit, in spring and before winter, and what stands above all of it.

In: what is injected. Out: three lists of steps in the order in which they are done, and the
cautions. Steps are common practice; those of winter follow UGA Extension C 1094, Drip Irrigation
Checklist: Winterization, as far as it was read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.waterworks.caution import (
    BACKFLOW_PREVENTION,
    CHLORINE_NO_FERTILISER,
    INJECTION_ESTIMATE,
    NEVER_WITH_CHLORINE,
    Advisory,
)
from service.waterworks.head_injector import Substance


@dataclass(frozen=True, slots=True)
class Checklist:
    """Steps in the order in which they are done."""

    key: str
    title: str
    steps: tuple[str, ...]
    source: str


VISIT = "visit"
"""The list that is gone through on each visit."""
HEAD_PRESSURE = Advisory(
    "head-pressure",
    "Let the pressure off before anything is opened: close the main valve, open a flush end and see"
    " the gauges at zero. Every part must be rated for the highest pressure that the supply can"
    " reach, also with all valves shut.",
)
LOCAL_CODE = Advisory(
    "local-code",
    "Local code and licensed practice say which kind of backflow preventer there must be, where and"
    " how high it is put, and who installs and tests it. Nothing here chooses it. It protects water"
    " that people drink.",
)
LIST_ONLY = Advisory(
    "list-only",
    "This list counts what was described and assumed; it is no design. Have somebody who designs"
    " such systems check the pipes and the head before they are bought.",
)
ELECTRICITY = Advisory(
    "electricity",
    "Pumps, boosters and interlocks near water need protection against shock and a disconnect, by"
    " the electrical code and a licensed electrician.",
)


def head_cautions(substances: Sequence[Substance]) -> tuple[Advisory, ...]:
    """The warnings that are shown with every list of parts.

    Shapes: (substances,).
    Returns: advisories; those of injection wherever something is injected.
    >>> [each.key for each in head_cautions(())]
    ['local-code', 'head-pressure', 'electricity', 'list-only']
    """
    found = [LOCAL_CODE, HEAD_PRESSURE, ELECTRICITY, LIST_ONLY]
    if substances:
        found[1:1] = [BACKFLOW_PREVENTION, INJECTION_ESTIMATE]
    if Substance.CHLORINE in substances:
        found[1:1] = [CHLORINE_NO_FERTILISER]
    if Substance.ACID in substances or Substance.CHLORINE in substances:
        found[1:1] = [NEVER_WITH_CHLORINE]
    return tuple(found)


def checklists(substances: Sequence[Substance]) -> tuple[Checklist, ...]:
    """For a visit, for spring and for the end of the season.

    Shapes: (substances,).
    Returns: three checklists; steps about injectors only where something is injected.
    >>> [each.key for each in checklists(())]
    ['visit', 'spring', 'winter']
    """
    extra = _INJECTOR_STEPS if substances else {}
    return tuple(
        Checklist(key, title, (*steps, *extra.get(key, ())), source)
        for key, title, steps, source in (
            (VISIT, "On a visit", _VISIT, "common practice, no source"),
            ("spring", "Spring start-up: flush, test, walk", _SPRING, "common practice, no source"),
            ("winter", "End of the season: drain", _WINTER, _WINTER_SOURCE),
        )
    )


def check_texts() -> tuple[str, ...]:
    """Every title, step and caution, for translation.

    Shapes: result (texts,).
    Returns: sentences without gaps.
    >>> "On a visit" in check_texts()
    True
    """
    lists = checklists(tuple(Substance))
    return (
        *(text for each in lists for text in (each.title, *each.steps)),
        *(each.text for each in (LOCAL_CODE, HEAD_PRESSURE, ELECTRICITY, LIST_ONLY)),
    )


_WINTER_SOURCE = "UGA Extension C 1094 (read in part); else common practice, no source"
_VISIT = (
    "Read both gauges of the filter while water runs; note the difference, and clean it if it is"
    " due.",
    "Read the gauge behind the regulator of each zone.",
    "Read the meter over ten minutes and compare it with the flow of the zone.",
    "Open the last flush ends: water runs clear within a minute or two.",
    "Walk the lines: wet spots, dry plants, chewed or cut lines, emitters that spray.",
    "Catch the water of 16 or more emitters in equal times and enter the volumes.",
    "See that the backflow preventer is in place, and when it was last tested.",
)
_SPRING = (
    "Have the backflow preventer tested, where code asks for it, before it is used.",
    "Close the drains; put plugs, gauges and filter elements back.",
    "Fill slowly, with the ends of header and lines open, so that the air gets out.",
    "Flush in order: pipe, header, then the lines, a few at a time, until the water is clear.",
    "Close the ends and bring it up to pressure; read all gauges and write them down.",
    "Turn each zone on and off from its controller or timer.",
    "Walk every line under pressure; repair, and flush what was repaired.",
    "Catch the water of 16 or more emitters, and compare with last year.",
)
_WINTER = (
    "Flush header and lines a last time, in the order of the pipe.",
    "Turn off the supply and its power before the first freeze.",
    "Open the main drain, the flush valves and the flush ends, and let the lines drain; leave low"
    " ends open until they are empty, then close them against insects and rodents.",
    "Drain and clean the filter; take the element in, or follow the maker for sand.",
    "Drain the backflow preventer, the meter, valves and regulators, as their makers say; take in"
    " what frost would break.",
    "Blow out only by the rules of the parts' makers: air under pressure breaks parts and hurts"
    " people.",
    "Note what has to be mended by spring.",
)
_INJECTOR_STEPS = {
    VISIT: (
        "Watch the injector draw and stop with the water; see that nothing flows back into its"
        " bucket.",
    ),
    "spring": (
        "Run the injector on clean water first, and see that it stops when the water stops.",
    ),
    "winter": (
        "Rinse the injector with clean water, drain it and its tube, and store what is left of each"
        " product by its label, acid and chlorine far apart.",
    ),
}
