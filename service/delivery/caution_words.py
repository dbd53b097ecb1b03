"""What makes a plan less certain, in few words, and the cautions at the foot of every plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from service.agronomy.reasoning import PLAN_FLAG_TEXT, TAKEN_AS_FULL, PlanFlag
from service.records.letters import BlockLine
from service.translations import Wording
from service.translations.catalogue import marked

SHORT_TEXT: Mapping[PlanFlag, str] = {
    PlanFlag.WEATHER_UNKNOWN: marked("no weather data, nothing planned"),
    PlanFlag.FORECAST_MISSING: marked("no recent forecast, normal weather used"),
    PlanFlag.FORECAST_OLD: marked("forecast over a day old"),
    PlanFlag.WEATHER_DOUBTFUL: marked("weather sources contradict each other"),
    PlanFlag.RAIN_NOT_REPORTED: marked("rain not reported, none assumed"),
    PlanFlag.REFERENCE_ET_FILLED: marked("past weather has gaps"),
    PlanFlag.RUNS_ASSUMED: marked("no runs reported, plans assumed done"),
    PlanFlag.DEGREE_DAYS_UNKNOWN: marked("degree days of the season unknown"),
    PlanFlag.START_DEPLETION_ASSUMED: marked("soil assumed full at the start"),
}
"""Flags of plans based on incomplete data, the most serious first."""
EVERY_FLAG = ~PlanFlag(0)
CAUTIONS = (
    marked("A plan assumes that the system works: walk the lines."),
    marked(
        "Forecasts and soil numbers are estimates: check the soil before you act on a surprise."
    ),
    marked("Backflow prevention and chemigation follow local code and licensed practice."),
    marked("A plan never starts a pump by itself."),
)

INJECTION_CAUTION = marked(
    "Inject only with backflow prevention, a check valve and an interlock that stops the injector "
    "with the water. The product label takes precedence over these numbers."
)
"""The caution on every plan with an injection."""


def degraded(blocks: Sequence[BlockLine], words: Wording, *, of: PlanFlag = EVERY_FLAG) -> str:
    """What makes the plan less certain, in one line; empty if none of the flags asked for does."""
    parts = []
    for flag, text in SHORT_TEXT.items():
        bit = int(flag & of)
        count = sum(1 for block in blocks if int(block.flags) & bit)
        if not count:
            continue
        phrase = words.gettext(text)
        if count < len(blocks):
            phrase += " " + words.gettext(
                "({count} of {total} blocks)",
                count=words.number(count),
                total=words.number(len(blocks)),
            )
        parts.append(phrase)
    if not parts:
        return ""
    return words.gettext("Less certain than usual: {what}.", what="; ".join(parts))


def shared_flags(blocks: Sequence[BlockLine]) -> int:
    """Flags that every block has, shown once at the end; none for a single block."""
    if len(blocks) < 2:
        return 0
    shared = blocks[0].flags
    for block in blocks[1:]:
        shared &= block.flags
    # What mends it is each timer's own.
    shared &= ~int(PlanFlag.TIMER_CANNOT_KEEP_UP)
    if len({block.taken_full_day for block in blocks}) > 1:
        shared &= ~int(PlanFlag.START_DEPLETION_ASSUMED)
    return shared


def shared_sentences(blocks: Sequence[BlockLine], words: Wording) -> tuple[str, ...]:
    """What the flags mean that every block has."""
    shared = shared_flags(blocks)
    return flag_sentences(shared, words, blocks[0].taken_full_day) if shared else ()


def flag_sentences(flags: int, words: Wording, taken_full_day: date | None) -> tuple[str, ...]:
    """What the flags mean, in full; the day is that on which the root zone was taken as full."""
    start = PlanFlag.START_DEPLETION_ASSUMED
    return tuple(
        words.gettext(TAKEN_AS_FULL, day=words.short_day(taken_full_day))
        if flag == start and taken_full_day is not None
        else words.gettext(text)
        for flag, text in PLAN_FLAG_TEXT.items()
        if flags & flag
    )
