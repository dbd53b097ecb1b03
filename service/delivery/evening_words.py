"""The text of tomorrow's plan, shared by the plain and the HTML part of the mail."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
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
from service.delivery.foot_words import (
    caution_words,
    issue_words,
    source_words,
    weather_words,
)
from service.delivery.injection_words import injection_words
from service.delivery.meter_words import meter_notes
from service.delivery.plain_text import clean
from service.delivery.pulse_words import pulse_words
from service.delivery.timer_words import timer_notes
from service.records.letters import BlockLine, EveningLetter, SiteLine
from service.translations import Wording

_SAID_OF_TIMER = int(PlanFlag.TIMER_CANNOT_KEEP_UP)
"""What the notes on the timer say, with what mends it."""
ANY_DAY = date.min
"""Reading day of a printed sheet, so that it says neither "today" nor "tomorrow"."""


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
    status: str
    start: str
    """When the first pulse starts; empty without one."""
    minutes: str
    volume: str
    action: str
    """What to do, on one line."""
    pulses: tuple[str, ...]
    """Each pulse from start to end, where there is more than one."""
    reason: str
    rain: str
    injection: tuple[str, ...]
    """When to inject what; the first of the notes."""
    notes: tuple[str, ...]
    timer_program_id: str
    """The program that the notes say to set; empty for most."""
    days: tuple[DayCell, ...]
    dry: str


@dataclass(frozen=True, slots=True)
class EveningWords:
    """The whole mail."""

    subject: str
    farm: str
    day: str
    headline: str
    """The instruction: first line of the mail."""
    total: str
    degraded: str
    changed: str
    blocks: tuple[BlockWords, ...]
    run_order: tuple[str, ...]
    rain: tuple[str, ...]
    weather: tuple[str, ...]
    shared: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
    issued: str


def evening_words(
    letter: EveningLetter, words: Wording, *, read_on: date | None = None
) -> EveningWords:
    """The letter in one reader's language and units; ``read_on`` is the day of reading, by default
    the day of issue.

    A mail is read when it comes; a page says "today" and "tomorrow" as of the day of the visit.
    """
    read_on = read_on or letter.issued_at.astimezone(ZoneInfo(letter.zone)).date()
    farm = clean(letter.farm_name)
    shared = shared_flags(letter.blocks)
    several = len(letter.sites) > 1
    return EveningWords(
        subject=clean(
            words.gettext(
                "{farm}, {day}: {headline}",
                farm=clean(letter.farm_name, longest=40),
                day=words.short_day(letter.day),
                headline=_short_headline(letter, words),
            ),
            longest=140,
        ),
        farm=farm,
        day=words.long_day(letter.day),
        headline=_headline(letter, words, read_on),
        total=_total(letter, words),
        degraded=degraded(letter.blocks, words),
        changed=_changed(letter, words),
        blocks=tuple(_block(block, letter, words, shared) for block in letter.blocks),
        run_order=_run_order(letter, words),
        rain=tuple(
            text
            for site in letter.sites
            if (text := _rain(site, letter.day, words, named=several)) is not None
        ),
        weather=weather_words(letter, words),
        shared=shared_sentences(letter.blocks, words),
        cautions=caution_words(letter, words),
        sources=source_words(letter),
        issued=issue_words(letter, words),
    )


def _watered(letter: EveningLetter) -> list[BlockLine]:
    return [block for block in letter.blocks if block.planned_min > 0]


def _short_headline(letter: EveningLetter, words: Wording) -> str:
    watered = _watered(letter)
    if watered:
        minutes = words.minutes(sum(block.planned_min for block in watered))
        if len(letter.blocks) == 1:
            return words.gettext("water {minutes}", minutes=minutes)
        return words.gettext(
            "water {count} of {total} blocks, {minutes} in total",
            count=words.number(len(watered)),
            total=words.number(len(letter.blocks)),
            minutes=minutes,
        )
    if any(block.status == "rest" for block in letter.blocks):
        return words.gettext("no water, 0 min")
    return words.gettext("NO PLAN")


def _headline(letter: EveningLetter, words: Wording, read_on: date) -> str:
    watered = _watered(letter)
    is_known = any(block.status != "no-weather" for block in letter.blocks)
    is_single = len(letter.blocks) == 1
    facts = {
        "day": words.long_day(letter.day),
        "count": words.number(len(watered)),
        "total": words.number(len(letter.blocks)),
    }
    # A plan that is late, or changes overnight, is read on the day it is for.
    if read_on == letter.day:
        if not is_known:
            return words.gettext("NO PLAN for today, {day}: no weather data.", **facts)
        if not watered:
            return words.gettext("No water today, {day}.", **facts)
        if is_single:
            return words.gettext("Water today, {day}.", **facts)
        return words.gettext("Water {count} of {total} blocks today, {day}.", **facts)
    if read_on == letter.day - ONE_DAY:
        if not is_known:
            return words.gettext("NO PLAN for tomorrow, {day}: no weather data.", **facts)
        if not watered:
            return words.gettext("No water tomorrow, {day}.", **facts)
        if is_single:
            return words.gettext("Water tomorrow, {day}.", **facts)
        return words.gettext("Water {count} of {total} blocks tomorrow, {day}.", **facts)
    if not is_known:
        return words.gettext("NO PLAN for {day}: no weather data.", **facts)
    if not watered:
        return words.gettext("No water on {day}.", **facts)
    if is_single:
        return words.gettext("Water on {day}.", **facts)
    return words.gettext("Water {count} of {total} blocks on {day}.", **facts)


def _total(letter: EveningLetter, words: Wording) -> str:
    watered = _watered(letter)
    if not watered:
        return ""
    return words.gettext(
        "{minutes} and {volume} in total.",
        minutes=words.minutes(sum(block.planned_min for block in watered)),
        volume=words.volume(sum(block.volume_l for block in watered)),
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
    notes = [
        *injection,
        *timer_notes(block, words),
        *meter_notes(block, words),
        *_less_than_asked(block, words),
        *flag_sentences(block.flags & ~shared & ~_SAID_OF_TIMER, words, block.taken_full_day),
    ]
    return BlockWords(
        name=clean(block.name),
        status=block.status,
        start=words.clock(block.pulses[0].starts_at, letter.zone) if block.pulses else "",
        minutes=words.minutes(block.planned_min),
        volume=words.volume(block.volume_l),
        action=_action(block, letter.zone, words),
        pulses=pulse_words(block, letter.zone, words),
        reason=_reason(block, words),
        rain=(
            words.gettext("Rain counted on: {depth}.", depth=words.depth(block.rain_credit_mm))
            if block.rain_credit_mm > 0.0
            else ""
        ),
        injection=injection,
        notes=tuple(notes),
        timer_program_id="" if block.timer is None else block.timer.program_id,
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


def _action(block: BlockLine, zone: str, words: Wording) -> str:
    if block.status == "no-weather":
        return words.gettext("NO PLAN: no weather data")
    if not block.pulses:
        return words.gettext("DORMANT") if block.is_dormant else words.gettext("REST")
    starts = [words.clock(pulse.starts_at, zone) for pulse in block.pulses]
    minutes, volume = words.minutes(block.planned_min), words.volume(block.volume_l)
    if len(starts) == 1:
        return words.gettext(
            "WATER at {start}: {minutes}, {volume}",
            start=starts[0],
            minutes=minutes,
            volume=volume,
        )
    return words.gettext(
        "WATER in {count} pulses from {start}: {minutes}, {volume}",
        count=words.number(len(starts)),
        start=starts[0],
        minutes=minutes,
        volume=volume,
    )


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


def _run_order(letter: EveningLetter, words: Wording) -> tuple[str, ...]:
    """Every pulse of the farm by start time, if there is more than one."""
    pulses: list[tuple[datetime, str, str]] = [
        (pulse.starts_at, clean(block.name), words.clock(pulse.ends_at, letter.zone))
        for block in letter.blocks
        for pulse in block.pulses
    ]
    if len({name for _, name, _ in pulses}) < 2:
        return ()
    return tuple(
        words.gettext(
            "{start} to {end}, {block}",
            start=words.clock(start, letter.zone),
            end=end,
            block=name,
        )
        for start, name, end in sorted(pulses)
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
