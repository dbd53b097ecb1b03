"""The rule that weighs the forecast, on paper, for blocks whose growers made no choice.

In: the ledgers of an evening, the coming day and the members of its weather. Out: what the evening
rule and ``balanced`` would each give tomorrow, decided from their own depletion, and what came of
such decisions on the days since the ledger was settled. Both are carried along, since what was run
is neither. A day that is reckoned again, as better weather comes, keeps its decision: it is what
would have been given. The plans know nothing of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from service.agronomy.daily_plan import need_of_day
from service.agronomy.dormancy import is_dormant
from service.agronomy.outlook import day_capacity_mm
from service.agronomy.records import Days, Floats, Ints
from service.agronomy.risk_attitude import RiskAttitude
from service.agronomy.risk_guard import WeighedRisk
from service.agronomy.shadow_course import BookedDays, follow_course
from service.agronomy.watering_rules import net_rate_mm_per_min, pulse_limits
from service.agronomy.weather_members import MemberBatch
from service.database.session import UnitOfWork
from service.operations.evening.evening_inputs import EveningInputs, every_day, row_of_day
from service.operations.evening.keep_ledgers import Ledger
from service.operations.evening.lay_out_pulses import ComingDay
from service.operations.evening.weigh_risk import weighed
from service.records.shadow import (
    COURSE_NUMBERS,
    RULE,
    SHADOW_NUMBERS,
    SHORT_FLAGS,
    WEIGHED,
    ShadowFlag,
    ShadowRows,
)

LOOKED_BACK_DAYS = 2
"""Days before tomorrow on which a block that ran short is guarded, as in the plans."""


@dataclass(frozen=True, slots=True)
class Shadows:
    """The days on paper of an evening, arrays (days, blocks), up to the day that is planned."""

    days: Days
    is_kept: NDArray[np.bool_]
    """(blocks,) the block keeps one."""
    guards: Ints
    flags: Ints
    numbers: Mapping[str, Floats]

    def end_mm(self, course: str) -> Floats:
        """(days, blocks) the depletion of a course at the end of each day."""
        return self.numbers[f"{course}_depletion_end_mm"]


def followed_shadows(unit: UnitOfWork, inputs: EveningInputs, ledger: Ledger) -> Shadows | None:
    """What came of the decisions on file over the days of the ledgers; None: no block keeps any."""
    table = inputs.table
    has_timer = np.array([timer is not None for timer in table.timers], dtype=np.bool_)
    is_kept = np.isnan(table.numbers["risk_attitude"]) & ~has_timer
    if not is_kept.any():
        return None
    first = min(ledger.days[0] - 1, np.datetime64(inputs.on) - LOOKED_BACK_DAYS + 1)
    shadows = _stored(unit, inputs, every_day(first, inputs.plan_day), is_kept)
    begin = row_of_day(shadows.days, ledger.days[0])
    rows = slice(begin, begin + ledger.days.size)
    is_new = ledger.has_row & is_kept
    booked = _booked(ledger)
    flags = shadows.flags.copy()
    numbers = {name: values.copy() for name, values in shadows.numbers.items()}
    system = inputs.versions.on(inputs.on).system
    rests = is_dormant(ledger.days, system.watering_start_doy, system.watering_end_doy)
    flags[rows] = np.where(is_new, np.where(rests, int(ShadowFlag.DORMANT), 0), flags[rows])
    for course, flag in SHORT_FLAGS.items():
        before_mm = _at_start(shadows.end_mm(course), shadows.days, inputs.first_day)
        found = follow_course(booked, numbers[f"{course}_net_mm"][rows], before_mm)
        for name in COURSE_NUMBERS[1:]:
            own = numbers[f"{course}_{name}"]
            own[rows] = np.where(is_new, getattr(found, name), own[rows])
        flags[rows] |= np.where(is_new & found.is_short & ~rests, int(flag), 0)
    return replace(shadows, flags=flags, numbers=numbers)


def with_decision(
    unit: UnitOfWork,
    inputs: EveningInputs,
    shadows: Shadows,
    day: ComingDay,
    batch: MemberBatch,
    *,
    is_under_way: bool,
) -> Shadows:
    """The days on paper with what each rule would give on the coming one.

    is_under_way: that day has begun; what was decided on its evening stays.
    """
    today = row_of_day(shadows.days, inputs.on)
    midnight_mm = {
        course: np.where(
            np.isnan(shadows.end_mm(course)[today]),
            day.depletion_midnight_mm,
            shadows.end_mm(course)[today],
        )
        for course in SHORT_FLAGS
    }
    recent = shadows.flags[today - LOOKED_BACK_DAYS + 1 : today + 1]
    risk = weighed(
        unit,
        replace(day, depletion_midnight_mm=midnight_mm[WEIGHED]),
        np.full(day.keys.size, int(RiskAttitude.BALANCED)),
        batch,
        was_short=((recent & int(ShadowFlag.WEIGHED_SHORT)) != 0).any(axis=0),
    )
    decided = {
        RULE: _decided_mm(day, midnight_mm[RULE], None),
        WEIGHED: _decided_mm(day, midnight_mm[WEIGHED], risk),
    }
    stays = np.isfinite(shadows.numbers[f"{WEIGHED}_net_mm"][-1]) & is_under_way
    numbers = {name: values.copy() for name, values in shadows.numbers.items()}
    for course, net_mm in decided.items():
        own = numbers[f"{course}_net_mm"]
        own[-1] = np.where(stays, own[-1], net_mm)
    guards = shadows.guards.copy()
    guards[-1] = np.where(stays, guards[-1], risk.guard)
    return replace(shadows, guards=guards, numbers=numbers)


def save_shadows(unit: UnitOfWork, inputs: EveningInputs, shadows: Shadows) -> None:
    """Store the days on paper from the first on that was reckoned again at each farm."""
    farms, farm_of = np.unique(inputs.table.farm_keys, return_inverse=True)
    first_row = np.full(farms.size, shadows.days.size)
    kept = np.flatnonzero(shadows.is_kept)
    own_row = (inputs.first_day - shadows.days[0]).astype(np.int64)
    np.minimum.at(first_row, farm_of[kept], own_row[kept])
    is_new = np.arange(shadows.days.size)[:, np.newaxis] >= first_row[farm_of]
    is_decided = np.isfinite(shadows.numbers[f"{WEIGHED}_net_mm"])
    row, block = np.nonzero(is_new & is_decided & shadows.is_kept)
    unit.shadows.save(
        inputs.table.farm_keys[block],
        ShadowRows(
            block_keys=inputs.table.keys[block],
            days=shadows.days[row],
            guards=shadows.guards[row, block],
            flags=shadows.flags[row, block],
            numbers={name: values[row, block] for name, values in shadows.numbers.items()},
        ),
    )


def _stored(
    unit: UnitOfWork, inputs: EveningInputs, days: Days, is_kept: NDArray[np.bool_]
) -> Shadows:
    """The days on paper as they are on file; NaN where nothing is."""
    rows = unit.shadows.read(inputs.farm_keys, first_day=days[0].item(), last_day=days[-1].item())
    keys, shape = inputs.table.keys, (days.size, inputs.table.keys.size)
    block = np.minimum(np.searchsorted(keys, rows.block_keys), keys.size - 1)
    own = np.flatnonzero((keys[block] == rows.block_keys) & is_kept[block])
    at = ((rows.days[own] - days[0]).astype(np.int64), block[own])
    guards, flags = np.zeros((2, *shape), dtype=np.int64)
    guards[at], flags[at] = rows.guards[own], rows.flags[own]
    numbers = {name: np.full(shape, np.nan) for name in SHADOW_NUMBERS}
    for name, values in numbers.items():
        values[at] = rows.numbers[name][own]
    return Shadows(days=days, is_kept=is_kept, guards=guards, flags=flags, numbers=numbers)


def _booked(ledger: Ledger) -> BookedDays:
    """The days of the ledgers, as a course follows them."""
    numbers = ledger.numbers
    return BookedDays(
        depletion_start_mm=numbers["depletion_start_mm"],
        rain_entering_mm=numbers["rain_entering_mm"],
        zone_et_mm=numbers["crop_et_mm"] - np.nan_to_num(numbers["alley_et_mm"]),
        taw_mm=numbers["taw_mm"],
        raw_mm=numbers["raw_mm"],
        correction_mm=numbers["correction_mm"],
        depletion_end_mm=numbers["depletion_end_mm"],
    )


def _at_start(end_mm: Floats, days: Days, first_day: Days) -> Floats:
    """(blocks,) the depletion of a course at the midnight before each block's first ledger day."""
    row = (first_day - days[0]).astype(np.int64) - 1
    at_start: Floats = end_mm[np.maximum(row, 0), np.arange(row.size)]
    return np.where(row >= 0, at_start, np.nan)


def _decided_mm(day: ComingDay, depletion_mm: Floats, risk: WeighedRisk | None) -> Floats:
    """(blocks,) net depth that a rule asks for and the system can give; NaN: not known."""
    system, soil = day.blocks.system, day.blocks.soil
    start_mm = np.minimum(depletion_mm, day.crop.taw_mm[0])
    need, _ = need_of_day(day.blocks, day.ahead, day.crop, start_mm, risk=risk)
    limits, rate = pulse_limits(system, soil), net_rate_mm_per_min(system, soil)
    least_mm = limits.shortest_pulse_min * rate
    wanted_mm = np.where(need.need_mm > 0.0, np.maximum(need.need_mm, least_mm), need.need_mm)
    return day_capacity_mm(
        system,
        limits,
        day.windows,
        net_rate_mm_per_min=rate,
        most_mm=wanted_mm,
        supply_flow_l_per_h=day.supply_flow_l_per_h,
    )
