"""What a forecast with a spread changes in the plans of the blocks whose growers weigh the risk.

In: the coming day, the ledgers and the members of the weather. Out: the day with the safe depth of
each such block and the guard that holds. Without such a block nothing is read and nothing changes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from service.agronomy.outlook import day_capacity_mm
from service.agronomy.reasoning import PlanFlag
from service.agronomy.records import Floats, Ints
from service.agronomy.risk_attitude import RiskAttitude, costs_of
from service.agronomy.risk_guard import RiskGuard, WeighedRisk, risk_guards
from service.agronomy.root_zone import LEACHING_NEGLIGIBLE_FRACTION
from service.agronomy.safe_depth import HORIZON_DAYS, RiskDays, safe_depth
from service.agronomy.watering_rules import net_rate_mm_per_min, pulse_limits
from service.agronomy.weather_members import MemberBatch
from service.database.session import UnitOfWork
from service.operations.evening.evening_inputs import EveningInputs
from service.operations.evening.lay_out_pulses import ComingDay

MOST_DAYS_ON_A_DAY = 2.0
"""[CHOICE] A later day is not counted on for more than so many days' use."""


def attitudes_of(inputs: EveningInputs) -> Ints:
    """(blocks,) what the growers would rather risk; the evening rule where nothing was chosen."""
    stored = inputs.table.numbers["risk_attitude"]
    return np.nan_to_num(stored, nan=float(RiskAttitude.CLASSIC)).astype(np.int64)


def with_risk(
    unit: UnitOfWork,
    inputs: EveningInputs,
    day: ComingDay,
    *,
    ledger_flags: Ints,
    members: Callable[[], MemberBatch],
) -> ComingDay:
    """The coming day with what the members change; the day itself where no block asks for it."""
    attitude = attitudes_of(inputs)
    if not (attitude != RiskAttitude.CLASSIC).any():
        return day
    was_short = (ledger_flags & int(PlanFlag.AFTERNOON_STRESS)) != 0
    return replace(day, risk=weighed(unit, day, attitude, members(), was_short=was_short))


def weighed(
    unit: UnitOfWork,
    day: ComingDay,
    attitude: Ints,
    batch: MemberBatch,
    *,
    was_short: NDArray[np.bool_],
) -> WeighedRisk:
    """What the members change for the blocks of a day under these attitudes, (blocks,)."""
    later_day_mm = _later_day_mm(day)
    depth = safe_depth(_risk_days(day, later_day_mm), batch, costs_of(attitude))
    guard = risk_guards(
        depth,
        later_day_mm=later_day_mm[1:].max(axis=0),
        was_short=was_short,
        has_other_task=_has_other_task(unit, day),
    )
    system, soil = day.blocks.system, day.blocks.soil
    shortest_min = pulse_limits(system, soil).shortest_pulse_min
    return WeighedRisk(
        attitude=attitude,
        guard=np.where(attitude == RiskAttitude.CLASSIC, RiskGuard.NONE, guard),
        depth=depth,
        smallest_mm=shortest_min * net_rate_mm_per_min(system, soil),
    )


def _risk_days(day: ComingDay, later_day_mm: Floats) -> RiskDays:
    """The blocks as the decision takes them, over the days of the horizon."""
    blocks, crop = day.blocks, day.crop
    ahead = slice(0, HORIZON_DAYS)
    use_mm = crop.crop_et_mm[ahead]
    share = np.divide(crop.zone_et_mm[ahead], use_mm, out=np.ones(use_mm.shape), where=use_mm > 0.0)
    return RiskDays(
        site_index=blocks.site_index,
        soil=blocks.soil,
        depletion_midnight_mm=np.minimum(day.depletion_midnight_mm, crop.taw_mm[0]),
        crop_coefficient=crop.crop_coefficient[ahead],
        zone_share=share,
        taw_mm=crop.taw_mm[ahead],
        table_depletion_fraction=blocks.crop.depletion_fraction,
        is_dormant=crop.is_dormant[ahead],
        later_day_mm=later_day_mm,
        rain_room_fraction=blocks.system.rain_room_fraction,
    )


def _later_day_mm(day: ComingDay) -> Floats:
    """(days, blocks) net depth that each day of the horizon can add."""
    system, soil = day.blocks.system, day.blocks.soil
    most_mm = MOST_DAYS_ON_A_DAY * np.nanmax(
        np.nan_to_num(day.crop.zone_et_mm[:HORIZON_DAYS]), axis=0
    )
    found: dict[int, Floats] = {}
    for windows in day.windows_of_outlook[:HORIZON_DAYS]:
        if id(windows) not in found:
            found[id(windows)] = day_capacity_mm(
                system,
                pulse_limits(system, soil),
                windows,
                net_rate_mm_per_min=net_rate_mm_per_min(system, soil),
                most_mm=most_mm,
                supply_flow_l_per_h=day.supply_flow_l_per_h,
            )
    return np.stack([found[id(each)] for each in day.windows_of_outlook[:HORIZON_DAYS]])


def _has_other_task(unit: UnitOfWork, day: ComingDay) -> np.ndarray:
    """(blocks,) the day's water must also leach salt or carry an injection."""
    ordered = unit.waterworks.read_fertigations(day.keys, day=day.ahead.days[0].item())
    leaches = day.blocks.system.leaching_fraction > LEACHING_NEGLIGIBLE_FRACTION
    return np.isin(day.keys, list(ordered)) | leaches
