"""How sure a block's plan is: forecasts of rain, chances of running short, the days ahead."""

from __future__ import annotations

from dataclasses import dataclass

from service.agronomy.civil_day import ONE_DAY
from service.database.session import UnitOfWork
from service.delivery.spread_words import (
    NO_SPREAD,
    band_words,
    hindsight_words,
    rain_band_words,
    short_chance_words,
)
from service.operations.mail.evening_mail import site_line
from service.operations.reading.block_lines import line_of_plan
from service.operations.reading.hindsight import last_hindsight
from service.operations.reading.read_plans import PlanView
from service.translations import Wording


@dataclass(frozen=True, slots=True)
class DayAhead:
    """One of the coming days."""

    day: str
    expected: str
    between: str


@dataclass(frozen=True, slots=True)
class BlockDoubt:
    """What the page says of it."""

    sentences: tuple[str, ...]
    days: tuple[DayAhead, ...]
    """Empty where no day has a band."""


def block_doubt(unit: UnitOfWork, view: PlanView, words: Wording) -> BlockDoubt | None:
    """How sure the plan of a block is; says so where that is not known. None: nothing to say."""
    line, day = line_of_plan(view), view.plan.day
    known = [
        text
        for text in (
            rain_band_words(site_line(view.block.site_id, view), words),
            short_chance_words(line, day, words),
        )
        if text
    ]
    if not known and line.status != "no-weather" and not line.is_dormant:
        known = [words.gettext(NO_SPREAD)]
    looked_back = hindsight_words(
        last_hindsight(unit, view.plan.block_id, day), day - ONE_DAY, words
    )
    has_bands = any(each.band_min is not None for each in line.outlook)
    if not known and not looked_back:
        return None
    return BlockDoubt(
        sentences=tuple(known) + ((looked_back,) if looked_back else ()),
        days=tuple(
            DayAhead(
                words.short_day(each.day),
                "?" if each.expected_min is None else words.number(each.expected_min),
                band_words(each, words),
            )
            for each in line.outlook
            if each.day > day
        )
        if has_bands
        else (),
    )
