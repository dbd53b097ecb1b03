"""The top of a block's page: what a day's plan does, why in three sentences, and five numbers."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.reasoning import Step, explain_cause
from service.delivery.day_order import BlockState, state_of, waiting_mm
from service.delivery.sky_words import LEAST_RAIN_MM
from service.pages.whole_name import whole_name
from service.records.letters import BlockLine
from service.translations import Wording
from service.translations.catalogue import marked
from service.unit_sizes import L_PER_GALLON, M_S_PER_MPH, MM_PER_INCH

SHOWN_PULSES = 8
"""Two rows; all others are folded."""
_FIVE = (
    (marked("Crop uses"), "crop_et_mm"),
    (marked("Missing by evening"), "planned_depletion_mm"),
    (marked("Water from"), "trigger_mm"),
    (marked("Suffers from"), "raw_mm"),
    (marked("Plan puts back"), "net_mm"),
)


@dataclass(frozen=True, slots=True)
class PulseSpan:
    """One opening of the block's valve."""

    opens: str
    closes: str
    minutes: str


@dataclass(frozen=True, slots=True)
class BlockDay:
    """One block's day as its page begins with it."""

    over: str
    """The day."""
    state: BlockState
    is_ahead: bool
    """There is still something to open or to close."""
    minutes: str
    """How long it runs; empty where it does not."""
    what: str
    """What is said instead."""
    beside: tuple[str, ...]
    pulses: tuple[PulseSpan, ...]
    more_pulses: tuple[PulseSpan, ...]
    """Those that are folded."""
    why: tuple[str, ...]
    numbers: tuple[tuple[str, str], ...]
    """Name and depth of the five numbers."""


def block_day(
    line: BlockLine, day: date, zone: str, words: Wording, *, now: datetime, today: date
) -> BlockDay:
    """The plan of a block for a day, as it is read at an instant."""
    state = state_of(line)
    pulses = tuple(
        PulseSpan(
            words.clock(pulse.starts_at, zone),
            words.clock(pulse.ends_at, zone),
            words.minutes(pulse.duration_min),
        )
        for pulse in line.pulses
    )
    return BlockDay(
        over=_over(day, words, today=today),
        state=state,
        is_ahead=bool(line.pulses) and line.pulses[-1].ends_at > now,
        minutes=words.number(line.planned_min) if line.pulses else "",
        what=_what(line, state, words),
        beside=(
            words.ngettext("in {count} pulse", "in {count} pulses", len(line.pulses)),
            words.volume(line.volume_l),
        )
        if line.pulses
        else (),
        pulses=pulses[:SHOWN_PULSES],
        more_pulses=pulses[SHOWN_PULSES:],
        why=tuple(
            text
            for text in (
                _need(line, state, words),
                _answer(line, state, words, day),
                _rest(line, state, words),
            )
            if text
        ),
        numbers=()
        if state is BlockState.UNKNOWN
        else tuple(
            (words.gettext(label), words.depth(_depth(line, name))) for label, name in _FIVE
        ),
    )


def _over(day: date, words: Wording, *, today: date) -> str:
    shown = words.long_day(day)
    if day == today + ONE_DAY:
        return words.gettext("Tomorrow, {day}", day=shown)
    return words.gettext("Today, {day}", day=shown) if day == today else shown


def _what(line: BlockLine, state: BlockState, words: Wording) -> str:
    if line.pulses:
        return ""
    if state is BlockState.UNKNOWN:
        return words.gettext("No plan")
    if line.is_dormant:
        return words.gettext("Dormant")
    return words.gettext("Keep the valve closed")


# --- why -----------------------------------------------------------------------------------------


def _need(line: BlockLine, state: BlockState, words: Wording) -> str:
    """What would be missing, against the limit from which the block gets water."""
    if state is BlockState.UNKNOWN:
        return words.gettext("The weather is not known, so nothing is planned.")
    if line.is_dormant:
        return words.gettext("The block is dormant, outside its watering season.")
    missing, trigger = _depth(line, "planned_depletion_mm"), _depth(line, "trigger_mm")
    if not (math.isfinite(missing) and math.isfinite(trigger)):
        return ""
    depths = {"missing": words.depth(max(missing, 0.0)), "trigger": words.depth(trigger)}
    if missing < trigger:
        return words.gettext(
            "By the evening {missing} would be missing from the root zone, less than the {trigger}"
            " from which it gets water.",
            **depths,
        )
    return words.gettext(
        "By the evening {missing} would be missing from the root zone; it gets water from"
        " {trigger} on.",
        **depths,
    )


def _answer(line: BlockLine, state: BlockState, words: Wording, day: date) -> str:
    """What the plan does about it."""
    if state is BlockState.UNKNOWN or line.is_dormant:
        return ""
    if line.pulses:
        longest = max(pulse.duration_min for pulse in line.pulses)
        return words.ngettext(
            "So {depth} go back in {count} pulse of {minutes}.",
            "So {depth} go back in {count} pulses of at most {minutes}.",
            len(line.pulses),
            depth=words.depth(_depth(line, "net_mm")),
            minutes=words.minutes(longest),
        )
    if state is BlockState.PAUSED and line.pause is not None:
        ends = line.pause.ends_local
        return words.gettext(
            "Nothing runs: it is paused until {day}, {clock} ({reason}).",
            reason=whole_name(line.pause.reason),
            day=words.short_day(ends.date()),
            clock=words.wall_clock(ends.hour * 60 + ends.minute),
        )
    if state is BlockState.SHORT:
        return words.gettext("Nothing can run that day.")
    coming = next((each.day for each in line.outlook if each.day > day and each.expected_min), None)
    if coming is None:
        return words.gettext("So nothing runs; no water is expected for the days ahead.")
    return words.gettext(
        "So nothing runs; water is expected on {day}.", day=words.short_day(coming)
    )


def _rest(line: BlockLine, state: BlockState, words: Wording) -> str:
    """What waits, else the rain that the plan relies on, else what the plants have in reserve."""
    if state is BlockState.UNKNOWN or line.is_dormant:
        return ""
    waiting = waiting_mm(line)
    cause = explain_cause(line.cause)
    if waiting > 0.0 and cause:
        return words.gettext(
            "{depth} waits: {cause}.", depth=words.depth(waiting), cause=words.gettext(cause)
        )
    if line.rain_credit_mm >= LEAST_RAIN_MM:
        return words.gettext(
            "Rain is counted on for {depth} of it.", depth=words.depth(line.rain_credit_mm)
        )
    if line.dry_day is not None:
        return words.gettext(
            "Without water plants would suffer from {day} on.", day=words.short_day(line.dry_day)
        )
    return ""


def _depth(line: BlockLine, name: str) -> float:
    value = line.numbers.get(name)
    return math.nan if value is None else value


# --- the steps -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ShownStep:
    """One step of the sum in the reader's words."""

    label: str
    value: str
    worked: str
    source: str


def shown_steps(steps: tuple[Step, ...], words: Wording) -> tuple[ShownStep, ...]:
    """The steps of a plan; values lead with the reader's unit, equations keep the sources' own."""
    return tuple(
        ShownStep(
            words.gettext(step.label),
            _value(step, words),
            words.worked(step),
            words.gettext(step.source),
        )
        for step in steps
    )


def _value(step: Step, words: Wording) -> str:
    if step.value is None:
        return "?"
    own = f"{words.number(step.value, step.decimals)} {step.unit}".strip()
    if words.unit_system != "us":
        return own
    in_us_units: dict[str, Callable[[float], str]] = {
        "mm": words.depth,
        "mm/h": lambda value: words.gettext(
            "{rate} in/h", rate=words.number(value / MM_PER_INCH, 2)
        ),
        "L": words.volume,
        "L/h": lambda value: f"{words.number(value / L_PER_GALLON, 1)} gal/h",
        "°C": lambda value: f"{words.number(value * 1.8 + 32.0)} °F",
        "m/s": lambda value: f"{words.number(value / M_S_PER_MPH, 1)} mph",
    }
    convert = in_us_units.get(step.unit)
    return own if convert is None else f"{convert(step.value)} ({own})"
