"""How much of a nutrient comes with a block's water: of the newest plan, and of the year so far."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from service.database.session import UnitOfWork

YEAR_DAYS = 365
SEASON_LEDGER_DAYS = 300
"""Days of ledger that stand for a season's water."""
G_PER_M3_MM_PER_KG_PER_HA = 100.0
"""1 mm is 10 m3 on a hectare; 1 g/m3 in it is 0.01 kg/ha."""


@dataclass(frozen=True, slots=True)
class NutrientLoad:
    """What of a nutrient comes with the water of a span of days."""

    nutrient: str
    first_day: date
    last_day: date
    gross_mm: float
    load_kg_per_ha: float


def nutrient_loads(
    unit: UnitOfWork, block_id: str, *, nutrient: str, nutrient_g_per_m3: float, on: date
) -> tuple[NutrientLoad, ...]:
    """Loads with the newest plan, where there is one, and with the year's water up to a day."""
    depths = []
    planned_day = unit.plans.find_latest_day(block_id)
    plan = None if planned_day is None else unit.plans.find_plan(block_id, day=planned_day)
    if plan is not None:
        depths.append((plan.day, plan.day, plan.gross_mm))
    first_day = on.replace(month=1, day=1)
    rows = unit.ledger.read_rows(
        unit.blocks.get_block_key(block_id), first_day=first_day, last_day=on
    )
    depths.append((first_day, on, float(np.nansum(rows.numbers["irrigation_gross_mm"]))))
    return tuple(
        NutrientLoad(
            nutrient, first, last, depth, nutrient_g_per_m3 * depth / G_PER_M3_MM_PER_KG_PER_HA
        )
        for first, last, depth in depths
    )


def year_water_mm(unit: UnitOfWork, block_id: str, on: date) -> float | None:
    """Irrigation of the year up to a day, over the ground; None where the ledger is too short."""
    rows = unit.ledger.read_rows(
        unit.blocks.get_block_key(block_id), first_day=on - timedelta(days=YEAR_DAYS), last_day=on
    )
    if rows.days.size < SEASON_LEDGER_DAYS:
        return None
    return float(np.nansum(rows.numbers["irrigation_gross_mm"]))
