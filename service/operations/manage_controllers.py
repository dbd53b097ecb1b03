"""Controllers of farms: pairing them with blocks, listing them, and what they are told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from service.operations.publish_programs import TOPIC, publish_programs
from service.ports import UnitOfWork, UnitOfWorkFactory
from service.records import (
    ControllerDefinition,
    LoadOutcome,
    StoredController,
    StoredProgram,
)


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
    """Pair a farm's controllers with its blocks, retire the others, and write their programs.

    All in the transaction at hand. The same controllers on the same blocks again change nothing.
    """
    outcome = unit.controllers.save_controllers(farm_id, controllers, recorded_at=recorded_at)
    if outcome.created_count + outcome.changed_count + outcome.retired_count:
        unit.marks.bump(TOPIC)
    farm_keys = np.array(list(unit.blocks.farm_keys([farm_id]).values()), dtype=np.int64)
    publish_programs(unit, farm_keys, now=recorded_at)
    return outcome


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
