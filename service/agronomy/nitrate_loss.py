"""Nitrate that water drains from the root zone: what over-watering puts at risk.

In: the days of a ledger and the nitrogen given. Out: nitrogen that left with the drainage. The zone
is one mixed cell: what drains carries the concentration of the water that the zone then holds.
"""

from __future__ import annotations

import numpy as np

from service.agronomy.records import Floats, SoilBatch


def held_at_capacity_mm(taw_mm: Floats, soil: SoilBatch) -> Floats:
    """Water that the managed zone holds at field capacity.

    Shapes: taw_mm (..., blocks), soil (blocks,).
    Returns: depth [mm] over the block's ground.
    Equation: TAW theta_fc / (theta_fc - theta_wp).
    """
    held: Floats = taw_mm * soil.field_capacity / (soil.field_capacity - soil.wilting_point)
    return held


def nitrogen_lost_kg_per_ha(
    drainage_mm: Floats, actual_crop_et_mm: Floats, held_mm: Floats, given_kg_per_ha: Floats
) -> Floats:
    """Nitrogen that drains below the roots on each day.

    Shapes: all (days, blocks).
    drainage_mm: of rain and irrigation; held_mm: water of the zone at field capacity;
    given_kg_per_ha: nitrogen given on each day, all of it taken as nitrate.
    Returns: losses [kg/ha]; the rest is taken up with the water that the crop uses or stays.
    Equation: N drained = N D / (D + held), then N taken up = N ET / (ET + held): a single mixed
    cell [CHOICE], the simplest of the published leaching equations (after Burns 1974, J. Soil Sci.
    25:165-175, from memory). It compares programs; it is no forecast of nitrate in a well.

    Ten millimetres through a zone that holds forty take a fifth of what is in it:

    >>> lost = nitrogen_lost_kg_per_ha(
    ...     np.array([[10.0]]), np.array([[0.0]]), np.array([[40.0]]), np.array([[20.0]]))
    >>> float(lost[0, 0])
    4.0
    """
    pool_kg_per_ha = np.zeros(drainage_mm.shape[1])
    lost = np.zeros(drainage_mm.shape)
    for day in range(drainage_mm.shape[0]):
        pool_kg_per_ha = pool_kg_per_ha + given_kg_per_ha[day]
        lost[day] = pool_kg_per_ha * drainage_mm[day] / (drainage_mm[day] + held_mm[day])
        pool_kg_per_ha = pool_kg_per_ha - lost[day]
        used_mm = np.nan_to_num(actual_crop_et_mm[day])
        pool_kg_per_ha = pool_kg_per_ha * held_mm[day] / (used_mm + held_mm[day])
    return lost
