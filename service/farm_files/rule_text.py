"""A rule of thumb, a price of water, a nitrogen rate, as people write them."""

from __future__ import annotations

from service.agronomy.week_ahead import WEEK_DAYS
from service.errors import Fault, InputInvalid
from service.farm_files.quantities import Measure, read_quantity
from service.records.comparison import Against, RuleOfThumb
from service.records.water_use import WaterLimit

OWN = "own"
"""In place of a rule: what was run, and nothing else."""
EXAMPLES = "water for a week or a day, such as '1.5 in/week', '38 mm/week', '45 min/day'"
_DEPTH = Measure(
    noun="a depth of water", unit="mm", lowest=0.1, highest=300.0, examples=("1.5 in", "38 mm")
)
_RUN = Measure(
    noun="a run time", unit="min", lowest=1.0, highest=10_080.0, examples=("45 min", "6 h")
)
_VOLUME = Measure(
    noun="a volume", unit="m3", lowest=1e-3, highest=1e6, examples=("1 m3", "1000 gal")
)
_WATER = Measure(
    noun="a volume", unit="l", lowest=1.0, highest=1e12, examples=("12 ac-ft", "15000 m3")
)
_WATER_DEPTH = Measure(
    noun="a depth over the ground", unit="mm", lowest=0.1, highest=20_000.0,
    examples=("18 in", "450 mm"),
)  # fmt: skip
LIMIT_EXAMPLES = "a volume or a depth over the ground, such as '12 ac-ft', '15000 m3', '18 in'"
_NITROGEN = Measure(
    noun="nitrogen for a season", unit="kg/ha", lowest=0.0, highest=1000.0,
    examples=("80 kg/ha", "70 lb/ac"),
)  # fmt: skip
_TIMES_A_WEEK = {
    "week": 1, "wk": 1, "semana": 1, "day": WEEK_DAYS, "d": WEEK_DAYS, "día": WEEK_DAYS,
    "dia": WEEK_DAYS,
}  # fmt: skip


def read_against(
    rule: str, *, days_a_week: int, water_price: str | None, nitrogen: str | None
) -> Against:
    """All of it; raises InputInvalid that names the part by its parameter.

    A rule "own" is none: the comparison is with what was run alone.
    """
    price = None if water_price is None else read_water_price(water_price, where="water_price")
    kg_per_ha = None if nitrogen is None else read_nitrogen(nitrogen, where="nitrogen")
    is_own = rule.strip().lower() == OWN
    return Against(
        rule=None if is_own else read_rule(rule, days_a_week=days_a_week, where="rule"),
        water_price=price,
        nitrogen_kg_per_ha=kg_per_ha,
    )


def read_rule(text: str, *, days_a_week: int, where: str) -> RuleOfThumb:
    """The rule that a text gives; raises InputInvalid with what is allowed.

    ``days_a_week`` says on how many days the water of a week is given.
    """
    amount, slash, per = (part.strip() for part in text.rpartition("/"))
    times = _TIMES_A_WEEK.get(per.lower())
    if not slash or times is None:
        raise _refused(where, text, EXAMPLES)
    try:
        depth_mm = read_quantity(amount, _DEPTH, where=where)
    except InputInvalid:
        try:
            run_min = read_quantity(amount, _RUN, where=where)
        except InputInvalid:
            raise _refused(where, text, EXAMPLES) from None
        return RuleOfThumb(run_min_per_week=run_min * times, days_a_week=days_a_week)
    return RuleOfThumb(gross_mm_per_week=depth_mm * times, days_a_week=days_a_week)


def read_water_price(text: str, *, where: str) -> float:
    """Price of a cubic metre, from a price over a volume: '0.12/m3', '1.50/1000 gal'."""
    allowed = "a price over a volume, such as '0.12/m3' or '1.50/1000 gal'"
    price, slash, volume = (part.strip() for part in text.partition("/"))
    try:
        number = float(price)
        volume_m3 = read_quantity(
            volume if volume[:1].isdigit() else f"1 {volume}", _VOLUME, where=where
        )
    except (ValueError, InputInvalid):
        raise _refused(where, text, allowed) from None
    if not slash or not 0.0 <= number < 1e6:
        raise _refused(where, text, allowed)
    return number / volume_m3


def read_water_limit(text: str, *, where: str) -> WaterLimit:
    """A permit or budget of water; raises InputInvalid with what is allowed."""
    try:
        return WaterLimit(volume_l=read_quantity(text, _WATER, where=where))
    except InputInvalid:
        try:
            return WaterLimit(gross_mm=read_quantity(text, _WATER_DEPTH, where=where))
        except InputInvalid:
            fault = Fault(where, repr(text), LIMIT_EXAMPLES)
            raise InputInvalid("the water cannot be held against that", [fault]) from None


def read_nitrogen(text: str, *, where: str) -> float:
    """Nitrogen of a season [kg/ha]."""
    return read_quantity(text, _NITROGEN, where=where)


def _refused(where: str, found: str, allowed: str) -> InputInvalid:
    return InputInvalid("the comparison cannot run", [Fault(where, repr(found), allowed)])
