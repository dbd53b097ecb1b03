"""Controllers of farms: pairing them with blocks, listing them, and reading their programs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

import numpy as np

from service.agronomy.civil_day import wall_text
from service.agronomy.root_zone import application_rate_mm_per_h
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid
from service.operations.evening.publish_programs import TOPIC, publish_programs
from service.records.controllers import (
    ControllerDefinition,
    FallbackRun,
    StoredController,
    StoredProgram,
)
from service.records.farms import BlockDefinition, FarmBundle, LoadOutcome

ROUNDING = 1.0 + 1e-9
"""Tolerance that lets a block that takes all of its supply run."""


@dataclass(frozen=True, slots=True)
class ControllerView:
    """A controller together with the program it polls."""

    controller: StoredController
    program: StoredProgram


def save_controllers(
    unit: UnitOfWork,
    farm_id: str,
    controllers: Sequence[ControllerDefinition],
    *,
    recorded_at: datetime,
) -> LoadOutcome:
    """Pair a farm's controllers with its blocks, retire the others, and render their programs.

    All of it in the caller's transaction. Saving the same controllers again changes nothing.
    """
    outcome = unit.controllers.save_controllers(farm_id, controllers, recorded_at=recorded_at)
    if outcome.created_count + outcome.changed_count + outcome.retired_count:
        unit.marks.bump(TOPIC)
    farm_keys = np.array(list(unit.blocks.farm_keys([farm_id]).values()), dtype=np.int64)
    publish_programs(unit, farm_keys, now=recorded_at)
    return outcome


def check_fallbacks(bundle: FarmBundle) -> None:
    """Refuse fallback runs that together take more than their supply gives.

    Without the service all controllers of a farm run their fallbacks on the same day, so those of
    one supply count together. Raises InputInvalid with the worst moment of each supply.
    """
    blocks = {block.block_id: block for block in bundle.blocks}
    openings = [
        _Opening(controller.controller_id, channel.channel, blocks[channel.block_id], run)
        for controller in bundle.controllers
        if controller.policy == "fallback"
        for channel in controller.channels
        if channel.block_id in blocks
        for run in channel.fallback
    ]
    faults = []
    for supply in bundle.supplies:
        of_supply = [each for each in openings if each.block.supply_id == supply.supply_id]
        together = max(
            (_open_at(of_supply, each.run.start_wall_min) for each in of_supply),
            key=_taken_l_per_h,
            default=[],
        )
        if _taken_l_per_h(together) > supply.flow_l_per_h * ROUNDING:
            at_min = max(each.run.start_wall_min for each in together)
            faults.append(
                Fault(
                    f"fallback at {wall_text(at_min)} of {_named(together)}",
                    f"{_taken_l_per_h(together):,.0f} L/h at the same time",
                    f"at most the flow of supply {supply.supply_id!r}, "
                    f"{supply.flow_l_per_h:,.0f} L/h; let the runs start one after the other",
                )
            )
    if faults:
        raise InputInvalid("the fallback runs take more than their supply gives", faults)


@dataclass(frozen=True, slots=True)
class _Opening:
    """A fallback run with the channel that it opens."""

    controller_id: str
    channel: int
    block: BlockDefinition
    run: FallbackRun

    @property
    def flow_l_per_h(self) -> float:
        """Flow of the block's emitters."""
        rate_mm_per_h = application_rate_mm_per_h(
            np.array([self.block.emitter_flow_l_per_h]),
            np.array([self.block.emitter_spacing_m]),
            np.array([self.block.row_spacing_m]),
            laterals_per_row_count=np.array([self.block.laterals_per_row_count]),
        )
        return float(rate_mm_per_h[0] * self.block.area_m2)


def _open_at(openings: Iterable[_Opening], wall_min: int) -> list[_Opening]:
    """The openings that run in the minute that begins then; none runs past midnight."""
    return [
        each
        for each in openings
        if each.run.start_wall_min <= wall_min < each.run.start_wall_min + each.run.duration_min
    ]


def _taken_l_per_h(openings: Iterable[_Opening]) -> float:
    return sum(each.flow_l_per_h for each in openings)


def _named(openings: Sequence[_Opening]) -> str:
    """The channels, by controller."""
    return " and ".join(
        f"controller {controller_id} (channel {', '.join(str(each.channel) for each in group)})"
        for controller_id, group in groupby(openings, key=lambda each: each.controller_id)
    )


def list_controllers(
    farm_id: str | None = None, *, unit_of_work: UnitOfWorkFactory
) -> list[StoredController]:
    """Controllers of a farm, or of all farms, by id, retired ones too; raises NotFound."""
    with unit_of_work(write=False) as unit:
        if farm_id is not None:
            unit.blocks.farm_keys([farm_id])
        return unit.controllers.list_controllers(farm_id, with_retired=True)


def get_controller(controller_id: str, *, unit_of_work: UnitOfWorkFactory) -> ControllerView:
    """One controller and its program; raises NotFound."""
    with unit_of_work(write=False) as unit:
        return ControllerView(
            controller=unit.controllers.get_controller(controller_id),
            program=unit.controllers.find_programs([controller_id])[0],
        )
