"""The keys of a farm file, except those of a block: the file, farm, sites, supplies, people.

Each is declared here once, with its bounds and its default; see :mod:`service.farm_files.keys`.
"""

from __future__ import annotations

from service.agronomy.records import WallWindow
from service.farm_files.block_keys import BlockKeys
from service.farm_files.block_part_keys import WEEKDAYS, TimerKeys
from service.farm_files.keys import (
    UNIT_SYSTEMS,
    ChoiceKey,
    ChoicesKey,
    IdKey,
    IntegerKey,
    MailKey,
    NumberKey,
    NumbersKey,
    PatternKey,
    Table,
    TableKey,
    TablesKey,
    TextKey,
    TimeKey,
    WindowsKey,
    ZoneKey,
    duration,
    length,
    plain,
)
from service.farm_files.quantities import Measure
from service.records.mail import LANGUAGES, MAIL_LISTS

DEFAULT_ISSUE_WALL_MIN = 19 * 60
DEFAULT_WINDOWS = (WallWindow(4 * 60, 21 * 60),)
_FALLBACK = duration(10.0, 720.0, "'40 min'", "'1.5 h'")
_ID = "1 to 40 small letters, digits and hyphens. It never changes; the name may."


class FarmKeys(Table):
    """The farm, one per file. A file may leave it out and hold sites and counties only."""

    id = IdKey(about=f"Id of the farm, {_ID}", is_needed=True, example="hill-farm")
    name = TextKey(about="Name for people.", otherwise="the id", example="Hill Farm")
    zone = ZoneKey(about="IANA name of the time zone that the farm's clocks keep.", is_needed=True)
    issue_time = TimeKey(
        about="Time of day by which tomorrow's plan is issued.", default=DEFAULT_ISSUE_WALL_MIN
    )
    unit_system = ChoiceKey(
        about="How people of the farm read numbers: US customary units or SI.",
        choices=UNIT_SYSTEMS,
        default="us",
    )


TDEW_OFFSET = Measure(
    noun="a temperature difference",
    unit="degC",
    lowest=-5.0,
    highest=20.0,
    examples=("'4.5 degF'", "'2.5 degC'"),
    is_difference=True,
)


class NormalsKeys(Table):
    """Long-term means of the months, January to December; each list may be left out."""

    u2_m_s = NumbersKey(
        about="Wind at 2 m.",
        measure=plain("m/s at 2 m", 0.0, 15.0, "1.8", "3.0"),
        count=12,
    )
    rhmin_pct = NumbersKey(
        about="Lowest relative humidity of the day.",
        measure=plain("percent", 1.0, 100.0, "45", "60"),
        count=12,
    )
    et0_mm = NumbersKey(
        about="Reference evapotranspiration.",
        measure=plain("mm a day", 0.0, 20.0, "1.2", "5.4"),
        count=12,
    )
    tdew_offset_c = NumbersKey(
        about="How far the dewpoint lies below the night's minimum, used on days without humidity.",
        measure=TDEW_OFFSET,
        count=12,
    )


class SiteKeys(Table):
    """A place that weather is known for; a farm may have several."""

    id = IdKey(about=f"Id of the site, {_ID}", is_needed=True, example="home")
    zone = ZoneKey(about="IANA name of the time zone of the place.", otherwise="the farm's")
    latitude = NumberKey(
        about="Latitude in degrees, north positive, south negative.",
        measure=plain("degrees, north positive,", -90.0, 90.0, "35.9", "-33.4"),
        is_needed=True,
    )
    longitude = NumberKey(
        about="Longitude in degrees, east positive; all of the Americas is negative.",
        measure=plain("degrees, east positive,", -180.0, 180.0, "-79.2", "151.0"),
        is_needed=True,
    )
    name = TextKey(about="Name for people.", otherwise="the id", example="Home weather station")
    elevation = NumberKey(
        about="Height above the sea.",
        measure=length(-430.0, 6000.0, "'820 ft'", "'250 m'"),
        is_needed=True,
    )
    wind_height = NumberKey(
        about="Height of the anemometer behind imported wind.",
        measure=length(0.5, 200.0, "'2 m'", "'33 ft'"),
        default=2.0,
    )
    krs = NumberKey(
        about="Coefficient of FAO-56 Eq. 50, which estimates radiation from temperature: 0.16"
        " inland, 0.19 by the sea.",
        measure=plain("a number", 0.10, 0.25, "0.16 inland", "0.19 by the sea"),
        default=0.16,
    )
    tdew_offset = NumberKey(
        about="How far the dewpoint lies below the night's minimum in every month, in degC where no"
        " unit is given, used on days without humidity; FAO-56 advises 0, and 2 to 3 degC in dry"
        " places. Twelve values go into normals.",
        measure=TDEW_OFFSET,
        otherwise="learned month by month from days with humidity, 0 without any",
    )
    normals = TableKey(
        about="Long-term monthly means.", tables=(NormalsKeys,), otherwise="none are known"
    )


class CountyKeys(Table):
    """A county that an adviser compares with others; a farm needs none."""

    code = PatternKey(
        about="Official code of the county, in quotes.",
        pattern="[A-Za-z0-9][A-Za-z0-9.-]{0,19}",
        allowed="1 to 20 letters, digits, points and hyphens in quotes: '37001'",
        example="37001",
        is_needed=True,
    )
    site = IdKey(
        about="Id of the site whose weather is used for the county.",
        refers_to="site",
        is_needed=True,
        example="home",
    )
    name = TextKey(about="Name for people.", otherwise="the code", example="Example County")


class WeeklyNoWaterKeys(Table):
    """Hours of every week without water, such as a peak tariff or the days of a district."""

    days = ChoicesKey(
        about="Weekdays on which the hours begin; those across midnight end on the day after.",
        choices=WEEKDAYS,
        otherwise="every day",
    )
    start = TimeKey(name="from", about="When they begin.", is_needed=True)
    end = TimeKey(
        name="to",
        about="When they end; at or before their start it is on the next day, and 24:00 is the end"
        " of the day.",
        is_needed=True,
        is_end=True,
    )
    reason = TextKey(about="Why.", default="not given", example="peak tariff")


class SupplyKeys(Table):
    """A pump, well or hydrant that blocks share."""

    id = IdKey(about=f"Id of the supply, {_ID}", is_needed=True, example="well")
    name = TextKey(about="Name for people.", otherwise="the id", example="Well by the barn")
    flow = NumberKey(
        about="What it can deliver while blocks run.",
        measure=Measure(
            noun="a flow",
            unit="L/h",
            lowest=10.0,
            highest=2_000_000.0,
            examples=("'40 gpm'", "'9 m3/h'"),
        ),
        is_needed=True,
    )
    windows = WindowsKey(about="When it may run each day.", default=DEFAULT_WINDOWS)
    weekly_no_water = TablesKey(
        about="Hours of every week in which it gives no water, whatever the windows say.",
        table=WeeklyNoWaterKeys,
        most=12,
        otherwise="none",
    )
    timer = TableKey(
        about="The timer of every block of this supply that says nothing else of its control and is"
        " on no channel of a controller. Blocks that are too much for the supply together take"
        " turns.",
        tables=(TimerKeys,),
        otherwise="plans may change every day",
    )


class FallbackRunKeys(Table):
    """A daily run of a channel while the service cannot be reached."""

    start = TimeKey(
        about="Time of day at which it starts; the run lies within one window of the block.",
        is_needed=True,
    )
    duration = NumberKey(
        about="How long it runs, in whole minutes.",
        measure=_FALLBACK,
        is_needed=True,
    )


class ChannelKeys(Table):
    """One output of a controller and the block whose valve it opens."""

    channel = IntegerKey(
        about="Number of the output on the controller.", lowest=1, highest=64, is_needed=True
    )
    block = IdKey(
        about="Id of the block; a block belongs to one channel.",
        refers_to="block",
        is_needed=True,
        example="north",
    )
    fallback = TablesKey(
        about="What runs each day once the last program has run out and the service cannot be"
        " reached, in all no more than the daily maximum of the block.",
        table=FallbackRunKeys,
        most=4,
        otherwise="nothing runs",
    )


class ControllerKeys(Table):
    """What opens the valves, for farms whose controller polls its program."""

    id = IdKey(about=f"Id of the controller, {_ID}", is_needed=True, example="shed")
    channels = TablesKey(
        about="Its outputs and the blocks that they open.",
        table=ChannelKeys,
        fewest=1,
        most=64,
        is_needed=True,
    )
    name = TextKey(
        about="Name for people.", otherwise="the id", example="Controller in the pump shed"
    )
    policy = ChoiceKey(
        about="What it does without a program: the fallback of each channel, or nothing.",
        choices=("fallback", "stop"),
        default="fallback",
    )


class PersonKeys(Table):
    """Somebody who gets the plans by mail."""

    mail = MailKey(about="Mail address.", is_needed=True)
    name = TextKey(about="Name as the mails greet it.", is_needed=True, example="Ana Ejemplo")
    language = ChoiceKey(about="Language of the mails.", choices=LANGUAGES, default="en")
    unit_system = ChoiceKey(
        about="Units of the mails: US customary units or SI.",
        choices=UNIT_SYSTEMS,
        otherwise="the farm's",
    )
    receives = ChoicesKey(
        about="Mails wanted: tomorrow's plan, a look back at the week.",
        choices=MAIL_LISTS,
        otherwise="both",
    )


class FarmFileKeys(Table):
    """A farm with its sites, supplies, blocks, controllers and people.

    Numbers that have a unit are written with it, in quotes: "10 ft", "2 L/h", "85 %".
    """

    farm = TableKey(about="The farm.", tables=(FarmKeys,), otherwise="sites and counties only")
    site = TablesKey(about="Places that weather is known for.", table=SiteKeys)
    county = TablesKey(about="Counties that an adviser compares.", table=CountyKeys)
    supply = TablesKey(about="Pumps, wells and hydrants that blocks share.", table=SupplyKeys)
    block = TablesKey(about="Blocks: what one valve waters.", table=BlockKeys)
    controller = TablesKey(about="What opens the valves.", table=ControllerKeys)
    person = TablesKey(about="Who gets the plans by mail.", table=PersonKeys)
