"""Plans of days that are over, run again with the rain that fell."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from service.agronomy.hindsight import need_in_hindsight_mm, need_of_certain_rain_mm
from service.agronomy.pulse_plan import is_news
from service.agronomy.records import Ints
from service.agronomy.steps_of_risk import is_weighed
from service.database.session import UnitOfWork
from service.records.letters import HindsightLine
from service.records.plan_reasoning import PlanReasoning

LOOK_BACK_DAYS = 3
"""[CHOICE] A plan before that is old news."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DayOfRain:
    """A day of a block's ledger, as far as hindsight asks."""

    day: date
    rain_mm: float
    rain_entering_mm: float
    net_mm: float
    """Net irrigation that ran, or is taken to have run."""


def hindsight_of(
    reasoning: PlanReasoning, planned_min: int, over: DayOfRain
) -> HindsightLine | None:
    """What one plan would have given; None where its numbers do not tell."""
    needed_mm = _needed_mm(reasoning, over.rain_entering_mm)
    rate, need_mm, net_mm = reasoning.net_rate_mm_per_min, reasoning.need_mm, reasoning.net_mm
    if rate is None or need_mm is None or net_mm is None or math.isnan(needed_mm) or not rate > 0.0:
        return None
    # Pulses are whole and may pass the need; what they add has nothing to do with the rain.
    needless_mm = max(0.0, min(need_mm, net_mm, over.net_mm) - needed_mm)
    lacking_mm = max(0.0, needed_mm - need_mm)
    return HindsightLine(
        day=over.day,
        rain_mm=over.rain_mm,
        planned_min=planned_min,
        needed_min=needed_mm / rate,
        not_needed_min=needless_mm / rate,
        lacking_min=lacking_mm / rate,
        is_news=is_news(max(needless_mm, lacking_mm), reasoning.quantities),
    )


def last_hindsight(unit: UnitOfWork, block_id: str, day: date) -> HindsightLine | None:
    """Of a block's plans up to that of a day, the newest whose day is over and observed.

    None within three days, or where its numbers do not tell.
    """
    key = unit.blocks.get_block_key(block_id)
    for back in range(LOOK_BACK_DAYS + 1):
        over = _over(unit, np.array([key]), day - timedelta(days=back)).get(key)
        plan = None if over is None else unit.plans.find_plan(block_id, day=over.day)
        if over is not None and plan is not None and plan.status != "no-weather":
            return hindsight_of(plan.reasoning, plan.planned_min, over)
    return None


def hindsights(
    unit: UnitOfWork, key_of: Mapping[str, int], day: date
) -> Mapping[str, HindsightLine]:
    """The same of some blocks, by id; ``key_of`` has their keys.

    Two queries for each day looked back on.
    """
    found: dict[int, HindsightLine | None] = {}
    for back in range(LOOK_BACK_DAYS + 1):
        left = [key for key in key_of.values() if key not in found]
        if not left:
            break
        over_on = day - timedelta(days=back)
        over = _over(unit, np.array(left, dtype=np.int64), over_on)
        if not over:
            continue
        keys = np.array(list(over), dtype=np.int64)
        for plan in unit.standings.read_plans(keys, first_day=over_on, last_day=over_on):
            if plan.status != "no-weather":
                found[plan.block_key] = hindsight_of(
                    plan.reasoning, plan.planned_min, over[plan.block_key]
                )
    return {name: each for name, key in key_of.items() if (each := found.get(key)) is not None}


def _needed_mm(reasoning: PlanReasoning, entering_mm: float) -> float:
    """The need with the rain that entered; NaN where it is not known."""
    terms = (
        reasoning.depletion_midnight_mm, reasoning.depletion_start_mm,
        reasoning.planned_depletion_mm, reasoning.crop_et_mm, reasoning.raw_mm,
        reasoning.trigger_fraction, reasoning.rain_room_fraction,
    )  # fmt: skip
    if any(term is None for term in terms) or reasoning.dormant_days:
        return math.nan
    midnight, _, planned, use, raw, trigger, room = (
        np.array([math.nan if term is None else term]) for term in terms
    )
    given = {
        "rain_entering_mm": np.array([entering_mm]),
        "zone_et_mm": use - (reasoning.alley_et_mm or 0.0),
        "raw_mm": raw,
        "rain_room_fraction": room,
    }
    if not is_weighed(reasoning.quantities):
        needed = need_in_hindsight_mm(midnight, **given, trigger_fraction=trigger)
    elif reasoning.must_mm is None:
        return math.nan
    else:
        must = np.array([reasoning.must_mm])
        needed = need_of_certain_rain_mm(
            midnight, **given, must_mm=must, planned_depletion_mm=planned
        )
    return float(needed[0])


def _over(unit: UnitOfWork, block_keys: Ints, day: date) -> dict[int, DayOfRain]:
    """The observed ledger day of each block, by key."""
    names = ("rain_mm", "rain_entering_mm", "early_net_mm", "day_net_mm")
    return {
        key: DayOfRain(
            day=day, rain_mm=rain_mm, rain_entering_mm=entering_mm, net_mm=early_mm + day_mm
        )
        for key, (rain_mm, entering_mm, early_mm, day_mm) in unit.ledger.read_observed(
            block_keys, names, day=day
        ).items()
    }
