"""What a mail says of blocks that begin to weigh the forecast unasked: when told, when on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

import numpy as np

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.risk_attitude import RiskAttitude
from service.database.session import UnitOfWork
from service.operations.reading.read_plans import PlanView
from service.records.letters import WeighingNotice


def weighing_notices(
    unit: UnitOfWork, key_of: Mapping[str, int], views: Sequence[PlanView], day: date
) -> tuple[WeighingNotice, ...]:
    """Those of the plans of a day: once when the grower is told, once when it begins.

    ``key_of`` has the keys of the farm's blocks, by id. Who has stated what he wants is told
    nothing.
    """
    found = []
    told = unit.shadows.read_notices(np.array([*key_of.values()], dtype=np.int64))
    blocks = {view.plan.block_id: view.block for view in views}
    for block_id, key in key_of.items():
        notice, block = told.get(key), blocks.get(block_id)
        if notice is None or block is None or block.has_stated_attitude:
            continue
        from_day = notice.turns_on + ONE_DAY
        is_on = block.risk_attitude != RiskAttitude.CLASSIC and day == from_day
        if is_on or day == notice.told_on + ONE_DAY:
            found.append(WeighingNotice(block_name=block.name, from_day=from_day, is_on=is_on))
    return tuple(found)
