"""A day and the state of its blocks, in a reader's language: for mails and pages."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.reasoning import explain_cause
from service.delivery.day_order import BlockState, waiting_mm
from service.delivery.plain_text import LONGEST_STORED, clean
from service.records.letters import BlockLine, EveningLetter
from service.translations import Wording
from service.translations.catalogue import marked

STATE_WORDS = {
    BlockState.UNKNOWN: marked("No plan"),
    BlockState.SHORT: marked("Short"),
    BlockState.WATER: marked("Water"),
    BlockState.PAUSED: marked("Paused"),
    BlockState.REST: marked("Rest"),
}


@dataclass(frozen=True, slots=True)
class ClockTime:
    """A time of day, and the half of the day where the reader's clock has one."""

    time: str
    half: str

    @classmethod
    def of(cls, instant: datetime, zone: str, words: Wording) -> ClockTime:
        """The time of an instant on a zone's clock."""
        time, _, half = words.clock(instant, zone).replace("\u202f", " ").partition(" ")
        return cls(time, half)


def is_midnight_tonight(instant: datetime, letter: EveningLetter, read_on: date) -> bool:
    """Whether an opening is at the midnight that follows the day of reading: people ask which."""
    local = instant.astimezone(ZoneInfo(letter.zone))
    return (local.hour, local.minute) == (0, 0) and letter.day == read_on + ONE_DAY


def first_to_come(letter: EveningLetter, words: Wording) -> tuple[str, ...]:
    """Which block comes first, and when, of the days ahead."""
    coming = [
        (each.day, clean(line.name, longest=LONGEST_STORED))
        for line in letter.blocks
        for each in line.outlook
        if each.day > letter.day and each.expected_min
    ]
    if not coming:
        return ()
    day, name = min(coming)
    return (
        words.gettext(
            "{block} is expected to come first, on {day}.", block=name, day=words.short_day(day)
        ),
    )


def day_summary(letter: EveningLetter, words: Wording) -> str:
    """How many blocks get water, and how much; empty where none does."""
    watered = [line for line in letter.blocks if line.planned_min > 0]
    if not watered:
        return ""
    return words.gettext(
        "{count} of {total} blocks, {volume}",
        count=words.number(len(watered)),
        total=words.number(len(letter.blocks)),
        volume=words.volume(sum(line.volume_l for line in watered)),
    )


def state_says(line: BlockLine, state: BlockState, letter: EveningLetter, words: Wording) -> str:
    """What comes after the word for a block's state."""
    if state is BlockState.UNKNOWN:
        return words.gettext("the weather is not known")
    if state is BlockState.PAUSED and line.pause is not None:
        ends = line.pause.ends_local
        return words.gettext(
            "{reason}, until {day}, {clock}",
            reason=clean(line.pause.reason, longest=LONGEST_STORED),
            day=words.short_day(ends.date()),
            clock=words.wall_clock(ends.hour * 60 + ends.minute),
        )
    if line.pulses:
        return words.ngettext(
            "from {start}, {count} opening",
            "from {start}, {count} openings",
            len(line.pulses),
            start=words.clock(line.pulses[0].starts_at, letter.zone),
        )
    if line.is_dormant:
        return words.gettext("dormant")
    if state is BlockState.SHORT:
        return words.gettext("nothing can run")
    coming = next(
        (each.day for each in line.outlook if each.day > letter.day and each.expected_min), None
    )
    if coming is None:
        return words.gettext("enough in the soil for the days ahead")
    return words.gettext("enough in the soil until {day}", day=words.short_day(coming))


def why_it_waits(line: BlockLine, state: BlockState, words: Wording) -> tuple[str, ...]:
    """How much of a short block's need waits, and for want of what."""
    cause = explain_cause(line.cause)
    if state is not BlockState.SHORT or not cause:
        return ()
    return (
        words.gettext(
            "{depth} waits: {cause}.",
            depth=words.depth(waiting_mm(line)),
            cause=words.gettext(cause),
        ),
    )


def missing_words(line: BlockLine, words: Wording) -> str:
    """What the soil lacks by the evening, and from where on the block gets water."""
    missing, trigger = (line.numbers.get(f"{name}_mm") for name in ("planned_depletion", "trigger"))
    if line.status == "no-weather" or missing is None:
        return ""
    return words.gettext(
        "{missing} missing by evening, water from {trigger}",
        missing=words.depth(max(missing, 0.0)),
        trigger=words.depth(math.nan if trigger is None else trigger),
    )
