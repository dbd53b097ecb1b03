"""The keys of the tables inside a block: soil, coefficients, mulch, season, no-water periods.

Each is declared here once, with its bounds and its default; see :mod:`service.farm_files.keys`.
"""

from __future__ import annotations

from service.agronomy.soil import TEXTURE_KEYS, TextureGroup
from service.agronomy.week_ahead import DayRule
from service.farm_files.keys import (
    ChoiceKey,
    IntegerKey,
    MomentKey,
    MonthDayKey,
    NumberKey,
    NumbersKey,
    Table,
    TextKey,
    WindowsKey,
    length,
    plain,
    share,
)
from service.farm_files.quantities import Measure
from service.records.timers import USUAL_SAFETY_FRACTION

GRAINS = tuple(group.name.lower() for group in TextureGroup)
RAIN_PASS_BY_KIND: dict[str, float] = {
    "none": 1.0,
    "fabric": 0.6,
    "film": 0.05,
    "organic": 0.9,
}
KC = plain("a crop coefficient", 0.0, 1.5, "0.3", "1.05")
HEIGHT = length(0.05, 20.0, "'5 ft'", "'1.5 m'")
TIMER_DAYS = tuple(rule.name.lower().replace("_", "-") for rule in DayRule)
CONTROLLER, HAND, TIMER = "controller", "hand", "timer"
"""What opens a valve."""
CONTROL = ChoiceKey(
    about="What opens its valve: a controller that polls its program each day, somebody by hand"
    " (with [block.hand]) or a timer (its own or its supply's).",
    choices=(CONTROLLER, HAND, TIMER),
    otherwise="by the tables hand and timer, a controller's channel, and the supply's timer",
)
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
OF_CROP_TABLE = "the crop table's"


EMITTER_FLOW = Measure(
    noun="the flow of one emitter",
    unit="L/h",
    lowest=0.1,
    highest=100.0,
    examples=("'0.5 gph'", "'2 L/h'"),
)
UNIFORMITY = Measure(
    noun="a percentage", unit="%", lowest=40.0, highest=100.0, examples=("'85 %'", "0.85")
)


AREA = Measure(noun="an area", unit="m2", lowest=1.0, highest=5e6, examples=("'2.5 ac'", "'1 ha'"))
UNIFORMITY = Measure(
    noun="a percentage", unit="%", lowest=40.0, highest=100.0, examples=("'85 %'", "0.85")
)


def depth(highest: float, *examples: str) -> Measure:
    """A depth of water from 0 to a bound."""
    return Measure(noun="a depth", unit="mm", lowest=0.0, highest=highest, examples=examples)


ALLEY_ROOT_FRACTION = NumberKey(
    about="Share of the ground outside the wet strip that full-size plants root: what rain stores"
    " there is used first.",
    measure=share(0.0, 1.0),
    field="alley_root_fraction",
    default=0.0,
    origin="choice: no roots outside the wet strip",
)
FREEZE_HOLD = NumberKey(
    about="No water in hours expected below this temperature, nor on a day that stays near it.",
    measure=Measure(
        noun="a temperature",
        unit="degC",
        lowest=-40.0,
        highest=10.0,
        examples=("'32 degF'", "'0 degC'"),
    ),
    field="freeze_hold_c",
    default=0.0,
    origin="choice: no water in hours below freezing",
)
LEAKAGE_SHARE = NumberKey(
    about="Share of the metered water that does not reach the emitters: leaks, flushing, a tap"
    " behind the meter.",
    measure=share(0.0, 0.5),
    field="leakage_fraction",
    default=0.0,
    origin="choice: all metered water reaches the emitters",
)


class SoilByTextureKeys(Table):
    """A soil by its texture class."""

    texture = ChoiceKey(
        about="Class of the USDA triangle; or pine-bark (aged), peat-mix or organic-sand, as beds"
        " that drain into the ground. For pots and fresh bark give measured water.",
        choices=TEXTURE_KEYS,
        is_spelt_freely=True,
        is_needed=True,
    )


class SoilByParticlesKeys(Table):
    """A soil by the particles that a laboratory found, shares by weight."""

    sand = NumberKey(about="Share of sand.", measure=share(0.0, 1.0), is_needed=True)
    clay = NumberKey(about="Share of clay.", measure=share(0.0, 0.6), is_needed=True)
    organic_matter = NumberKey(
        about="Organic matter.",
        measure=Measure(
            noun="percent by weight with its sign",
            unit="%",
            lowest=0.1,
            highest=8.0,
            examples=("'2.5 %'",),
        ),
        default=2.5,
    )


class SoilByWaterKeys(Table):
    """A soil by its measured water, shares of the soil's volume."""

    field_capacity = NumberKey(
        about="Water at field capacity, more than at the wilting point.",
        measure=share(0.02, 0.80),
        field="field_capacity",
        is_needed=True,
    )
    wilting_point = NumberKey(
        about="Water at the wilting point.",
        measure=share(0.005, 0.60),
        field="wilting_point",
        is_needed=True,
    )
    conductivity = NumberKey(
        about="Saturated conductivity.",
        measure=Measure(
            noun="a saturated conductivity",
            unit="mm/h",
            lowest=0.01,
            highest=2000.0,
            examples=("'2 in/h'", "'50 mm/h'"),
        ),
        field="saturated_conductivity_mm_per_h",
        is_needed=True,
    )
    grain = ChoiceKey(about="How coarse it is.", choices=GRAINS, is_needed=True)


SOIL: tuple[NumberKey, ...] = (
    SoilByWaterKeys.field_capacity,
    SoilByWaterKeys.wilting_point,
    SoilByWaterKeys.conductivity,
)


class KcKeys(Table):
    """Crop coefficients of your own, each in place of the crop table's."""

    initial = NumberKey(
        about="Crop coefficient of the initial stage.",
        measure=KC,
        field="kc_initial",
        otherwise=OF_CROP_TABLE,
    )
    mid = NumberKey(
        about="Crop coefficient of the mid season.",
        measure=KC,
        field="kc_mid",
        otherwise=OF_CROP_TABLE,
    )
    end = NumberKey(
        about="Crop coefficient at the end of the late stage.",
        measure=KC,
        field="kc_end",
        otherwise=OF_CROP_TABLE,
    )
    off_season = NumberKey(
        about="Crop coefficient outside the season.",
        measure=KC,
        field="kc_off_season",
        otherwise=OF_CROP_TABLE,
    )
    height = NumberKey(
        about="Height of the crop that the coefficients were measured on.",
        measure=HEIGHT,
        field="table_height_m",
        otherwise=OF_CROP_TABLE,
    )
    reference_canopy = NumberKey(
        about="Density of the canopy that the coefficients were measured on.",
        measure=share(0.01, 1.0),
        field="reference_canopy_ratio",
        otherwise=OF_CROP_TABLE,
    )
    density_factor = NumberKey(
        about="How much a small canopy counts: its cover is multiplied by this, ML.",
        measure=plain("a ratio", 1.0, 2.0, "1.5", "2"),
        field="canopy_density_factor",
        otherwise=OF_CROP_TABLE,
    )
    ground = NumberKey(
        about="Crop coefficient of the ground between the plants: bare soil, or what covers it.",
        measure=KC,
        field="ground_kc",
        otherwise="0.15 over bare ground, 0.8 over a live cover, 0.85 under citrus",
    )


KC_NUMBERS: tuple[NumberKey, ...] = (
    KcKeys.initial,
    KcKeys.mid,
    KcKeys.end,
    KcKeys.off_season,
    KcKeys.height,
    KcKeys.reference_canopy,
    KcKeys.density_factor,
    KcKeys.ground,
)


class PlantsKeys(Table):
    """Emitters counted by plants, in place of emitter_spacing."""

    spacing = NumberKey(
        about="Distance between plants along the row.",
        measure=length(0.1, 15.0, "'3 ft'", "'0.9 m'"),
        is_needed=True,
    )
    emitters = NumberKey(
        about="Emitters of one plant, on all lines of its row together.",
        measure=plain("emitters", 0.5, 40.0, "1", "2"),
        default=1.0,
    )


class MulchKeys(Table):
    """Film, fabric or an organic mulch over the drip line."""

    rain_pass = NumberKey(
        about="Share of rain on it that enters the soil under it; may be given instead of kind.",
        measure=share(0.0, 1.0),
        field="mulch_rain_pass_fraction",
        otherwise="fabric 0.6, film 0.05, organic 0.9",
    )
    kind = ChoiceKey(
        about="What it is; needed unless rain_pass is given.",
        choices=tuple(RAIN_PASS_BY_KIND),
        otherwise="none, with a rain_pass",
    )
    cover = NumberKey(
        about="Share of the wetted strip that lies under it; needed where there is a mulch.",
        measure=share(0.0, 1.0),
        field="mulch_cover_fraction",
        otherwise="none, without a mulch",
    )
    line = ChoiceKey(
        about="Where the drip line lies: under it, or above it on fabric or chips. A line above"
        " keeps the top wet, and nothing is taken off the crop coefficients.",
        choices=("under", "above"),
        default="under",
    )
    kc_initial = NumberKey(
        about="Crop coefficient of the initial stage if it covered the whole strip.",
        measure=KC,
        field="mulch_kc_initial",
        otherwise="film 0.10, fabric half way to it, organic half of the crop's",
    )
    kc_reduction = NumberKey(
        about="Share that it takes off the later crop coefficients if it covered the whole strip.",
        measure=share(0.0, 0.5),
        field="mulch_kc_reduction_fraction",
        otherwise="film 0.10 to 0.30, most where drip runs every day; fabric half; organic 0.04",
    )


class SeasonKeys(Table):
    """When the crop grows: stages in days, or in degree days."""

    start = MonthDayKey(
        about="Day on which the season, or the count of degree days, starts.",
        otherwise="the published day of the crop, where there is one",
    )
    degree_days = NumbersKey(
        about="Sums of degree days since the start at which the four stages end, rising.",
        measure=Measure(
            noun="a sum of degree days",
            unit="degC day",
            lowest=1.0,
            highest=8000.0,
            examples=("'450 degF day'", "'250 degC day'"),
        ),
        count=4,
        otherwise="stages are in days",
    )
    lengths = NumbersKey(
        about="Days of the initial, development, mid and late stage, at most 365 in sum.",
        measure=plain("whole days", 1.0, 365.0, "30", "60"),
        count=4,
        otherwise="the published stages of the crop, where there are any; berries have none",
    )
    floor = NumberKey(
        about="Temperature above which degree days are counted; needed with degree_days.",
        measure=Measure(
            noun="a temperature",
            unit="degC",
            lowest=-10.0,
            highest=20.0,
            examples=("'50 degF'", "'10 degC'"),
        ),
        otherwise="stages are in days",
    )


class WateringSeasonKeys(Table):
    """The first and the last day of every year on which water may be planned."""

    start = MonthDayKey(
        name="from",
        about="First day; the season may pass the turn of the year.",
        is_needed=True,
    )
    end = MonthDayKey(name="to", about="Last day.", is_needed=True)


class TimerKeys(Table):
    """A timer that keeps one program until somebody changes it."""

    starts = IntegerKey(
        about="Start times a day that it has for this valve.", lowest=1, highest=12, is_needed=True
    )
    step = NumberKey(
        about="Shortest step of the run time.",
        measure=Measure(
            noun="a duration",
            unit="min",
            lowest=0.5,
            highest=30.0,
            examples=("'1 min'", "'30 s'"),
        ),
        default=1.0,
        origin="common practice, no source",
    )
    days = ChoiceKey(
        about="How its days are chosen: any weekdays, every so many days, or every day alike.",
        choices=TIMER_DAYS,
        default="weekdays",
    )
    set_on = ChoiceKey(
        about="Weekday on which you walk out and set it; a program holds until the next one.",
        choices=WEEKDAYS,
        is_needed=True,
    )
    safety = NumberKey(
        about="Share of weeks in which the crop must not run short: what the coming week may bring"
        " is weighed so that a program holds in all but the driest of it.",
        measure=share(0.5, 0.99, "0.9", "'90 %'"),
        default=USUAL_SAFETY_FRACTION,
        origin="choice: one week in ten",
    )


class HandKeys(Table):
    """A valve that somebody opens by hand, and closes after the minutes of the plan."""

    visits = WindowsKey(
        about="When somebody is there each day to open it; every pulse starts within one of these,"
        " and max_pulses_per_day is one for each unless it is given.",
        is_needed=True,
    )


class NoWaterKeys(Table):
    """A no-water period, such as harvest or spraying."""

    start = MomentKey(
        name="from",
        about="When it starts; a bare date is the start of that day.",
        is_needed=True,
    )
    end = MomentKey(
        name="to",
        about="When it ends; a bare date is the end of that day.",
        is_end=True,
        is_needed=True,
    )
    reason = TextKey(about="What for.", default="not given", example="harvest")
