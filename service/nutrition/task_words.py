"""The tasks of a season in words: what each is, how it is done, why, and where that is from.

In: a kind of task. Out: its texts, in English and without values, so that they can be translated.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

COMMON = "common practice, no source"


class TaskKind(enum.StrEnum):
    """What is to be done; the values are in addresses of calendars and do not change."""

    START_UP = "spring-start-up"
    WATER_TEST = "water-test"
    CATCH_TEST = "catch-test"
    LEAF_SAMPLE = "leaf-sample"
    SOIL_SAMPLE = "soil-sample"
    ACID = "acid"
    NITROGEN = "nitrogen"
    LAST_NITROGEN = "last-nitrogen"
    SULFUR = "sulfur"
    SOIL_RETEST = "soil-retest"
    END_OF_SEASON = "end-of-season"
    WINTER = "winter"


@dataclass(frozen=True, slots=True)
class TaskText:
    """The words of a kind of task."""

    title: str
    reason: str
    how: tuple[str, ...]
    source: str = COMMON


STAGE_DECIDES = "The stage decides, not the date: look for it in these days."
NO_WATER_TEST = "No water analysis is on file: have the water tested first."
PETIOLES = "Petiole sample"
LATER_PART = (
    "Only if the new soil test still asks for it; at the same depth and by its own numbers."
)
FROST_ONLY = (
    "Before the first freeze: drain or cover what frost would break, above all at the head."
)

TASK_TEXTS: Mapping[TaskKind, TaskText] = MappingProxyType(
    {
        TaskKind.START_UP: TaskText(
            "Spring start-up: flush, test, walk",
            "Before the watering season opens, so that the first water reaches every plant.",
            (
                "Fill slowly with open ends; flush pipe, header and lines in this order; bring it"
                " up to pressure, read all gauges, and walk every line.",
                "Not while hard freezes are still to be expected.",
            ),
        ),
        TaskKind.WATER_TEST: TaskText(
            "Water test",
            "Acid, chlorine, filter and credits for nitrate rest on an analysis of this year.",
            (
                "Let the water run until it comes from the source and not from the pipe; fill the"
                " laboratory's bottle, keep it cool and send it on the same day.",
                "Ask for pH, alkalinity, EC, calcium, iron, manganese, sodium, chloride, boron,"
                " nitrate and suspended solids.",
            ),
        ),
        TaskKind.CATCH_TEST: TaskText(
            "Catch test: emission uniformity",
            "Minutes rest on how evenly the emitters give; clogging shows here first.",
            (
                "Catch the water of 16 or more emitters in equal times, all along first, middle"
                " and last lines, and enter the volumes; compare with last year.",
            ),
        ),
        TaskKind.LEAF_SAMPLE: TaskText(
            "Leaf sample",
            "Ranges hold for one tissue at one time; the same dates each year make years"
            " comparable.",
            (
                "One variety, one soil and one age to a sample; healthy and poor plants apart.",
                "Not within 14 days of a foliar spray; for Zn, B, Mn and Cu not within 30.",
                "Dry, in paper and never in plastic, to the laboratory on the same day.",
            ),
        ),
        TaskKind.SOIL_SAMPLE: TaskText(
            "Soil sample",
            "Soil pH, P and K move slowly: every year where the crop wants an acid soil, else every"
            " second year, in the same season and at the same depth.",
            (
                "15 to 20 cores under the drip line, 0 to 20 cm (8 in) deep, mixed; mulch brushed"
                " aside, fertilizer of the season kept out.",
                "The same laboratory and extract as last time, or the numbers cannot be compared.",
            ),
        ),
        TaskKind.ACID: TaskText(
            "Acid window",
            "This crop wants an acid soil, and alkalinity in the water raises its pH while it"
            " is watered.",
            (
                "Only by the acid estimate of the newest water analysis and a titration of the"
                " water itself; measure the pH at the last emitters.",
            ),
        ),
        TaskKind.NITROGEN: TaskText(
            "Nitrogen window",
            "The months in which this crop takes up nitrogen for growth, up to its last day.",
            (
                "By the season's plan of nutrients, in small parts; the laboratory's own"
                " recommendation, the law and nutrient management plans stand above it.",
            ),
        ),
        TaskKind.LAST_NITROGEN: TaskText(
            "Last day for nitrogen",
            "Later nitrogen keeps growth soft into autumn and can cost wood and flower buds.",
            ("No order to inject nitrogen after it without good reason.",),
        ),
        TaskKind.SULFUR: TaskText(
            "Sulfur, split",
            "The soil is above the pH that this crop wants; one large application can harm roots.",
            (
                "On moist soil above 10 °C (50 °F), under the drip line and never on wet, airless"
                " ground.",
                "By the split of the season's plan; stop at 0.2 above the target.",
            ),
            "published tables and splits of the season's plan; its days are this project's choice",
        ),
        TaskKind.SOIL_RETEST: TaskText(
            "Soil pH again before the next sulfur",
            "Published sulfur tables differ threefold for one soil: the next part only after a new"
            " soil pH.",
            ("At the same depth and place as before, 3 months (warm) to 12 months later.",),
            "3 to 12 months as with the season's plan; common practice, no source",
        ),
        TaskKind.END_OF_SEASON: TaskText(
            "End of the season: flush and drain",
            "Water left in filter, valves and low ends freezes and breaks them.",
            (
                "Flush a last time, turn off supply and power, open drains and ends, drain and"
                " clean the filter; before the first freeze, whatever the calendar says.",
                "Note what has to be mended by spring.",
            ),
        ),
        TaskKind.WINTER: TaskText(
            "Winter: mend and plan",
            "While nothing runs there is time for what spring needs.",
            (
                "Mend what the end of the season showed; order parts; read this year's tests and"
                " visit notes, and plan next year's nutrients.",
            ),
        ),
    }
)


def task_texts() -> tuple[str, ...]:
    """Every title, reason and step, for translation.

    Shapes: result (texts,).
    Returns: texts without values, each once.
    >>> "Water test" in task_texts()
    True
    """
    found = [STAGE_DECIDES, NO_WATER_TEST, PETIOLES, LATER_PART, FROST_ONLY]
    for each in TASK_TEXTS.values():
        found += [each.title, each.reason, *each.how]
    return tuple(dict.fromkeys(found))
