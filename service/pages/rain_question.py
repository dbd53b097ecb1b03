"""What a gauge reading counts for, and the question before it puts other blocks to rest."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from starlette.responses import Response

from service.database.session import UnitOfWork
from service.operations.reading.what_changed import BlockChange, Moment, moment, what_changed
from service.pages.visit import Visit
from service.pages.what_changed import changes_by_day
from service.pages.whole_name import whole_name
from service.records.farms import BlockDefinition, FarmDefinition

SENT_ON = ("amount", "unit", "day", "time", "note", "confirm")
"""Fields of the form that the question brings along."""


@dataclass(frozen=True, slots=True)
class RainPlace:
    """Where a gauge stands, and the blocks of the farm that it counts for."""

    name: str
    blocks: tuple[str, ...]


class RestsOthersError(Exception):
    """A reading would put other blocks to rest, and nobody has said that it counts for them."""

    def __init__(self, changes: tuple[BlockChange, ...]) -> None:
        super().__init__("the reading would put other blocks to rest")
        self.changes = changes


def rain_place(unit: UnitOfWork, block: BlockDefinition, day: date) -> RainPlace:
    """The place of a block's gauge, with all blocks of its farm there."""
    keys = np.array([unit.blocks.get_site_key(block.site_id)], dtype=np.int64)
    site = unit.blocks.read_site_table(keys).definitions[0]
    return RainPlace(
        whole_name(site.name or site.site_id),
        tuple(
            whole_name(each.name)
            for each in unit.blocks.list_blocks(farm_id=block.farm_id, day=day)
            if each.site_id == block.site_id
        ),
    )


def ask_before_resting(
    unit: UnitOfWork, visit: Visit, block: BlockDefinition, *, before: Moment, tomorrow: date
) -> None:
    """Raise RestsOthersError, which takes the reading back, unless the reader has agreed."""
    if visit.form.get("rest") == "yes":
        return
    changes = what_changed(
        unit, block.farm_id, tomorrow=tomorrow, before=before, after=moment(unit)
    )
    rested = tuple(
        each for each in changes if each.is_put_to_rest and each.after.block_id != block.block_id
    )
    if rested:
        raise RestsOthersError(rested)


def ask_about_rain(
    visit: Visit, farm: FarmDefinition, changes: tuple[BlockChange, ...], tomorrow: date
) -> Response:
    """The question, with what the reading would change; nothing is stored yet."""
    with visit.service.unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(visit.params["block_id"], day=tomorrow)
        place = rain_place(unit, block, tomorrow)
    return visit.show(
        "rain_question.html",
        farm=farm,
        block=block,
        place=place,
        days=changes_by_day(changes, farm.zone, visit.words),
        sent=[(name, visit.form[name]) for name in SENT_ON if name in visit.form],
    )
