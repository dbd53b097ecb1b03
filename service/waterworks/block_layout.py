"""A block's pipes as a grower describes them: one row, the number of rows, and what is upstream.

In: a :class:`BlockLayout` in few numbers, and the block's emitters. Out: the :class:`Block` and
the pressure regulator that the solvers take. All rows are alike; a field with several kinds of
rows is several blocks, or is solved row by row.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from service.waterworks.block_hydraulics import Block, Manifold, Regulator, Submain
from service.waterworks.lateral import FLAT, Emitter, FrictionLaw, Lateral, Pipe

AVERAGE_VARIATION_RATIO = 0.05  # [-] ASABE EP405, excellent to average, from memory


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockLayout:
    """The pipes of a block; parts without a number are absent."""

    lateral_diameter_mm: float
    """Inner diameter of the drip line."""
    emitter_count: int
    """Of one drip line."""
    supply_head_m: float
    """Pressure head at the block's inlet, before a regulator."""
    flow_exponent: float = 0.5
    nominal_head_m: float = 10.0
    compensates_from_head_m: float | None = None
    compensates_to_head_m: float | None = None
    manufacturer_variation_ratio: float = AVERAGE_VARIATION_RATIO
    emitters_per_plant_count: float = 1.0
    first_segment_m: float | None = None
    connection_length_m: float = 0.0
    friction_law: str = FrictionLaw.DARCY_WEISBACH.value
    row_profile: tuple[tuple[float, float], ...] = FLAT
    """Ground along the row as (distance_m, elevation_m)."""
    manifold_diameter_mm: float | None = None
    """None: one drip line alone."""
    takeoff_count: int = 1
    takeoff_spacing_m: float = 1.0
    laterals_per_takeoff_count: int = 1
    manifold_profile: tuple[tuple[float, float], ...] = FLAT
    submain_diameter_mm: float | None = None
    submain_length_m: float = 0.0
    submain_rise_m: float = 0.0
    regulator_set_head_m: float | None = None
    """None: no regulator."""
    regulator_loss_head_m: float = 0.0
    regulator_lowest_flow_l_per_h: float = 0.0
    regulator_highest_flow_l_per_h: float = math.inf
    regulator_highest_head_m: float = math.inf


def lateral_of(
    layout: BlockLayout, emitter_flow_l_per_h: float, emitter_spacing_m: float
) -> Lateral:
    """One drip line of a block.

    Shapes: one layout, scalars.
    emitter_flow_l_per_h: at the layout's nominal head.
    Returns: Lateral, not checked.
    >>> layout = BlockLayout(lateral_diameter_mm=16.0, emitter_count=100, supply_head_m=10.0)
    >>> lateral_of(layout, 2.0, 0.5).length_m
    50.0
    """
    return Lateral(
        emitter=Emitter(
            nominal_flow_l_per_h=emitter_flow_l_per_h,
            nominal_head_m=layout.nominal_head_m,
            flow_exponent=layout.flow_exponent,
            compensates_from_head_m=layout.compensates_from_head_m,
            compensates_to_head_m=layout.compensates_to_head_m,
            manufacturer_variation_ratio=layout.manufacturer_variation_ratio,
        ),
        pipe=Pipe(layout.lateral_diameter_mm, FrictionLaw(layout.friction_law)),
        emitter_count=layout.emitter_count,
        emitter_spacing_m=emitter_spacing_m,
        first_segment_m=layout.first_segment_m,
        connection_length_m=layout.connection_length_m,
        profile=layout.row_profile,
        emitters_per_plant_count=layout.emitters_per_plant_count,
    )


def block_of(layout: BlockLayout, emitter_flow_l_per_h: float, emitter_spacing_m: float) -> Block:
    """The whole block, its rows alike; a single row is on a manifold of zero length.

    Shapes: one layout, scalars.
    emitter_flow_l_per_h: at the layout's nominal head.
    Returns: Block, not checked.
    Equation: laterals = take-offs x laterals at each.
    >>> layout = BlockLayout(lateral_diameter_mm=16.0, emitter_count=100, supply_head_m=10.0,
    ...     manifold_diameter_mm=51.0, takeoff_count=20, takeoff_spacing_m=3.0)
    >>> block_of(layout, 2.0, 0.5).takeoff_count
    20
    """
    lateral = lateral_of(layout, emitter_flow_l_per_h, emitter_spacing_m)
    law = FrictionLaw(layout.friction_law)
    if layout.manifold_diameter_mm is None:
        manifold = Manifold(lateral.pipe, layout.takeoff_spacing_m, first_segment_m=0.0)
        count = 1
    else:
        manifold = Manifold(
            Pipe(layout.manifold_diameter_mm, law),
            layout.takeoff_spacing_m,
            profile=layout.manifold_profile,
        )
        count = layout.takeoff_count * layout.laterals_per_takeoff_count
    submain = None
    if layout.submain_diameter_mm is not None:
        submain = Submain(
            Pipe(layout.submain_diameter_mm, law), layout.submain_length_m, layout.submain_rise_m
        )
    return Block(
        manifold=manifold,
        laterals=(lateral,) * count,
        laterals_per_takeoff_count=(
            1 if layout.manifold_diameter_mm is None else layout.laterals_per_takeoff_count
        ),
        submain=submain,
    )


def regulator_of(layout: BlockLayout) -> Regulator | None:
    """The pressure regulator at the block's inlet; None without one.

    Shapes: one layout.
    Returns: Regulator, not checked.
    >>> layout = BlockLayout(lateral_diameter_mm=16.0, emitter_count=9, supply_head_m=20.0,
    ...     regulator_set_head_m=10.0)
    >>> regulator_of(layout).set_head_m
    10.0
    """
    if layout.regulator_set_head_m is None:
        return None
    return Regulator(
        set_head_m=layout.regulator_set_head_m,
        loss_head_m=layout.regulator_loss_head_m,
        lowest_flow_l_per_h=layout.regulator_lowest_flow_l_per_h,
        highest_flow_l_per_h=layout.regulator_highest_flow_l_per_h,
        highest_supply_head_m=layout.regulator_highest_head_m,
    )
