"""The keys of a block in a farm file: each once, with its bounds, its default and its origin.

Reading, export, schemas and pages share them, so that what is written can be read. Defaults that
depend on other keys (soil, crop, emitters) are worked out by the reader; here they are in words.
"""

from __future__ import annotations

import math

from service.agronomy.crop_table import CROPS
from service.farm_files import block_part_keys as parts
from service.farm_files.block_part_keys import (
    HEIGHT,
    KC,
    OF_CROP_TABLE,
    KcKeys,
    MulchKeys,
    NoWaterKeys,
    PlantsKeys,
    SeasonKeys,
    TimerKeys,
    WateringSeasonKeys,
)
from service.farm_files.keys import (
    ChoiceKey,
    DayKey,
    IdKey,
    MonthDayKey,
    NotesKey,
    NumberKey,
    PointsKey,
    Table,
    TableKey,
    TablesKey,
    TextKey,
    WindowsKey,
    duration,
    length,
    plain,
    share,
)
from service.farm_files.pipe_keys import HydraulicsKeys
from service.farm_files.risk_file import RISK_ATTITUDE

GIVEN = "given"
_NOT_GIVEN = "not given"


class BlockKeys(Table):
    """A block: what one valve waters."""

    id = IdKey(
        about="Id of the block within the farm, 1 to 40 small letters, digits and hyphens. It"
        " never changes; the name may.",
        is_needed=True,
        example="north",
    )
    name = TextKey(about="Name for people.", otherwise="the id", example="North blueberries")
    supply = IdKey(
        about="Id of the supply that it draws on.",
        refers_to="supply",
        otherwise="the only one",
        example="well",
    )
    site = IdKey(
        about="Id of the site whose weather counts; its clock is that of the farm.",
        refers_to="site",
        otherwise="the only one",
        example="home",
    )
    crop = ChoiceKey(
        about="Key of the crop in the crop table.", choices=tuple(CROPS), is_needed=True
    )
    area = NumberKey(about="Ground area.", measure=parts.AREA, field="area_m2", is_needed=True)
    row_spacing = NumberKey(
        about="Distance between rows.",
        measure=length(0.2, 30.0),
        field="row_spacing_m",
        is_needed=True,
    )
    emitter_spacing = NumberKey(
        about="Distance between emitters along a drip line; or count them in plants.",
        measure=length(0.05, 15.0, "'18 in'", "'0.5 m'"),
        field="emitter_spacing_m",
        otherwise="from plants; one of the two is needed",
    )
    plants = TableKey(
        about="Emitters by plants, such as one for each.", tables=(PlantsKeys,), otherwise="none"
    )
    emitter_flow = NumberKey(
        about="Flow of one emitter.",
        measure=parts.EMITTER_FLOW,
        field="emitter_flow_l_per_h",
        is_needed=True,
    )
    laterals_per_row = NumberKey(
        about="Drip lines per row.",
        measure=plain("drip lines per row", 0.5, 12.0, "1", "2"),
        field="laterals_per_row_count",
        default=1.0,
        origin="choice: one drip line per row",
    )
    emission_uniformity = NumberKey(
        about="How alike the emitters are; measure it.",
        measure=parts.UNIFORMITY,
        field="emission_uniformity_pct",
        default=90.0,
        origin="design class of ASABE EP405 on level ground, from memory; measure it in the field",
    )
    fill_time = NumberKey(
        about="Time until all emitters drip.",
        measure=duration(0.0, 120.0, "'3 min'", "'150 s'"),
        field="fill_time_min",
        default=3.0,
        origin="choice: about the first fill of a 46 m lateral, 100 emitters of 2 L/h",
    )
    longest_pulse = NumberKey(
        about="Longest run at a stretch, at least 10 min and three fill times.",
        measure=duration(5.0, 1440.0, "'90 min'", "'4 h'"),
        field="longest_pulse_min",
        default=240.0,
        origin="choice: 4 h; soil and root depth shorten it further",
    )
    daily_maximum = NumberKey(
        about="Longest running time of a day, at least 10 min and three fill times.",
        measure=duration(10.0, 1440.0, "'600 min'", "'12 h'"),
        field="daily_maximum_min",
        default=1440.0,
        origin="choice: the whole day; a controller gets a quarter over the longest day asked",
    )
    max_pulses_per_day = NumberKey(
        about="Most pulses of a day; few where a valve is turned by hand.",
        measure=plain("pulses a day", 1.0, 144.0, "2", "6"),
        field="daily_pulse_count",
        default=12.0,
        origin="choice: 12 pulses a day at most, no source",
        is_whole=True,
    )
    priority = NumberKey(
        about="Rank on a short supply: 1 is served first, 9 last, equal numbers share alike.",
        measure=plain("a rank from 1 to 9", 1.0, 9.0, "1", "9"),
        field="priority",
        default=5.0,
        origin="choice: all blocks of a supply alike",
        is_whole=True,
    )
    news_share = NumberKey(
        about="Share of the need from which water that has to wait is worth a sentence.",
        measure=share(0.0, 1.0),
        field="news_fraction",
        default=0.1,
        origin="choice: less than 0.1 of the need is no news",
    )
    news_depth = NumberKey(
        about="Depth of it from which that is so; both must be reached.",
        measure=parts.depth(50.0, "'0.02 in'", "'0.5 mm'"),
        field="news_depth_mm",
        default=0.5,
        origin="choice: less than 0.5 mm is the remainder of whole minutes",
    )
    valve_gap = NumberKey(
        about="Time that a valve takes after a pulse.",
        measure=duration(0.0, 3600.0, "'30 s'", "'1 min'", unit="s"),
        field="valve_gap_s",
        default=0.0,
        origin="choice: valves switch at once",
    )
    leaching_fraction = NumberKey(
        about="Extra water against salt.",
        measure=share(0.0, 0.5),
        field="leaching_fraction",
        default=0.0,
        origin="leaching is off unless set",
    )
    transmission_ratio = NumberKey(
        about="Peak-use ratio for losses that cannot be avoided.",
        measure=plain("a ratio", 1.0, 2.0, "1.0", "1.1"),
        field="transmission_ratio",
        default=1.0,
        origin="the peak-use transmission ratio is off unless set",
    )
    trigger = NumberKey(
        about="Share of the readily available water used up at which water is given.",
        measure=share(0.05, 1.0),
        field="trigger_fraction",
        default=0.7,
        origin="choice: water at 0.7 of the readily available water",
    )
    rain_room = NumberKey(
        about="Share of the readily available water left empty for rain, less than trigger.",
        measure=share(0.0, 0.95),
        field="rain_room_fraction",
        default=0.3,
        origin="choice: leave 0.3 of the readily available water empty for rain",
    )
    risk_attitude = RISK_ATTITUDE
    alley_root_fraction = parts.ALLEY_ROOT_FRACTION
    freeze_hold = parts.FREEZE_HOLD
    leakage_share = parts.LEAKAGE_SHARE
    curve_number = NumberKey(
        about="SCS curve number, from which runoff is computed.",
        measure=plain("an SCS curve number", 30.0, 100.0, "75", "85"),
        field="curve_number",
        default=math.nan,
        origin=f"{_NOT_GIVEN}: no runoff is computed",
        otherwise="no runoff is computed",
    )
    planting_year = NumberKey(
        about="Year of planting; young plantings use less water.",
        measure=plain("a year", 1900.0, 2200.0, "2021", "2024"),
        field="planting_year",
        default=math.nan,
        origin=f"{_NOT_GIVEN}: full size already",
        otherwise="full size already",
        is_whole=True,
    )
    initial_depletion = NumberKey(
        about="Water that the root zone lacks on the first morning of the books; later on"
        " `rillwright soil` says it.",
        measure=parts.depth(500.0, "'0.2 in'", "'5 mm'"),
        field="initial_depletion_mm",
        default=math.nan,
        origin=f"{_NOT_GIVEN}: starts at field capacity, flagged",
        otherwise="0, and every plan asks until it is said how wet the soil is",
    )
    soil = TableKey(
        about="The soil, in one of three ways: its texture class, its particles, its water.",
        tables=(parts.SoilByTextureKeys, parts.SoilByParticlesKeys, parts.SoilByWaterKeys),
        is_needed=True,
    )
    off_ratio = NumberKey(
        about="Rest after a pulse, as a multiple of it.",
        measure=plain("a ratio", 0.0, 10.0, "1", "2.5"),
        field="off_ratio",
        otherwise="1 on coarse, 2 on medium, 3 on fine soil",
    )
    lateral_gap = NumberKey(
        about="Distance between the lines of a row; for the default of wetted_fraction alone.",
        measure=length(0.05, 5.0, "'18 in'", "'0.4 m'"),
        otherwise="as far apart as each line wets",
    )
    wetted_fraction = NumberKey(
        about="Share of the ground that the drip wets.",
        measure=share(0.001, 1.0),
        field="wetted_fraction",
        otherwise="by flow, spacing and soil",
    )
    kc = TableKey(
        about="Crop coefficients and what belongs to them.",
        tables=(KcKeys,),
        otherwise=OF_CROP_TABLE,
    )
    depletion_fraction = NumberKey(
        about="Share of the stored water that is used before the crop suffers.",
        measure=share(0.1, 0.8),
        field="depletion_fraction",
        otherwise=OF_CROP_TABLE,
    )
    years_to_full_size = NumberKey(
        about="Years from planting to full size.",
        measure=plain("years", 1.0, 50.0, "4", "8"),
        field="years_to_full_size",
        otherwise=OF_CROP_TABLE,
    )
    root_depth = NumberKey(
        about="Depth of the roots this year.",
        measure=length(0.05, 5.0, "'2 ft'", "'0.6 m'"),
        field="root_depth_m",
        otherwise="the lower end of the published range, growing with age",
    )
    canopy_cover = NumberKey(
        about="Share of the ground shaded at full leaf, this year or on canopy_measured_on.",
        measure=share(0.01, 1.0),
        field="canopy_cover_fraction",
        otherwise="the crop table's, growing with age",
    )
    canopy_height = NumberKey(
        about="Height of the plants, this year or on canopy_measured_on.",
        measure=HEIGHT,
        field="canopy_height_m",
        otherwise="the crop table's, growing with age",
    )
    canopy_measured_on = DayKey(
        about="Day on which cover or height was measured: it grows from there.",
        otherwise="no growth",
    )
    full_cover = NumberKey(
        about="Cover that a measured canopy_cover grows to; needs canopy_measured_on.",
        measure=share(0.01, 1.0),
        field="full_cover_fraction",
        otherwise=OF_CROP_TABLE,
    )
    full_height = NumberKey(
        about="Height that a measured canopy_height grows to; needs canopy_measured_on.",
        measure=HEIGHT,
        field="full_height_m",
        otherwise=OF_CROP_TABLE,
    )
    root_share_of_wetted = NumberKey(
        about="Share of the applied water that reaches roots this year.",
        measure=share(0.05, 1.0),
        field="root_share_of_wetted",
        otherwise="1, growing with age",
    )
    mulch = TableKey(
        about="Film, fabric or an organic mulch over the drip line.",
        tables=(MulchKeys,),
        otherwise="none",
    )
    season = TableKey(
        about="When the crop grows. Local dates are better for every crop.",
        tables=(SeasonKeys,),
        otherwise="the published season of the crop, where there is one; berries have none",
    )
    watering_season = TableKey(
        about="When water is planned at all; outside it the block is dormant, and its balance goes"
        " on.",
        tables=(WateringSeasonKeys,),
        otherwise="the crop's season with 14 days before and after; the whole year for evergreen"
        " crops and for stages in degree days",
    )
    last_nitrogen = MonthDayKey(
        about="Last day of every season for nitrogen.",
        otherwise="by crop and place; of blueberries 07-31, in cool regions 07-07",
    )
    kc_table = PointsKey(
        about="Crop coefficients by day of the year, rising from January, in place of stages,"
        " canopy and mulch; straight lines between the days.",
        along=None,
        value=KC,
        fewest=2,
        most=120,
        otherwise="stages",
    )
    windows = WindowsKey(
        about="When it may run each day, within the windows of its supply.",
        otherwise="the supply's",
    )
    no_water = TablesKey(about="No-water periods.", table=NoWaterKeys, otherwise="none")
    control = parts.CONTROL
    timer = TableKey(
        about="Its timer, where one program holds until somebody walks out and changes it.",
        tables=(TimerKeys,),
        otherwise="the supply's; without one the plan may change every day",
    )
    hand = TableKey(
        about="Its valve, where somebody opens it by hand; others open at any minute.",
        tables=(parts.HandKeys,),
    )
    balance_start = DayKey(
        about="First day of the books.",
        otherwise="the first evening that is planned, or the day of an earlier reported run",
    )
    hydraulics = TableKey(
        about="Its pipes; plans do without.", tables=(HydraulicsKeys,), otherwise="not known"
    )
    origins = NotesKey(
        about="Where the numbers that were not the farm's own come from, as an export writes it.",
        names=lambda: NOTED_NAMES,
        otherwise="every number has its own",
    )


REQUIRED: tuple[NumberKey, ...] = (
    BlockKeys.area, BlockKeys.row_spacing, BlockKeys.emitter_flow,
)  # fmt: skip
FIXED: tuple[NumberKey, ...] = tuple(
    key for key in BlockKeys.declared()
    if isinstance(key, NumberKey) and key.field and key.default is not None
)  # fmt: skip
SIZE: tuple[NumberKey, ...] = (
    BlockKeys.depletion_fraction, BlockKeys.years_to_full_size, BlockKeys.root_depth,
    BlockKeys.canopy_cover, BlockKeys.canopy_height, BlockKeys.root_share_of_wetted,
)  # fmt: skip
FULL_SIZE: tuple[NumberKey, ...] = (BlockKeys.full_cover, BlockKeys.full_height)
MULCH: tuple[NumberKey, ...] = (
    MulchKeys.cover, MulchKeys.rain_pass, MulchKeys.kc_initial, MulchKeys.kc_reduction,
)  # fmt: skip
ALL_NUMBERS: tuple[NumberKey, ...] = (
    *REQUIRED, BlockKeys.emitter_spacing, *FIXED, BlockKeys.off_ratio,
    BlockKeys.wetted_fraction, *parts.SOIL,
    *parts.KC_NUMBERS, *SIZE, *FULL_SIZE, *MULCH,
)  # fmt: skip
"""Every number of a block that a file can hold, except the texture group and the scaled sizes."""
TABLE_OF: dict[str, str] = {
    **{key.field: BlockKeys.soil.name for key in parts.SOIL},
    **{key.field: BlockKeys.kc.name for key in parts.KC_NUMBERS},
    **{key.field: BlockKeys.mulch.name for key in MULCH},
}
"""The table of the block that holds a number; the other numbers are in the block itself."""
WATERING_DAYS = ("watering_start_doy", "watering_end_doy")
"""The numbers of the watering season, whose keys are days of the year."""
NOTED_NAMES: tuple[str, ...] = (
    *(key.field for key in ALL_NUMBERS), "texture_group", "risk_attitude", *WATERING_DAYS,
    "curve", "windows",
)  # fmt: skip
"""Names that an origin may be given for."""
