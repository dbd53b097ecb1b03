"""Controllers for the invented farms, and what tests ask of them."""

from __future__ import annotations

import json
import zlib
from typing import Any

from service.bootstrap import Service
from service.operations.farms.manage_controllers import save_controllers
from service.records.controllers import ChannelDefinition, ControllerDefinition, FallbackRun
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, FARM_ID, YOUNG_BLOCK_ID

SHED = f"{FARM_ID}.shed"
BARN = "later-farm.barn"
PROGRAM = f"/v1/controllers/{SHED}/program"
SHED_CONTROLLER = ControllerDefinition(
    controller_id=SHED,
    farm_id=FARM_ID,
    name="Pump shed (invented)",
    channels=(
        ChannelDefinition(channel=1, block_id=BLOCK_ID, fallback=(FallbackRun(330, 40),)),
        ChannelDefinition(channel=2, block_id=BARE_BLOCK_ID),
    ),
)
BARN_CONTROLLER = ControllerDefinition(
    controller_id=BARN,
    farm_id="later-farm",
    name="Barn (invented)",
    channels=(
        ChannelDefinition(
            channel=7,
            block_id=YOUNG_BLOCK_ID,
            fallback=(FallbackRun(300, 30), FallbackRun(1080, 20)),
        ),
    ),
)


def pair(service: Service, farm_id: str, *controllers: ControllerDefinition) -> None:
    """Make these the controllers of a farm."""
    with service.unit_of_work(write=True) as unit:
        save_controllers(unit, farm_id, controllers, recorded_at=service.clock.now())


def checked_program(body: bytes) -> dict[str, Any]:
    """The program of a JSON answer whose checksum is right."""
    text = body[body.index(b'"program":') + len(b'"program":') : -1]
    answer = json.loads(body)
    assert answer["crc32"] == f"{zlib.crc32(text):08x}"
    program: dict[str, Any] = answer["program"]
    assert json.loads(text) == program
    return program
