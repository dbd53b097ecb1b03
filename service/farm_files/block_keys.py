"""The numbers of a block as a farm file names them: key, measure, range and fixed default of each.

Reading and export share this table, so that what is written can be read. Defaults that depend on
other keys (soil, crop, emitters) are worked out by the reader; here they have none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from service.agronomy.records import WallWindow
from service.farm_files.quantities import Measure

GIVEN = "given"
DEFAULT_WINDOWS = (WallWindow(4 * 60, 21 * 60),)
GRAINS = ("coarse", "medium", "fine")
"""Texture groups 0, 1, 2."""


def _length(lowest: float, highest: float, *examples: str) -> Measure:
    return Measure(
        noun="a length", unit="m", lowest=lowest, highest=highest, examples=examples or _LENGTHS
    )


def _duration(lowest: float, highest: float, *examples: str) -> Measure:
    return Measure(noun="a duration", unit="min", lowest=lowest, highest=highest, examples=examples)


def _share(lowest: float, highest: float) -> Measure:
    return Measure(
        noun="a share", unit="", lowest=lowest, highest=highest, examples=("0.4", "'40 %'")
    )


def _plain(noun: str, lowest: float, highest: float, *examples: str) -> Measure:
    return Measure(noun=noun, unit="", lowest=lowest, highest=highest, examples=examples)


_LENGTHS = ("'10 ft'", "'3 m'")

LATITUDE = _plain("degrees, north positive,", -90.0, 90.0, "35.9", "-33.4")
LONGITUDE = _plain("degrees, east positive,", -180.0, 180.0, "-79.2", "151.0")
ELEVATION = _length(-430.0, 6000.0, "'820 ft'", "'250 m'")
WIND_HEIGHT = _length(0.5, 200.0, "'2 m'", "'33 ft'")
KRS = _plain("a number", 0.10, 0.25, "0.16 inland", "0.19 by the sea")
NORMAL_WIND = _plain("m/s at 2 m", 0.0, 15.0, "1.8", "3.0")
NORMAL_HUMIDITY = _plain("percent", 1.0, 100.0, "45", "60")
NORMAL_ET0 = _plain("mm a day", 0.0, 20.0, "1.2", "5.4")
SUPPLY_FLOW = Measure(
    noun="a flow",
    unit="L/h",
    lowest=10.0,
    highest=2_000_000.0,
    examples=("'40 gpm'", "'9 m3/h'"),
)
STAGE_LENGTH = _plain("whole days", 1.0, 365.0, "30", "60")
FALLBACK_DURATION = _duration(10.0, 720.0, "'40 min'", "'1.5 h'")
DEGREE_DAYS = Measure(
    noun="a sum of degree days",
    unit="degC day",
    lowest=1.0,
    highest=8000.0,
    examples=("'450 degF day'", "'250 degC day'"),
)
DEGREE_DAY_FLOOR = Measure(
    noun="a temperature",
    unit="degC",
    lowest=-10.0,
    highest=20.0,
    examples=("'50 degF'", "'10 degC'"),
)
KC = _plain("a crop coefficient", 0.0, 1.5, "0.3", "1.05")
SAND = _share(0.0, 1.0)
CLAY = _share(0.0, 0.6)
ORGANIC_MATTER = Measure(
    noun="percent by weight with its sign", unit="%", lowest=0.1, highest=8.0, examples=("'2.5 %'",)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberKey:
    """One number of a block."""

    field: str
    """Name in :class:`service.records.BlockDefinition`."""
    key: str
    """Name in the file, in its table."""
    measure: Measure
    table: str = ""
    """Table of the block that it stands in; empty: the block itself."""
    default: float | None = None
    origin: str = ""
    """Source of the default."""


_NOT_GIVEN = "not given"

REQUIRED: tuple[NumberKey, ...] = (
    NumberKey(
        field="area_m2",
        key="area",
        measure=Measure(
            noun="an area", unit="m2", lowest=1.0, highest=5e6, examples=("'2.5 ac'", "'1 ha'")
        ),
    ),
    NumberKey(field="row_spacing_m", key="row_spacing", measure=_length(0.2, 30.0)),
    NumberKey(
        field="emitter_spacing_m",
        key="emitter_spacing",
        measure=_length(0.05, 15.0, "'18 in'", "'0.5 m'"),
    ),
    NumberKey(
        field="emitter_flow_l_per_h",
        key="emitter_flow",
        measure=Measure(
            noun="the flow of one emitter",
            unit="L/h",
            lowest=0.1,
            highest=100.0,
            examples=("'0.5 gph'", "'2 L/h'"),
        ),
    ),
)

FIXED: tuple[NumberKey, ...] = (
    NumberKey(
        field="laterals_per_row_count",
        key="laterals_per_row",
        measure=_plain("drip lines per row", 0.5, 12.0, "1", "2"),
        default=1.0,
        origin="choice: one drip line per row",
    ),
    NumberKey(
        field="emission_uniformity_pct",
        key="emission_uniformity",
        measure=Measure(
            noun="a percentage", unit="%", lowest=40.0, highest=100.0, examples=("'85 %'", "0.85")
        ),
        default=90.0,
        origin="design class of ASABE EP405 on level ground, from memory; measure it in the field",
    ),
    NumberKey(
        field="fill_time_min",
        key="fill_time",
        measure=_duration(0.0, 120.0, "'3 min'", "'150 s'"),
        default=3.0,
        origin="choice: about the first fill of a 46 m lateral, 100 emitters of 2 L/h",
    ),
    NumberKey(
        field="longest_pulse_min",
        key="longest_pulse",
        measure=_duration(5.0, 1440.0, "'90 min'", "'4 h'"),
        default=240.0,
        origin="choice: 4 h; soil and root depth shorten it further",
    ),
    NumberKey(
        field="daily_maximum_min",
        key="daily_maximum",
        measure=_duration(10.0, 1440.0, "'600 min'", "'12 h'"),
        default=1440.0,
        origin="no limit but the day",
    ),
    NumberKey(
        field="valve_gap_s",
        key="valve_gap",
        measure=Measure(
            noun="a duration", unit="s", lowest=0.0, highest=3600.0, examples=("'30 s'", "'1 min'")
        ),
        default=0.0,
        origin="choice: valves switch at once",
    ),
    NumberKey(
        field="leaching_fraction",
        key="leaching_fraction",
        measure=_share(0.0, 0.5),
        default=0.0,
        origin="leaching is off unless set",
    ),
    NumberKey(
        field="transmission_ratio",
        key="transmission_ratio",
        measure=_plain("a ratio", 1.0, 2.0, "1.0", "1.1"),
        default=1.0,
        origin="the peak-use transmission ratio is off unless set",
    ),
    NumberKey(
        field="trigger_fraction",
        key="trigger",
        measure=_share(0.05, 1.0),
        default=0.7,
        origin="choice: water at 0.7 of the readily available water",
    ),
    NumberKey(
        field="rain_room_fraction",
        key="rain_room",
        measure=_share(0.0, 0.95),
        default=0.3,
        origin="choice: leave 0.3 of the readily available water empty for rain",
    ),
    NumberKey(
        field="curve_number",
        key="curve_number",
        measure=_plain("an SCS curve number", 30.0, 100.0, "75", "85"),
        default=math.nan,
        origin=f"{_NOT_GIVEN}: no runoff is computed",
    ),
    NumberKey(
        field="planting_year",
        key="planting_year",
        measure=_plain("a year", 1900.0, 2200.0, "2021", "2024"),
        default=math.nan,
        origin=f"{_NOT_GIVEN}: full size already",
    ),
    NumberKey(
        field="initial_depletion_mm",
        key="initial_depletion",
        measure=Measure(
            noun="a depth", unit="mm", lowest=0.0, highest=500.0, examples=("'0.2 in'", "'5 mm'")
        ),
        default=math.nan,
        origin=f"{_NOT_GIVEN}: starts at field capacity, flagged",
    ),
)

OFF_RATIO = NumberKey(
    field="off_ratio", key="off_ratio", measure=_plain("a ratio", 0.0, 10.0, "1", "2.5")
)
WETTED_FRACTION = NumberKey(
    field="wetted_fraction", key="wetted_fraction", measure=_share(0.001, 1.0)
)
LATERAL_GAP = _length(0.05, 5.0, "'18 in'", "'0.4 m'")

SOIL: tuple[NumberKey, ...] = (
    NumberKey(
        field="field_capacity",
        key="field_capacity",
        table="soil",
        measure=_share(0.02, 0.80),
    ),
    NumberKey(
        field="wilting_point",
        key="wilting_point",
        table="soil",
        measure=_share(0.005, 0.60),
    ),
    NumberKey(
        field="saturated_conductivity_mm_per_h",
        key="conductivity",
        table="soil",
        measure=Measure(
            noun="a saturated conductivity",
            unit="mm/h",
            lowest=0.01,
            highest=2000.0,
            examples=("'2 in/h'", "'50 mm/h'"),
        ),
    ),
)

CROP: tuple[NumberKey, ...] = (
    NumberKey(field="kc_initial", key="initial", table="kc", measure=KC),
    NumberKey(field="kc_mid", key="mid", table="kc", measure=KC),
    NumberKey(field="kc_end", key="end", table="kc", measure=KC),
    NumberKey(field="kc_off_season", key="off_season", table="kc", measure=KC),
    NumberKey(
        field="table_height_m",
        key="height",
        table="kc",
        measure=_length(0.05, 20.0, "'5 ft'", "'1.5 m'"),
    ),
    NumberKey(
        field="reference_canopy_ratio",
        key="reference_canopy",
        table="kc",
        measure=_share(0.01, 1.0),
    ),
    NumberKey(field="depletion_fraction", key="depletion_fraction", measure=_share(0.1, 0.8)),
    NumberKey(
        field="years_to_full_size",
        key="years_to_full_size",
        measure=_plain("years", 1.0, 50.0, "4", "8"),
    ),
    NumberKey(
        field="root_depth_m",
        key="root_depth",
        measure=_length(0.05, 5.0, "'2 ft'", "'0.6 m'"),
    ),
    NumberKey(field="canopy_cover_fraction", key="canopy_cover", measure=_share(0.01, 1.0)),
    NumberKey(
        field="canopy_height_m",
        key="canopy_height",
        measure=_length(0.05, 20.0, "'5 ft'", "'1.5 m'"),
    ),
    NumberKey(field="root_share_of_wetted", key="root_share_of_wetted", measure=_share(0.05, 1.0)),
)

MULCH_COVER = NumberKey(
    field="mulch_cover_fraction", key="cover", table="mulch", measure=_share(0.0, 1.0)
)
MULCH_RAIN_PASS = NumberKey(
    field="mulch_rain_pass_fraction", key="rain_pass", table="mulch", measure=_share(0.0, 1.0)
)
RAIN_PASS_BY_KIND: dict[str, float] = {"none": 1.0, "fabric": 0.6, "film": 0.05}

ALL_NUMBERS: tuple[NumberKey, ...] = (
    *REQUIRED,
    *FIXED,
    OFF_RATIO,
    WETTED_FRACTION,
    *SOIL,
    *CROP,
    MULCH_COVER,
    MULCH_RAIN_PASS,
)
"""Every number of a block that a file can hold, but for the texture group and what scales."""
