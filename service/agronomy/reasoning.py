"""The reasoning behind a plan: the steps from weather to minutes, with the numbers put in.

In go the numbers stored with a plan (the block's own, and the weather reasoning that the blocks of
a site share); out come steps that a grower can follow with a pocket calculator, each with its
value, unit, equation and source. A plan stores numbers; the words are made here when asked for.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from service.agronomy.pulse_plan import CAUSE_TEXT, ShortfallCause
from service.agronomy.step_template import Numbers, Shown, is_known, put_in


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


PLAN_FLAG_TEXT: Mapping[PlanFlag, str] = {
    PlanFlag.START_DEPLETION_ASSUMED: (
        "How wet the soil was on the first day is not known; the root zone was taken as full."
    ),
    PlanFlag.RUNS_ASSUMED: (
        "No runs were reported for at least one day; the plan of that day was taken as carried out."
    ),
    PlanFlag.WEATHER_UNKNOWN: "The weather has a gap that could not be filled; nothing is planned.",
    PlanFlag.REFERENCE_ET_FILLED: (
        "On at least one past day reference ET is the mean of the days before or around it, or what"
        " is normal for the time of year."
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
        "In the coming week the block is expected to pass its readily available water even if all"
        " that can be run is run."
    ),
    PlanFlag.AFTERNOON_STRESS: (
        "A day ended beyond the readily available water: the plants were short in the afternoon."
    ),
    PlanFlag.YOUNG_CANOPY_FULL: "A young planting has the canopy of a full-grown one: check it.",
    PlanFlag.FORECAST_OLD: "The forecast for the day is more than a day old.",
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

    @property
    def worked(self) -> str:
        """The equation with this plan's numbers put in, in English."""
        return put_in(self.template, self.values)


@dataclass(frozen=True, slots=True)
class _Rule:
    name: str
    label: str
    unit: str
    worked: str
    source: str


_MODEL = "this service's own rule"
_WEATHER_RULES: tuple[_Rule, ...] = (
    _Rule("tmax_c", "Highest temperature of the day", "°C", "forecast", "weather source"),
    _Rule("tmin_c", "Lowest temperature of the day", "°C", "forecast", "weather source"),
    _Rule(
        "ea_kpa", "Vapour pressure of the air", "kPa", "from the humidity of the forecast",
        "FAO-56 Eq. 14, 17, 18, 19 or 48",
    ),
    _Rule("u2_m_s", "Wind at 2 m", "m/s", "wind brought to 2 m height", "FAO-56 Eq. 47"),
    _Rule("rs_mj_m2", "Solar radiation", "MJ/m²", "forecast or estimated", "FAO-56 Eq. 35, 50"),
    _Rule(
        "et0_mm", "Reference ET", "mm",
        "Penman-Monteith with the values above: [0.408 Δ (Rn - G) + γ 900/(T + 273) u2 (es - ea)]"
        " / [Δ + γ (1 + 0.34 u2)]",
        "FAO-56 Eq. 6",
    ),
)  # fmt: skip
_BLOCK_RULES: tuple[_Rule, ...] = (
    _Rule(
        "crop_coefficient", "Crop coefficient", "",
        "stage value, adjusted to the climate, the canopy and the mulch",
        "FAO-56 Eq. 62, 66; Allen & Pereira 2009 (from memory)",
    ),
    _Rule(
        "crop_et_mm", "Crop water use of the day", "mm",
        "Kc x ET0 = {crop_coefficient:.3f} x {et0_mm:.2f}", "FAO-56 Eq. 58",
    ),
    _Rule(
        "root_share_of_wetted", "Share of the wetted soil that roots draw from", "",
        "as given for the block; else (0.1 + 0.9 x age / years to full size)^0.3, and 1 from full"
        " size on", "this service's own rule, no source",
    ),
    _Rule(
        "taw_mm", "Water a full root zone holds", "mm",
        "1000 x (FC - WP) x root depth x wetted share x rooted share = 1000 x"
        " ({field_capacity:.3f} - {wilting_point:.3f}) x {root_depth_m:.2f} x"
        " {wetted_fraction:.3f} x {root_share_of_wetted:.2f}", "FAO-56 Eq. 82",
    ),
    _Rule(
        "depletion_fraction", "Share of it that is easy to take up", "",
        "p of the table at 5 mm/d, + 0.04 x (5 - crop water use), 0.1 to 0.8", "FAO-56 Tab. 22",
    ),
    _Rule(
        "raw_mm", "Readily available water", "mm",
        "p x TAW = {depletion_fraction:.3f} x {taw_mm:.2f}", "FAO-56 Eq. 83",
    ),
    _Rule(
        "depletion_midnight_mm", "Depletion expected at midnight", "mm",
        "the ledger of the days before, and the day of issue with its forecast", "FAO-56 Eq. 85",
    ),
    _Rule(
        "rain_credit_mm", "Rain counted on", "mm",
        "chance x what enters the zone, where the chance is 0.3 or more:"
        " {rain_probability_fraction:.2f} x {rain_entering_mm:.2f}", _MODEL,
    ),
    _Rule(
        "depletion_start_mm", "Depletion after that rain", "mm",
        "max(0, {depletion_midnight_mm:.2f} - {rain_credit_mm:.2f})", _MODEL,
    ),
    _Rule(
        "planned_depletion_mm", "Depletion by the evening if nothing ran", "mm",
        "{depletion_start_mm:.2f} + {crop_et_mm:.2f}", _MODEL,
    ),
    _Rule(
        "trigger_mm", "Water from this depletion on", "mm",
        "{trigger_fraction:.2f} x RAW = {trigger_fraction:.2f} x {raw_mm:.2f}", _MODEL,
    ),
    _Rule(
        "rain_room_mm", "Room left for rain", "mm",
        "{rain_room_fraction:.2f} x RAW = {rain_room_fraction:.2f} x {raw_mm:.2f}", _MODEL,
    ),
    _Rule(
        "need_mm", "Net water needed", "mm",
        "{planned_depletion_mm:.2f} - {rain_room_mm:.2f} where {planned_depletion_mm:.2f} is at"
        " least {trigger_mm:.2f}, else 0", _MODEL,
    ),
    _Rule(
        "application_rate_mm_per_h", "Depth the emitters give per hour", "mm/h",
        "emitter flow / area of one emitter = {emitter_flow_l_per_h:.2f} L/h / "
        "({row_spacing_m:.2f} m x {emitter_spacing_m:.2f} m / {laterals_per_row_count:.0f})",
        "geometry",
    ),
    _Rule(
        "net_rate_mm_per_min", "Net depth per minute", "mm/min",
        "rate / 60 x uniformity x rooted share = {application_rate_mm_per_h:.3f} / 60 x"
        " {emission_uniformity_pct:.0f} % x {root_share_of_wetted:.2f}"
        " (less leaching and transmission where set)",
        "NEH 623 ch. 7 (from memory)",
    ),
    _Rule(
        "wanted_min", "Minutes that the need asks for", "min",
        "{need_mm:.2f} / {net_rate_mm_per_min:.4f}, rounded down", "arithmetic",
    ),
    _Rule(
        "longest_pulse_min", "Longest pulse", "min",
        "the smaller of the grower's longest ({grower_longest_pulse_min:.0f}) and the time to wet"
        " 0.6 of the root depth ({depth_limit_min:.0f}), but not under the shortest"
        " ({shortest_pulse_min:.0f})",
        "Schwartzman & Zur 1986 (from memory); shares this service's own rule",
    ),
    _Rule(
        "planned_min", "Minutes planned", "min",
        "{pulse_count:.0f} pulses within the windows, the day's maximum"
        " ({daily_maximum_min:.0f} min) and the block's share of the supply", _MODEL,
    ),
    _Rule(
        "gross_mm", "Depth that runs", "mm",
        "{planned_min:.0f} / 60 x {application_rate_mm_per_h:.3f}", "arithmetic",
    ),
    _Rule(
        "unrooted_loss_mm", "Water that misses the roots", "mm",
        "{net_mm:.2f} / {root_share_of_wetted:.2f} - {net_mm:.2f}; emitters set at the plants"
        " waste less of it", "arithmetic",
    ),
    _Rule(
        "volume_l", "Water that runs", "L",
        "{gross_mm:.3f} mm x {area_m2:.0f} m²", "1 mm on 1 m² is 1 L",
    ),
    _Rule(
        "deferred_mm", "Net water left for later days", "mm",
        "{need_mm:.2f} - {net_mm:.2f}", _MODEL,
    ),
    _Rule(
        "shortfall_mm", "Water missing below the readily available", "mm",
        "min(need - net, planned depletion - net - RAW), where positive", _MODEL,
    ),
)  # fmt: skip

STEP_TEXTS = tuple(
    text
    for rule in (*_WEATHER_RULES, *_BLOCK_RULES)
    for text in (rule.label, rule.worked, rule.source)
)
"""All texts of the steps: their labels, equations as templates, and sources."""


def explain_plan(numbers: Numbers, weather: Numbers) -> tuple[Step, ...]:
    """The steps from tomorrow's weather to the minutes of one plan, in order.

    Shapes: numbers of one plan; weather of its day at its site.
    Returns: steps; a number that is not known has value None and says so.
    Equation: those named in each step.
    """
    known = {**weather, **numbers}
    return tuple(_step(rule, known) for rule in (*_WEATHER_RULES, *_BLOCK_RULES))


def explain_cause(cause: int) -> str:
    """Why a plan is smaller than the need, in words; empty where it is not.

    Shapes: one code.
    Returns: a sentence.
    >>> explain_cause(0)
    ''
    """
    return "" if cause == ShortfallCause.NONE else CAUSE_TEXT[ShortfallCause(cause)]


def _step(rule: _Rule, known: Numbers) -> Step:
    return Step(
        name=rule.name,
        label=rule.label,
        value=known.get(rule.name),
        unit=rule.unit,
        source=rule.source,
        template=rule.worked,
        values=known,
    )


NOTHING_KNOWN = (
    "No water: the weather or the state of the block is not known, so nothing is planned."
)
WATER_NEEDED = (
    "The crop will use {used}; depletion would reach {have}, at or beyond the {trigger} that call"
    " for water."
)
WATER_NOT_NEEDED = (
    "No water: depletion would reach {have} by the evening, under the {trigger} that call for"
    " water."
)
WATER_NOT_POSSIBLE = (
    "No water, although depletion would reach {have} by the evening, at or beyond the {trigger}"
    " that call for water: {cause}."
)
REASON_TEXTS = (NOTHING_KNOWN, WATER_NEEDED, WATER_NOT_NEEDED, WATER_NOT_POSSIBLE)
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
        return Reason(WATER_NEEDED, depths, "")
    if planned_mm < trigger_mm:
        return Reason(WATER_NOT_NEEDED, depths, "")
    cause = explain_cause(int(numbers.get("cause") or ShortfallCause.MINIMUM_PULSE))
    return Reason(WATER_NOT_POSSIBLE, depths, cause)


def one_sentence(numbers: Numbers, pulses: Sequence[tuple[int, int]]) -> str:
    """The plan and its reason in one sentence.

    Shapes: one plan; its ``cause`` may be among the numbers.
    Returns: a sentence in SI units.
    >>> one_sentence({"crop_et_mm": 4.0, "planned_depletion_mm": 5.0, "trigger_mm": 7.0}, [])
    'No water: depletion would reach 5.0 mm by the evening, under the 7.0 mm that call for water.'
    """
    reason = reason_of(numbers, pulses)
    depths = {name: f"{Shown(value):.1f} mm" for name, value in reason.depths.items()}
    return reason.template.format(**depths, cause=reason.cause)
