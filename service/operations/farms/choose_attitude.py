"""A grower says what a block does with a forecast that may be wrong, and is not asked again."""

from __future__ import annotations

from service.agronomy.risk_attitude import RiskAttitude
from service.database.session import UnitOfWork
from service.operations.evening.replan_after import Replanning, replan_after
from service.operations.farms.measured_numbers import GIVEN, change_number
from service.operations.reading.read_farms import today_at_block
from service.records.farms import BlockDefinition


def choose_attitude(
    unit: UnitOfWork, block_id: str, attitude: RiskAttitude, *, replanning: Replanning
) -> tuple[BlockDefinition, int]:
    """The block with a stated attitude from today on, and how many plans changed.

    The evening rule that is stated stays for good: the service turns nothing on there. What is
    stated already changes nothing. Raises NotFound.
    """
    today = today_at_block(unit, block_id, replanning.clock.now())
    block = unit.blocks.get_block(block_id, day=today)
    unit.shadows.forget_notice(unit.blocks.get_block_key(block.block_id))
    if block.has_stated_attitude and block.risk_attitude == attitude:
        return block, 0
    changed = change_number(
        unit,
        block,
        "risk_attitude",
        attitude,
        origin=GIVEN,
        effective_day=today,
        clock=replanning.clock,
    )
    count = replan_after(unit, [block.farm_id], touched_day=None, replanning=replanning)
    return changed, count
