"""What a mail says of blocks that begin to weigh the forecast unasked: when told, when on."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.risk_attitude import RiskAttitude
from service.database.session import UnitOfWork
from service.operations.reading.read_plans import PlanView
from service.records.farms import BlockTable
from service.records.letters import WeighingNotice


def weighing_notices(
    unit: UnitOfWork, table: BlockTable, views: Sequence[PlanView], day: date
) -> tuple[WeighingNotice, ...]:
    """Those of the plans of a day: once when the grower is told, once when it begins.

    Who has stated what he wants is told nothing.
    """
    found = []
    told = unit.shadows.read_notices(table.keys)
    blocks = {view.plan.block_id: view.block for view in views}
    for key, block_id in zip(table.keys.tolist(), table.block_ids, strict=True):
        notice, block = told.get(key), blocks.get(block_id)
        if notice is None or block is None or block.has_stated_attitude:
            continue
        from_day = notice.turns_on + ONE_DAY
        is_on = block.risk_attitude != RiskAttitude.CLASSIC and day == from_day
        if is_on or day == notice.told_on + ONE_DAY:
            found.append(WeighingNotice(block_name=block.name, from_day=from_day, is_on=is_on))
    return tuple(found)
