"""What a report or a pause changed: each block's plan before and after it, day by day.

Plan versions are never altered, so that the comparison stays the same however often it is read.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.records import Ints
from service.database.session import UnitOfWork
from service.operations.reading.block_lines import line_of_plan, pause_of_day
from service.operations.reading.read_plans import PlanView
from service.records.letters import BlockLine


@dataclass(frozen=True, slots=True)
class Moment:
    """A place in the history of the plans: the newest version at that time."""

    key: int


@dataclass(frozen=True, slots=True)
class BlockChange:
    """The plan of a block before and after."""

    day: date
    before: BlockLine
    after: BlockLine

    @property
    def is_changed(self) -> bool:
        """Whether what somebody has to do is different: minutes or times."""
        return (self.before.status, self.before.pulses) != (self.after.status, self.after.pulses)

    @property
    def is_put_to_rest(self) -> bool:
        """Whether the block would have run and does not."""
        return bool(self.before.pulses) and self.after.status == "rest" and not self.after.pulses


def moment(unit: UnitOfWork) -> Moment:
    """Now, in the history of the plans as this transaction sees it."""
    return Moment(unit.plans.latest_key())


def what_changed(
    unit: UnitOfWork, farm_id: str, *, tomorrow: date, before: Moment, after: Moment
) -> tuple[BlockChange, ...]:
    """The farm's plans for the day before ``tomorrow`` and for it, as they were and as they became.

    A plan that did not exist before is left out. Of the first day only blocks whose plan became
    another are named. By day and block.
    """
    found = []
    for day in (tomorrow - ONE_DAY, tomorrow):
        blocks = {
            block.block_id: block for block in unit.blocks.list_blocks(farm_id=farm_id, day=day)
        }
        old, new = (
            {
                plan.block_id: PlanView(plan, blocks[plan.block_id])
                for plan in unit.plans.list_plans_at(at.key, day=day, farm_id=farm_id)
                if plan.block_id in blocks
            }
            for at in (before, after)
        )
        table = unit.blocks.read_block_table(day, farm_keys=_keys(unit, farm_id))
        periods = unit.pauses.read_periods(table.keys)
        asked = {
            block_id: periods.get(key, ())
            for key, block_id in zip(table.keys.tolist(), table.block_ids, strict=True)
        }
        for block_id, view in new.items():
            if block_id not in old:
                continue
            all_periods = (*view.block.no_water, *asked.get(block_id, ()))
            change = BlockChange(
                day,
                before=line_of_plan(old[block_id]),
                after=replace(line_of_plan(view), pause=pause_of_day(all_periods, day)),
            )
            if day == tomorrow or change.is_changed:
                found.append(change)
    return tuple(found)


def _keys(unit: UnitOfWork, farm_id: str) -> Ints:
    return np.array([unit.blocks.farm_keys([farm_id])[farm_id]], dtype=np.int64)
