"""The steps of a decision under a forecast with a spread, as the plan explains them.

This is a table, not a step. In: nothing. Out: label, unit, equation and source of each number, in
order; none of them has a place in a plan of a block that follows the evening rule.
"""

from __future__ import annotations

from service.agronomy.risk_guard import RiskGuard
from service.agronomy.step_rule import StepRule, has
from service.agronomy.step_template import Numbers, is_known

_MODEL = "this service's own rule"


def is_weighed(numbers: Numbers) -> bool:
    """Whether the safe depth decided, not the evening rule.

    Shapes: the numbers of one plan.
    Returns: False also for plans made before there was a choice.
    >>> is_weighed({"risk_guard": 0.0}), is_weighed({"risk_guard": 4.0}), is_weighed({})
    (True, False, False)
    """
    return numbers.get("risk_guard") == RiskGuard.NONE


def how_credit(numbers: Numbers) -> int:
    """Which template says what rain was counted on.

    Shapes: the numbers of one plan.
    Returns: 0 for the evening rule, 1 for the safe depth, then the guards with a credit of theirs.
    """
    own = [RiskGuard.NONE, RiskGuard.KEEP_UP, RiskGuard.SHORTFALL]
    guard = _code(numbers.get("risk_guard"))
    return 1 + own.index(RiskGuard(guard)) if guard in own else 0


def _code(value: float | None) -> int:
    return int(value) if is_known(value) else -1


def _how_guard(numbers: Numbers) -> int | None:
    guard = _code(numbers.get("risk_guard"))
    return None if guard < 0 else guard


RISK_STEPS: tuple[StepRule, ...] = (
    StepRule(
        "risk_guard", "What decided on the water", "", 0, _MODEL,
        (
            "0: the safe depth, as the grower chose to weigh the forecast",
            "1: the evening rule, since the forecast has no spread",
            "2: the evening rule, since the block ran short in the last two days; no rain is"
            " counted on",
            "3: the evening rule, since the day's water also leaches salt or carries an injection",
            "4: the evening rule, since the system can hardly make good a dry day",
            "5: the evening rule, since the root zone holds less than a day's use",
        ),
        _how_guard,
    ),
    StepRule(
        "credit_fraction", "Share of the forecasts that may turn out drier", "", 3,
        "the newsvendor's critical ratio (from memory); the costs this service's own",
        (
            "cost of a millimeter too much / (that + cost of one too little, which rises with the"
            " crop's use and falls with what the soil holds beyond the readily available"
            " water), 0.02 to 0.50",
        ),
        has("credit_fraction"),
    ),
    StepRule(
        "short_tomorrow_fraction", "Chance to run short that day without water", "", 2,
        "share of the forecast's members",
        ("of {member_count:.0f} courses that the weather may take",),
        has("short_tomorrow_fraction"),
    ),
    StepRule(
        "short_horizon_fraction", "The same within five days", "", 2,
        "share of the forecast's members",
        ("of {member_count:.0f} courses that the weather may take",),
        has("short_horizon_fraction"),
    ),
    StepRule(
        "must_mm", "Least water that keeps the coming days safe", "mm", 2, _MODEL,
        (
            "the most, over five days, of the depletion that all but {credit_fraction:.3f} of the"
            " forecasts stay under, less the readily available water, less what later days can"
            " add",
        ),
        has("must_mm"),
    ),
    StepRule(
        "fill_mm", "Water that fits that day and leaves the room for rain", "mm", 2, _MODEL,
        (
            "depletion that evening in a wet turn, which {credit_fraction:.3f} of the forecasts"
            " stay under, less the room for rain, {rain_room_mm:.2f}",
        ),
        has("fill_mm"),
    ),
)  # fmt: skip
