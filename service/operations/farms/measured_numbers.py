"""Field measurements are kept when a farm file only has a default in their place."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from service.database.plan_store import PLANS_TOPIC
from service.database.session import UnitOfWork
from service.errors import Fault, InputInvalid, NotFound
from service.ports import Clock
from service.records.audit import Subject
from service.records.farms import BlockDefinition, FarmBundle
from service.records.metered_flow import metered_flow

CATCH_TEST_ORIGIN = "catch test of"
WATER_REPORT_ORIGIN = "water report of"
TURNED_ON_ORIGIN = "turned on after a season on paper, on"
MEASURED: Mapping[str, str] = {
    "emission_uniformity_pct": CATCH_TEST_ORIGIN,
    "leaching_fraction": WATER_REPORT_ORIGIN,
    "risk_attitude": TURNED_ON_ORIGIN,
}
"""How the origin of a number begins that was measured, or found on paper."""
GIVEN = "given"


def keep_measured(unit: UnitOfWork, bundle: FarmBundle, *, day: date) -> FarmBundle:
    """The bundle, with measured numbers of the stored blocks wherever the file gives none."""
    if bundle.farm is None:
        return bundle
    try:
        stored = unit.blocks.get_bundle(bundle.farm.farm_id, day=day)
    except NotFound:
        return bundle
    known = {block.block_id: block for block in stored.blocks}
    return replace(
        bundle,
        blocks=tuple(_kept(block, known.get(block.block_id)) for block in bundle.blocks),
    )


def _kept(block: BlockDefinition, stored: BlockDefinition | None) -> BlockDefinition:
    if stored is None:
        return block
    for name, beginning in MEASURED.items():
        origin = stored.origins.get(name, "")
        if origin.startswith(beginning) and block.origins.get(name) != GIVEN:
            changed: dict[str, Any] = {name: getattr(stored, name)}
            block = replace(block, **changed, origins={**block.origins, name: origin})
    return _with_learned_flow(block, stored)


def _with_learned_flow(block: BlockDefinition, stored: BlockDefinition) -> BlockDefinition:
    """The emitter flow that was learned, while the file states the same flow as when it was."""
    learned, name = metered_flow(stored), "emitter_flow_l_per_h"
    is_same_file = learned is not None and block.emitter_flow_l_per_h == learned.stated_l_per_h
    if not is_same_file or block.origins.get(name, GIVEN) != GIVEN:
        return block
    origins = {**block.origins, name: stored.origins[name]}
    return replace(block, emitter_flow_l_per_h=stored.emitter_flow_l_per_h, origins=origins)


def change_number(
    unit: UnitOfWork,
    block: BlockDefinition,
    name: str,
    value: float,
    *,
    origin: str,
    effective_day: date,
    clock: Clock,
) -> BlockDefinition:
    """A new version of a block with one number measured instead of assumed."""
    if not math.isfinite(value):
        raise InputInvalid("the block cannot be changed", [Fault(name, f"{value}", "a number")])
    number: dict[str, Any] = {name: value}
    changed = replace(block, **number, origins={**block.origins, name: origin})
    bundle = unit.blocks.get_bundle(block.farm_id, day=effective_day)
    blocks = tuple(changed if each.block_id == block.block_id else each for each in bundle.blocks)
    unit.blocks.save_bundle(
        replace(bundle, blocks=blocks),
        effective_day=effective_day,
        recorded_at=clock.now(),
        is_whole_farm=False,
    )
    unit.audit.note(
        Subject.BLOCK, block.block_id, farm_id=block.farm_id, before=block, after=changed
    )
    unit.texts.forget(block.farm_id)  # the text of a plan includes facts of its block
    unit.marks.bump(PLANS_TOPIC)
    return changed
