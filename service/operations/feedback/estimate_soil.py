"""How wet the soil is, as somebody who felt it says: what the first plan of a block asks.

It is stored as a soil reading of the whole root zone. Where the books rest on nothing but the
assumption that the zone was full, it counts fully; against known books, by half.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import UTC, date, datetime

from service.agronomy.reasoning import PlanFlag
from service.agronomy.root_zone import total_available_water_mm
from service.agronomy.soil_reading import (
    ESTIMATE_WEIGHT_FRACTION,
    START_WEIGHT_FRACTION,
    estimated_water,
    reading_depletion_mm,
)
from service.database.session import UnitOfWork
from service.errors import Fault, InputInvalid
from service.operations.evening.replan_after import Replanning
from service.operations.feedback.read_soil import (
    NOON_H,
    StoredSoilReading,
    batch_of,
    block_at,
    store_soil_reading,
    time_faults,
)
from service.records.farms import BlockDefinition
from service.records.feedback import OLDEST_READING, SoilReading

KIND = "estimate"
WETNESS: Mapping[str, float] = {
    "full": 1.0,
    "three-quarters": 0.75,
    "half": 0.5,
    "quarter": 0.25,
    "dry": 0.0,
}
"""Words for the share of the available water that is there, as soil is judged by hand."""


def estimate_soil(
    unit: UnitOfWork,
    block_id: str,
    available_fraction: float,
    *,
    read_at: datetime,
    reporter: str,
    replanning: Replanning,
    note: str = "",
) -> StoredSoilReading:
    """Store how much of its available water a block's root zone has, and update its plans.

    A time without an offset is one of the site's clock. Another estimate for the same instant
    replaces the first. Raises NotFound for a block that is not in force that day, InputInvalid for
    an impossible share or time.
    """
    now = replanning.clock.now()
    block, local = block_at(unit, block_id, read_at, now=now)
    faults = time_faults(local, now)
    if not 0.0 <= available_fraction <= 1.0:
        allowed = "0 (dry) to 1 (full)"
        faults.append(Fault("/available_fraction", f"{available_fraction:g}", allowed))
    if faults:
        raise InputInvalid("the estimate cannot be stored", faults)
    soil = batch_of(block, local.year).soil
    taw_mm = float(total_available_water_mm(soil)[0])
    water = float(estimated_water(available_fraction, block.field_capacity, block.wilting_point))
    is_start = _rests_on_an_assumption(unit, block, local.date())
    reading = SoilReading(
        block_id=block.block_id,
        read_at=local.astimezone(UTC),
        day=local.date(),
        is_evening=local.hour >= NOON_H,
        kind=KIND,
        volumetric_water=water,
        top_depth_m=0.0,
        bottom_depth_m=float(soil.root_depth_m[0]),
        depletion_reading_mm=float(
            reading_depletion_mm(water, block.field_capacity, block.wilting_point, taw_mm=taw_mm)
        ),
        weight_fraction=START_WEIGHT_FRACTION if is_start else ESTIMATE_WEIGHT_FRACTION,
        note=note,
        reporter=reporter,
    )
    return store_soil_reading(unit, block.farm_id, reading, taw_mm, replanning)


def _rests_on_an_assumption(unit: UnitOfWork, block: BlockDefinition, day: date) -> bool:
    """Whether nothing is known of the soil up to a day, but for answers given on that very day."""
    today = unit.soil.list_readings(block.block_id, first_day=day, last_day=day)
    if any(each.kind == KIND and each.weight_fraction >= START_WEIGHT_FRACTION for each in today):
        return True  # the grower changes the answer
    key = unit.blocks.get_block_key(block.block_id)
    rows = unit.ledger.read_rows(key, first_day=day - OLDEST_READING, last_day=day)
    if rows.days.size == 0:
        return math.isnan(block.initial_depletion_mm)
    return bool(rows.flags[-1] & PlanFlag.START_DEPLETION_ASSUMED)
