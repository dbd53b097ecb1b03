"""The reasoning behind a plan: the steps from weather to minutes, with the numbers put in.

In go the numbers stored with a plan (the block's own, and the weather reasoning that the blocks of
a site share); out come steps that a grower can follow with a pocket calculator, each with its
value, unit, equation and source. A plan stores numbers; the words are made here when asked for.
"""

from __future__ import annotations

import calendar
import enum
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from service.agronomy.block_batch import month_and_day
from service.agronomy.depth_rounding import bare_depth_text
from service.agronomy.pulse_plan import CAUSE_TEXT, ShortfallCause
from service.agronomy.step_rule import StepRule
from service.agronomy.step_template import Numbers, is_known, put_in
from service.agronomy.steps_of_crop import CROP_STEPS, WEATHER_STEPS
from service.agronomy.steps_of_water import WATER_STEPS, ZONE_STEPS


class PlanFlag(enum.IntFlag):
    """What a reader of the plan needs to know besides the minutes."""

    START_DEPLETION_ASSUMED = enum.auto()
    RUNS_ASSUMED = enum.auto()
    WEATHER_UNKNOWN = enum.auto()
    REFERENCE_ET_FILLED = enum.auto()
    FORECAST_MISSING = enum.auto()
    RAIN_NOT_REPORTED = enum.auto()
    CLIMATE_ADJUSTMENT_MISSING = enum.auto()
    SHORTEST_PULSE_PASSES_DEPTH = enum.auto()
    EVENT_PASSES_ROOTS = enum.auto()
    CANNOT_KEEP_UP = enum.auto()
    AFTERNOON_STRESS = enum.auto()
    DEGREE_DAYS_UNKNOWN = enum.auto()
    FORECAST_OLD = enum.auto()
    YOUNG_CANOPY_FULL = enum.auto()
    STORE_BELOW_PULSE = enum.auto()
    TIMER_CANNOT_KEEP_UP = enum.auto()
    WEATHER_DOUBTFUL = enum.auto()


PLAN_FLAG_TEXT: Mapping[PlanFlag, str] = {
    PlanFlag.START_DEPLETION_ASSUMED: (
        "How wet the soil was on the first day is not known; the root zone was taken as full."
    ),
    PlanFlag.RUNS_ASSUMED: (
        "No runs were reported for at least one day; the plan of that day was taken as carried out."
    ),
    PlanFlag.WEATHER_UNKNOWN: "The weather has a gap that could not be filled; nothing is planned.",
    PlanFlag.REFERENCE_ET_FILLED: (
        "On at least one past day reference ET is that of a place nearby, the mean of the days"
        " before or around it, or what is normal for the time of year."
    ),
    PlanFlag.FORECAST_MISSING: (
        "There is no forecast for the day that is less than 48 hours old; the normal for the time"
        " of year, or else the mean of the last days, is used, and no rain is counted on."
    ),
    PlanFlag.RAIN_NOT_REPORTED: "On at least one past day no rain was reported; none was assumed.",
    PlanFlag.CLIMATE_ADJUSTMENT_MISSING: (
        "Too few days of wind and humidity are known to adjust the crop coefficient to the climate."
    ),
    PlanFlag.SHORTEST_PULSE_PASSES_DEPTH: (
        "The shortest useful pulse already wets deeper than the share of the root depth allowed for"
        " one pulse."
    ),
    PlanFlag.EVENT_PASSES_ROOTS: (
        "The day's water, on drier soil, could reach below the roots under the emitter."
    ),
    PlanFlag.CANNOT_KEEP_UP: (
        "Even if everything that can run does run, the block is expected to run short in the coming"
        " week."
    ),
    PlanFlag.TIMER_CANNOT_KEEP_UP: (
        "With what its timer is set to, the block is expected to run short in the coming week."
    ),
    PlanFlag.AFTERNOON_STRESS: (
        "A day ended beyond the readily available water: the plants were short in the afternoon."
    ),
    PlanFlag.YOUNG_CANOPY_FULL: "A young planting has the canopy of a full-grown one: check it.",
    PlanFlag.STORE_BELOW_PULSE: (
        "The readily available water is less than the shortest useful pulse gives: no pulse fits"
        " without stress before it. Wet more soil, or take smaller emitters."
    ),
    PlanFlag.FORECAST_OLD: "The forecast for the day is more than a day old.",
    PlanFlag.WEATHER_DOUBTFUL: (
        "Weather sources contradict each other: a value of the most trusted one was set aside, or"
        " nothing settles which is right. The page of the weather says which."
    ),
    PlanFlag.DEGREE_DAYS_UNKNOWN: (
        "The degree days since the season's start are not known; weather from then on is needed."
    ),
}


TAKEN_AS_FULL = (
    "Nobody has said how wet the soil was on {day}: the root zone was taken as full then. Say how"
    " wet it is now (page of the block, or `rillwright soil`), and the plan follows."
)
"""The assumption of a first plan and the question that ends it; the day goes in as text."""


def describe_plan_flags(flags: int, *, full_on: str = "") -> tuple[str, ...]:
    """The sentences that belong to a plan's flags, in the order of the flags.

    Shapes: one number.
    full_on: the day on which the root zone was taken as full, where it is known.
    Returns: sentences; empty where no flag is set.
    >>> describe_plan_flags(0)
    ()
    >>> describe_plan_flags(1, full_on="14 July")[0][:63]
    'Nobody has said how wet the soil was on 14 July: the root zone '
    """
    start = PlanFlag.START_DEPLETION_ASSUMED
    return tuple(
        TAKEN_AS_FULL.format(day=full_on) if flag == start and full_on else text
        for flag, text in PLAN_FLAG_TEXT.items()
        if flags & flag
    )


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the reasoning."""

    name: str
    """The quantity's name in the nomenclature."""
    label: str
    value: float | None
    unit: str
    source: str
    template: str
    """The equation as words and places for numbers, ``{name:.2f}``."""
    values: Numbers
    """What the places may name; None and NaN where one is not known."""
    decimals: int
    """With how many the value is shown."""

    @property
    def worked(self) -> str:
        """The equation with this plan's numbers put in, in English."""
        return put_in(self.template, self.values)


RULES: tuple[StepRule, ...] = (*WEATHER_STEPS, *CROP_STEPS, *ZONE_STEPS, *WATER_STEPS)
"""All steps, in the order in which they are shown."""
STEP_TEXTS = tuple(text for rule in RULES for text in (rule.label, *rule.templates, rule.source))
"""All texts of the steps: their labels, equations as templates, and sources."""


def explain_plan(numbers: Numbers, weather: Numbers) -> tuple[Step, ...]:
    """The steps from tomorrow's weather to the minutes of one plan, in order.

    Shapes: numbers of one plan; weather of its day at its site, with the terms of its ET0.
    Returns: steps; a number that is not known has value None and says so.
    Equation: those named in each step.
    """
    known = {**weather, **numbers}
    places = ((rule, rule.chosen(known)) for rule in RULES)
    return tuple(_step(rule, place, known) for rule, place in places if place is not None)


def explain_cause(cause: int) -> str:
    """Why a plan is smaller than the need, in words; empty where it is not.

    Shapes: one code.
    Returns: a sentence.
    >>> explain_cause(0)
    ''
    """
    return "" if cause == ShortfallCause.NONE else CAUSE_TEXT[ShortfallCause(cause)]


def _step(rule: StepRule, place: int, known: Numbers) -> Step:
    value = known.get(rule.name)
    return Step(
        name=rule.name,
        label=rule.label,
        value=value if is_known(value) else None,
        unit=rule.unit,
        source=rule.source,
        template=rule.templates[place],
        values=known,
        decimals=rule.decimals,
    )


NOTHING_KNOWN = (
    "No water: the weather or the state of the block is not known, so nothing is planned."
)
WATER_NEEDED = (
    "The crop will use {used}; depletion would reach {have}, at or beyond the {trigger} that call"
    " for water."
)
WATER_AS_SET = (
    "Runs as set, although it could wait: the crop will use {used}; depletion would reach {have},"
    " under the {trigger} that call for water."
)
WATER_NOT_NEEDED = (
    "No water: depletion would reach {have} by the evening, under the {trigger} that call for"
    " water."
)
WATER_NOT_POSSIBLE = (
    "No water, although depletion would reach {have} by the evening, at or beyond the {trigger}"
    " that call for water: {cause}."
)
DORMANT_SEASON = (
    "Dormant: no water is planned outside the watering season, {first} to {last}; the balance goes"
    " on."
)
SAME_DEPTH_MM = 0.05
"""Depths closer than this are shown as the same."""
REASON_TEXTS = (
    NOTHING_KNOWN, WATER_NEEDED, WATER_AS_SET, WATER_NOT_NEEDED, WATER_NOT_POSSIBLE, DORMANT_SEASON,
)  # fmt: skip
"""The possible reasons, as sentence templates; the depths go in with their unit."""


@dataclass(frozen=True, slots=True)
class Reason:
    """A plan's reason, ready to be put into any language and unit."""

    template: str
    """One of ``REASON_TEXTS``."""
    depths: Mapping[str, float | None]
    """Depths [mm] by their name in the template; None where one is not known."""
    cause: str
    """Why there is no water although it is needed, as in ``CAUSE_TEXT``; empty otherwise."""
    days: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    """Month and day of days of every year, by their name in the template."""


def reason_of(numbers: Numbers, pulses: Sequence[tuple[int, int]]) -> Reason:
    """The reason for a plan, as a template and its numbers.

    Shapes: one plan; its ``cause`` may be among the numbers.
    Returns: the sentence that fits, and what goes into it.
    >>> reason_of({"planned_depletion_mm": 5.0, "trigger_mm": 7.0}, []).depths["have"]
    5.0
    """
    planned_mm, trigger_mm = numbers.get("planned_depletion_mm"), numbers.get("trigger_mm")
    if not (is_known(planned_mm) and is_known(trigger_mm)):
        return Reason(NOTHING_KNOWN, {}, "")
    used = numbers.get("crop_et_mm")
    depths = {
        "used": used if is_known(used) else None,
        "have": planned_mm,
        "trigger": trigger_mm,
    }
    if pulses:
        # A timer's program runs on its days, whatever the soil has.
        is_needed = planned_mm >= trigger_mm - SAME_DEPTH_MM
        return Reason(WATER_NEEDED if is_needed else WATER_AS_SET, depths, "")
    if numbers.get("cause") == ShortfallCause.DORMANT:
        ends = (numbers.get("watering_start_doy"), numbers.get("watering_end_doy"))
        days = [month_and_day(int(doy)) if is_known(doy) else (1, 1) for doy in ends]
        return Reason(DORMANT_SEASON, {}, "", dict(zip(("first", "last"), days, strict=True)))
    if planned_mm < trigger_mm:
        return Reason(WATER_NOT_NEEDED, depths, "")
    cause = explain_cause(int(numbers.get("cause") or ShortfallCause.MINIMUM_PULSE))
    return Reason(WATER_NOT_POSSIBLE, depths, cause)


def _in_mm(depth_mm: float) -> str:
    return f"{bare_depth_text(depth_mm, in_inches=False)} mm"


def one_sentence(
    numbers: Numbers,
    pulses: Sequence[tuple[int, int]],
    *,
    write_depth: Callable[[float], str] = _in_mm,
) -> str:
    """The plan and its reason in one sentence.

    Shapes: one plan; its ``cause`` may be among the numbers.
    write_depth: how a depth in mm is written, with its unit.
    Returns: a sentence.
    >>> one_sentence({"crop_et_mm": 4.0, "planned_depletion_mm": 5.0, "trigger_mm": 7.0}, [])
    'No water: depletion would reach 5.0 mm by the evening, under the 7.0 mm that call for water.'
    """
    reason = reason_of(numbers, pulses)
    depths = {
        name: write_depth(value) if is_known(value) else "?"
        for name, value in reason.depths.items()
    }
    days = {
        name: f"{calendar.month_abbr[month]} {day}" for name, (month, day) in reason.days.items()
    }
    return reason.template.format(**depths, **days, cause=reason.cause)
