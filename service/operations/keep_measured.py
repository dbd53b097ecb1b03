"""What was measured in the field outlives a farm file that has only a default in its place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from service.errors import NotFound
from service.operations.report_water import WATER_REPORT_ORIGIN
from service.operations.solve_lateral import CATCH_TEST_ORIGIN
from service.ports import UnitOfWork
from service.records import BlockDefinition, FarmBundle

MEASURED: Mapping[str, str] = {
    "emission_uniformity_pct": CATCH_TEST_ORIGIN,
    "leaching_fraction": WATER_REPORT_ORIGIN,
}
"""How the origin of a measured number begins."""
GIVEN = "given"


def keep_measured(unit: UnitOfWork, bundle: FarmBundle, *, day: date) -> FarmBundle:
    """The bundle with the stored blocks' measured numbers where the file gives none."""
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
    return block
