"""The keys of the pipes of a block, ``[block.hydraulics]``: each once, with bounds and default.

Pressures may be given as such (psi, kPa, bar) or as head of water (m, ft).
"""

from __future__ import annotations

import math

from service.farm_files.keys import (
    ChoiceKey,
    NumberKey,
    PairKey,
    PointsKey,
    Table,
    TableKey,
    length,
    plain,
)
from service.farm_files.quantities import Measure
from service.waterworks.block_layout import AVERAGE_VARIATION_RATIO
from service.waterworks.lateral import FrictionLaw

HEAD = length(0.0, 200.0, "'15 psi'", "'10 m' of water")
PRESSURE = Measure(
    noun="a pressure", unit="kPa", lowest=0.0, highest=2000.0, examples=("'15 psi'", "'1 bar'")
)
_DIAMETER = length(1.0, 1000.0, "'16 mm'", "'0.62 in'", unit="mm")
_SEGMENT = length(0.0, 10_000.0, "'2 m'", "'6 ft'")
_ROW = length(0.01, 5_000.0, "'90 m'", "'300 ft'")
ALONG = length(0.0, 10_000.0, "'0 m'", "'150 ft'")
_GROUND = length(-500.0, 9_000.0, "'0 m'", "'-3 ft'")
_RISE = length(-200.0, 200.0, "'2 m'", "'-6 ft'")
_COUNT = plain("a whole number", 1.0, 10_000.0, "100", "20")
_SLOPE = plain("a share, up positive,", -0.5, 0.5, "'-2 %'", "0.01")
_FLOW = Measure(
    noun="a flow", unit="L/h", lowest=0.0, highest=2e6, examples=("'0.5 gpm'", "'110 L/h'")
)


class ManifoldKeys(Table):
    """The pipe that feeds the rows of a block."""

    diameter = NumberKey(about="Inner diameter.", measure=_DIAMETER, is_needed=True)
    rows = NumberKey(
        about="Number of places where drip lines branch off.",
        measure=_COUNT,
        is_whole=True,
        is_needed=True,
    )
    row_gap = NumberKey(
        about="Distance between those places.", measure=_ROW, otherwise="the row spacing"
    )
    sides = NumberKey(
        about="Drip lines that branch off at each place.",
        measure=plain("1 or 2", 1.0, 2.0, "1", "2"),
        is_whole=True,
        default=1.0,
    )
    slope = NumberKey(
        about="Even slope of the ground along it, up positive; or give the profile.",
        measure=_SLOPE,
        otherwise="level",
    )
    profile = PointsKey(
        about="Ground along it: pairs of distance from its inlet, rising from 0, and height.",
        along=ALONG,
        value=_GROUND,
        fewest=1,
        otherwise="level",
    )


class SubmainKeys(Table):
    """The pipe between the inlet of the block and its manifold."""

    diameter = NumberKey(about="Inner diameter.", measure=_DIAMETER, is_needed=True)
    length = NumberKey(about="Its length.", measure=_SEGMENT, is_needed=True)
    rise = NumberKey(
        about="Height of its end above its inlet.",
        measure=_RISE,
        default=0.0,
    )


class RegulatorKeys(Table):
    """A pressure regulator at the inlet of the block."""

    lowest_flow = NumberKey(about="Flow from which it regulates.", measure=_FLOW, default=0.0)
    highest_flow = NumberKey(
        about="Flow up to which it regulates.",
        measure=_FLOW,
        default=math.inf,
        otherwise="no limit",
    )
    set = NumberKey(
        about="Pressure that it is set to, at least 0.1 m of water.",
        measure=HEAD,
        takes_pressure=True,
        is_needed=True,
    )
    highest_pressure = NumberKey(
        about="Highest pressure that it bears.",
        measure=HEAD,
        takes_pressure=True,
        default=math.inf,
        otherwise="no limit",
    )
    loss = NumberKey(
        about="Pressure that it takes itself.", measure=HEAD, takes_pressure=True, default=0.0
    )


class HydraulicsKeys(Table):
    """The pipes of a block, for laterals, the flow check and fertigation; plans do without."""

    lateral_diameter = NumberKey(
        about="Inner diameter of the drip line.", measure=_DIAMETER, is_needed=True
    )
    lateral_length = NumberKey(
        about="Length of one drip line; needed unless emitter_count is given.",
        measure=_ROW,
        otherwise="emitter_count times the emitter spacing",
    )
    emitter_count = NumberKey(
        about="Emitters of one drip line; needed unless lateral_length is given.",
        measure=_COUNT,
        is_whole=True,
        otherwise="lateral_length over the emitter spacing",
    )
    inlet_pressure = NumberKey(
        about="Pressure at the block's inlet, before a regulator.",
        measure=HEAD,
        takes_pressure=True,
        is_needed=True,
    )
    compensates = PairKey(
        about="Range of pressures over which a compensating emitter keeps its flow.",
        measure=HEAD,
        otherwise="the emitter does not compensate",
    )
    row_slope = NumberKey(
        about="Even slope of the ground along a row, up positive; or give row_profile.",
        measure=_SLOPE,
        otherwise="level",
    )
    row_profile = PointsKey(
        about="Ground along a row: pairs of distance from its inlet, rising from 0, and height.",
        along=ALONG,
        value=_GROUND,
        fewest=1,
        otherwise="level",
    )
    emitter_exponent = NumberKey(
        about="Exponent of the emitter's flow over pressure: 0 compensating, 0.5 turbulent, 1"
        " laminar.",
        measure=plain("an exponent", 0.0, 1.0, "0.5", "0 for a compensating emitter"),
        default=0.5,
    )
    nominal_pressure = NumberKey(
        about="Pressure at which emitter_flow is stated, at least 0.1 m of water.",
        measure=HEAD,
        takes_pressure=True,
        default=10.0,
    )
    manufacturer_variation = NumberKey(
        about="Coefficient of variation of new emitters.",
        measure=plain("a share", 0.0, 0.5, "0.05", "'5 %'"),
        default=AVERAGE_VARIATION_RATIO,
    )
    emitters_per_plant = NumberKey(
        about="Emitters that water one plant.",
        measure=plain("emitters", 1.0, 100.0, "1", "4"),
        default=1.0,
    )
    first_emitter = NumberKey(
        about="Distance of the first emitter from the inlet of the row.",
        measure=_SEGMENT,
        otherwise="one emitter spacing",
    )
    connection_loss = NumberKey(
        about="Length of plain tube with the friction of one emitter's connection.",
        measure=length(0.0, 3.0, "'0.1 m'", "'4 in'"),
        default=0.0,
    )
    friction = ChoiceKey(
        about="Friction law.",
        choices=tuple(law.value for law in FrictionLaw),
        default=next(iter(FrictionLaw)).value,
    )
    manifold = TableKey(
        about="The pipe that feeds the rows.", tables=(ManifoldKeys,), otherwise="none"
    )
    submain = TableKey(about="The pipe before it.", tables=(SubmainKeys,), otherwise="none")
    regulator = TableKey(
        about="A pressure regulator at the inlet.", tables=(RegulatorKeys,), otherwise="none"
    )
