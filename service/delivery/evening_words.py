"""The text of tomorrow's plan, shared by the plain and the HTML part of the mail."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.pulse_plan import is_news
from service.agronomy.reasoning import PlanFlag, explain_cause, reason_of
from service.delivery.caution_words import (
    degraded,
    flag_sentences,
    shared_flags,
    shared_sentences,
)
from service.delivery.day_order import BlockState, most_urgent_first, state_of
from service.delivery.day_words import STATE_WORDS, day_summary, missing_words, state_says
from service.delivery.evening_day import (
    ActWords,
    OpeningWords,
    act_words,
    day_headline,
    glance_words,
    opening_words,
    short_words,
    sky_lines,
    subject_of,
)
from service.delivery.foot_words import (
    caution_words,
    issue_words,
    source_words,
    weather_words,
)
from service.delivery.injection_words import injection_words
from service.delivery.meter_words import meter_notes
from service.delivery.plain_text import clean
from service.delivery.spread_words import news_of_hindsight, risk_words
from service.delivery.timer_words import timer_notes
from service.delivery.trial_words import notice_words
from service.records.letters import BlockLine, EveningLetter, SiteLine
from service.translations import Wording

_SAID_OF_TIMER = int(PlanFlag.TIMER_CANNOT_KEEP_UP)
"""What the notes on the timer say, with what mends it."""


@dataclass(frozen=True, slots=True)
class DayCell:
    """One of the next days of a block."""

    weekday: str
    minutes: str
    is_tomorrow: bool


@dataclass(frozen=True, slots=True)
class BlockWords:
    """One block."""

    name: str
    state: BlockState
    word: str
    """The word for its state."""
    says: str
    """What comes after that word."""
    missing: str
    minutes: str
    volume: str
    is_watered: bool
    injection: tuple[str, ...]
    """When to inject what; the first of the notes."""
    notes: tuple[str, ...]
    timer_program_id: str
    """The program that the notes say to set; empty for most."""
    reason: str
    rain: str
    days: tuple[DayCell, ...]
    dry: str


@dataclass(frozen=True, slots=True)
class EveningWords:
    """The whole mail."""

    subject: str
    glance: str
    """What a list of mails shows after the subject."""
    farm: str
    day: str
    headline: str
    """The day in one sentence, for the sheet."""
    act: ActWords
    changed: str
    degraded: str
    short: str
    summary: str
    openings: tuple[OpeningWords, ...]
    sky: tuple[str, ...]
    blocks: tuple[BlockWords, ...]
    """In the order of the letter."""
    most_urgent_first: tuple[BlockWords, ...]
    rain: tuple[str, ...]
    weather: tuple[str, ...]
    shared: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
    issued: str


def evening_words(letter: EveningLetter, words: Wording) -> EveningWords:
    """The letter in one reader's language and units, as it is read on the day of issue."""
    read_on = letter.issued_at.astimezone(ZoneInfo(letter.zone)).date()
    shared = shared_flags(letter.blocks)
    several = len(letter.sites) > 1
    blocks = {line.block_id: _block(line, letter, words, shared) for line in letter.blocks}
    return EveningWords(
        subject=clean(subject_of(letter, words), longest=140),
        glance=glance_words(letter, words),
        farm=clean(letter.farm_name),
        day=words.long_day(letter.day),
        headline=day_headline(letter, words),
        act=act_words(letter, words, read_on),
        changed=_changed(letter, words),
        degraded=degraded(letter.blocks, words),
        short=short_words(letter, words),
        summary=day_summary(letter, words),
        openings=opening_words(letter, words),
        sky=sky_lines(letter, words),
        blocks=tuple(blocks.values()),
        most_urgent_first=tuple(blocks[line.block_id] for line in most_urgent_first(letter.blocks)),
        rain=tuple(
            text
            for site in letter.sites
            if (text := _rain(site, letter.day, words, named=several)) is not None
        ),
        weather=weather_words(letter, words),
        shared=(*notice_words(letter, words), *shared_sentences(letter.blocks, words)),
        cautions=caution_words(letter, words),
        sources=source_words(letter),
        issued=issue_words(letter, words),
    )


def _changed(letter: EveningLetter, words: Wording) -> str:
    if letter.plan_version == 1:
        return ""
    return words.gettext(
        "CHANGED: this replaces the plan sent earlier for {day}.",
        day=words.short_day(letter.day),
    )


def _block(block: BlockLine, letter: EveningLetter, words: Wording, shared: int) -> BlockWords:
    injection = injection_words(block, letter.zone, words)
    state = state_of(block)
    notes = [
        *injection,
        *timer_notes(block, words),
        *meter_notes(block, words),
        *_less_than_asked(block, words),
        *_doubt(block, letter.day, words),
        *flag_sentences(block.flags & ~shared & ~_SAID_OF_TIMER, words, block.taken_full_day),
    ]
    return BlockWords(
        name=clean(block.name),
        state=state,
        word=words.gettext(STATE_WORDS[state]),
        says=state_says(block, state, letter, words),
        missing=missing_words(block, words),
        minutes=words.minutes(block.planned_min),
        volume=words.volume(block.volume_l),
        is_watered=bool(block.pulses),
        injection=injection,
        notes=tuple(notes),
        timer_program_id="" if block.timer is None else block.timer.program_id,
        reason=_reason(block, words),
        rain=(
            words.gettext("Rain counted on: {depth}.", depth=words.depth(block.rain_credit_mm))
            if block.rain_credit_mm > 0.0
            else ""
        ),
        days=tuple(
            DayCell(
                weekday=words.weekday(each.day),
                minutes="?" if each.expected_min is None else words.number(each.expected_min),
                is_tomorrow=each.day == letter.day,
            )
            for each in block.outlook
        ),
        dry=(
            words.gettext(
                "Without irrigation, stress begins on {day}.", day=words.short_day(block.dry_day)
            )
            if block.dry_day is not None
            else ""
        ),
    )


def _doubt(block: BlockLine, day: date, words: Wording) -> tuple[str, ...]:
    """One sentence at most: that it may run short, else what a day that is over has shown."""
    return (*risk_words(block, day, words), *news_of_hindsight(block, day - ONE_DAY, words))[:1]


def _reason(block: BlockLine, words: Wording) -> str:
    pulses = [(place, pulse.duration_min) for place, pulse in enumerate(block.pulses)]
    reason = reason_of(block.numbers, pulses)
    depths = words.depths(reason.depths)
    cause = words.gettext(reason.cause) if reason.cause else ""
    days = {name: words.yearly_day(*day) for name, day in reason.days.items()}
    return words.gettext(reason.template, **depths, **days, cause=cause)


def _less_than_asked(block: BlockLine, words: Wording) -> Sequence[str]:
    why = explain_cause(block.cause)
    if not why or block.status == "no-weather":
        return ()
    if is_news(block.shortfall_mm, block.numbers):
        return (
            words.gettext(
                "SHORT of water by {depth}: {cause}.",
                depth=words.depth(block.shortfall_mm),
                cause=words.gettext(why),
            ),
        )
    if not block.pulses or not is_news(block.deferred_mm, block.numbers):
        return ()  # the reason already says so, or there is nothing to say
    return (
        words.gettext(
            "{depth} of the need waits for later: {cause}.",
            depth=words.depth(block.deferred_mm),
            cause=words.gettext(why),
        ),
    )


def _rain(site: SiteLine, day: date, words: Wording, *, named: bool) -> str | None:
    """Rain of the last two days and the one to come, by weekday: correct whenever it is read."""
    parts = [
        words.gettext(
            "{day} {depth}", day=words.weekday(day - ONE_DAY * back), depth=words.depth(rain_mm)
        )
        for back, rain_mm in ((2, site.rain_before_mm), (1, site.rain_today_mm))
        if rain_mm is not None
    ]
    if site.rain_tomorrow_mm is not None:
        facts = {"day": words.weekday(day), "depth": words.depth(site.rain_tomorrow_mm)}
        chance = site.rain_probability_fraction
        parts.append(
            words.gettext("{day} {depth} forecast", **facts)
            if chance is None or site.rain_tomorrow_mm == 0.0
            else words.gettext(
                "{day} {depth} forecast, chance {chance}", **facts, chance=words.percent(chance)
            )
        )
    if not parts:
        return None
    text = words.gettext("Rain: {amounts}.", amounts="; ".join(parts))
    return f"{site.site_id}: {text}" if named else text
