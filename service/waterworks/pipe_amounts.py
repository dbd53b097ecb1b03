"""How much pipe and how many emitters a block takes, and into how many zones it falls.

In: area, spacings and flow of a block, and its pipes where they are described. Out: metres and
pieces, the flow of a zone and the pressure that its regulator holds, with what was assumed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from service.errors import Fault, InputInvalid
from service.unit_sizes import MM_PER_INCH
from service.waterworks.block_layout import BlockLayout, lateral_of

COMMON_NOMINAL_HEAD_M = 10.0
SET_ABOVE_RATIO = 1.2
"""[CHOICE] A regulator may hold a fifth more than the emitters' rating, for the pipes' loss."""
REGULATOR_NEEDS_HEAD_M = 3.5  # [m] 5 psi above its setting: common practice, no source
COVER_TOLERANCE = 0.05
ASSUMED_SQUARE = (
    "The length of the rows is not described: the block is taken as a square, its rows fed from one"
    " end."
)
ASSUMED_PRESSURE = (
    "The pressure of the emitters is not described: they are taken as rated at 10 m of head,"
    " 14.2 psi."
)
ASSUMED_ALIKE = (
    "The rows that are described do not fill the block: the rest is taken as alike, row by row."
)
ASSUMED_ONE_LINE = (
    "The header is not described: it runs along the ends of the rows, across the whole block."
)
ASSUMED_ZONES = "The zones are as few as the flow of the supply allows, and equally large."

ASSUMPTIONS = (
    ASSUMED_SQUARE,
    ASSUMED_PRESSURE,
    ASSUMED_ALIKE,
    ASSUMED_ONE_LINE,
    ASSUMED_ZONES,
)
"""Everything that may be assumed, for translation."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DripBlock:
    """What is counted of a block."""

    area_m2: float
    row_spacing_m: float
    emitter_spacing_m: float
    laterals_per_row_count: float
    emitter_flow_l_per_h: float
    block_flow_l_per_h: float
    """With every emitter running at the pressure there is."""
    supply_flow_l_per_h: float
    layout: BlockLayout | None = None
    row_length_m: float | None = None
    """As somebody measured it; only where the pipes are not described."""
    zone_count: int | None = None
    """None: as few as the supply allows."""


@dataclass(frozen=True, slots=True)
class PipeAmounts:
    """A block in metres and pieces."""

    lateral_m: float
    lateral_length_m: float
    lateral_count: int
    emitter_count: int
    header_m: float
    submain_m: float
    block_flow_l_per_h: float
    zone_count: int
    zone_flow_l_per_h: float
    acre_inch_time_h: float
    """Hours in which the block gets one inch of water over its whole ground."""
    assumptions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RegulatorRange:
    """What to ask of a zone's pressure regulator."""

    set_low_head_m: float
    set_high_head_m: float
    least_inlet_head_m: float
    """Below this it does not regulate."""
    flow_l_per_h: float
    """Of the zone; its flow range has to hold this, and it often begins well above 0."""
    source: str


def pipe_amounts(block: DripBlock) -> PipeAmounts:
    """Metres of drip line and header, emitters and zones.

    Shapes: one block, scalars.
    Returns: PipeAmounts; row lengths or zones that cannot be raise ``InputInvalid``.
    Equation: drip line = area / row spacing x lines per row; emitters = drip line / spacing; an
    acre of 10 ft rows has 43,560 / 10 = 4,356 ft (common practice, no source).
    >>> acre = DripBlock(area_m2=4046.86, row_spacing_m=3.048, emitter_spacing_m=0.4572,
    ...     laterals_per_row_count=1.0, emitter_flow_l_per_h=1.8927, block_flow_l_per_h=5496.4,
    ...     supply_flow_l_per_h=6000.0, row_length_m=60.0)
    >>> found = pipe_amounts(acre)
    >>> round(found.lateral_m / 0.3048), found.emitter_count, round(found.acre_inch_time_h, 1)
    (4356, 2904, 18.7)
    """
    _check(block)
    lateral_m = block.area_m2 / block.row_spacing_m * block.laterals_per_row_count
    length_m, assumed = _lateral_length_m(block)
    count = max(1, math.ceil(lateral_m / length_m - 1e-6))
    header_m, header_assumed = _header_m(block, count, lateral_m / length_m)
    zones = block.zone_count
    if zones is None:
        zones = max(1, math.ceil(block.block_flow_l_per_h / block.supply_flow_l_per_h - 1e-9))
        assumed += (ASSUMED_ZONES,) if zones > 1 else ()
    layout = block.layout
    return PipeAmounts(
        lateral_m=lateral_m,
        lateral_length_m=length_m,
        lateral_count=count,
        emitter_count=round(lateral_m / block.emitter_spacing_m),
        header_m=header_m,
        submain_m=0.0 if layout is None else layout.submain_length_m,
        block_flow_l_per_h=block.block_flow_l_per_h,
        zone_count=zones,
        zone_flow_l_per_h=block.block_flow_l_per_h / zones,
        acre_inch_time_h=MM_PER_INCH * block.area_m2 / block.block_flow_l_per_h,
        assumptions=assumed + header_assumed,
    )


def regulator_range(layout: BlockLayout | None, zone_flow_l_per_h: float) -> RegulatorRange:
    """The setting of a zone's pressure regulator and what it needs before it.

    Shapes: one layout or none, a scalar.
    Returns: RegulatorRange.
    Equation: set as described; else the range in which emitters compensate, or from their rated
    pressure to a fifth above it; inlet = setting + 3.5 m (5 psi; common practice, no source) or the
    loss that is described, if that is more.
    >>> regulator_range(None, 4000.0).least_inlet_head_m
    13.5
    """
    nominal_m = COMMON_NOMINAL_HEAD_M if layout is None else layout.nominal_head_m
    needs_m = REGULATOR_NEEDS_HEAD_M
    low, high = nominal_m, SET_ABOVE_RATIO * nominal_m
    source = "rated pressure of the emitters to a fifth above it: common practice, no source"
    if layout is not None and layout.compensates_from_head_m is not None:
        low = layout.compensates_from_head_m
        high = layout.compensates_to_head_m or max(low, SET_ABOVE_RATIO * nominal_m)
        source = "range in which the emitters compensate, as described"
    if layout is not None and layout.regulator_set_head_m is not None:
        low = high = layout.regulator_set_head_m
        needs_m = max(needs_m, layout.regulator_loss_head_m)
        source = "the block's regulator, as described"
    return RegulatorRange(low, high, low + needs_m, zone_flow_l_per_h, source)


def _lateral_length_m(block: DripBlock) -> tuple[float, tuple[str, ...]]:
    if block.layout is not None:
        line = lateral_of(block.layout, block.emitter_flow_l_per_h, block.emitter_spacing_m)
        return line.length_m, ()
    if block.row_length_m is not None:
        return block.row_length_m, (ASSUMED_PRESSURE,)
    return math.sqrt(block.area_m2), (ASSUMED_SQUARE, ASSUMED_PRESSURE)


def _header_m(block: DripBlock, count: int, exact_count: float) -> tuple[float, tuple[str, ...]]:
    layout = block.layout
    if layout is None or layout.manifold_diameter_mm is None:
        rows = max(1, math.ceil(count / block.laterals_per_row_count - 1e-6))
        return rows * block.row_spacing_m, (ASSUMED_ONE_LINE,)
    described = layout.takeoff_count * layout.laterals_per_takeoff_count
    takeoffs = math.ceil(count / layout.laterals_per_takeoff_count - 1e-6)
    is_alike = abs(described / exact_count - 1.0) <= COVER_TOLERANCE
    return takeoffs * layout.takeoff_spacing_m, () if is_alike else (ASSUMED_ALIKE,)


def _check(block: DripBlock) -> None:
    faults = []
    if block.row_length_m is not None and not 1.0 <= block.row_length_m <= 5000.0:
        faults.append(Fault("row_length_m", f"{block.row_length_m:g}", "1 to 5000 m"))
    if block.zone_count is not None and not 1 <= block.zone_count <= 200:
        faults.append(Fault("zone_count", f"{block.zone_count}", "1 to 200"))
    if faults:
        raise InputInvalid("the parts of this block cannot be counted", faults)
