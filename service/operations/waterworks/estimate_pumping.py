"""What it takes to pump the water of a block's newest plan."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from service.database.session import UnitOfWorkFactory
from service.errors import NotFound
from service.operations.reading.block_pipes import expected_flow_l_per_h
from service.waterworks.pumping import COMMON_EFFICIENCY_PCT, PumpingCost, pumping_cost


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpRequest:
    """The pump, and what its energy costs."""

    head_m: float
    """All that the pump gives: lift, losses and the pressure at the block."""
    efficiency_pct: float = COMMON_EFFICIENCY_PCT
    energy_price: float | None = None


@dataclass(frozen=True, slots=True)
class PumpEstimate:
    """Power and energy of a planned day."""

    block_id: str
    day: date
    planned_min: int
    flow_l_per_h: float
    flow_origin: str
    pumping: PumpingCost


def estimate_pumping(
    block_id: str, request: PumpRequest, *, on: date, unit_of_work: UnitOfWorkFactory
) -> PumpEstimate:
    """Power, energy and cost of the newest plan's minutes; raises NotFound without a plan."""
    with unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=on)
        day = unit.plans.find_latest_day(block_id)
        plan = None if day is None else unit.plans.find_plan(block_id, day=day)
    if plan is None:
        raise NotFound(f"block {block.block_id} has no plan yet; `rillwright run-day` makes one")
    flow, origin = expected_flow_l_per_h(block)
    found = pumping_cost(
        flow,
        request.head_m,
        efficiency_pct=request.efficiency_pct,
        duration_min=float(plan.planned_min),
        energy_price=request.energy_price,
    )
    return PumpEstimate(block.block_id, plan.day, plan.planned_min, flow, origin, found)
