"""What is known about one daily weather value besides the value: flags, and their sentences.

In: the flags of a value, as one number. Out: the sentences that explain them.
The numbers of the flags are stored: new ones are added at the end.
"""

import enum
from collections.abc import Mapping


class FieldFlag(enum.IntFlag):
    """What is known about one value besides the value itself; several flags may be set at once."""

    MISSING = enum.auto()
    OUT_OF_RANGE = enum.auto()
    INCONSISTENT = enum.auto()
    CLIPPED = enum.auto()
    ESTIMATED_FROM_RHMAX = enum.auto()
    ESTIMATED_FROM_RHMEAN = enum.auto()
    ESTIMATED_FROM_TMIN = enum.auto()
    ESTIMATED_FROM_VAPOUR_PRESSURE = enum.auto()
    ESTIMATED_FROM_SUNSHINE = enum.auto()
    ESTIMATED_FROM_TEMPERATURE_RANGE = enum.auto()
    DEFAULT_WIND = enum.auto()
    LIMITED_TO_SATURATION = enum.auto()
    SUSPECT_JUMP = enum.auto()
    SUSPECT_STUCK = enum.auto()
    ASSUMED_ZERO = enum.auto()
    ASSUMED_CERTAIN = enum.auto()
    FILLED_FROM_RECENT_DAYS = enum.auto()
    FORECAST = enum.auto()
    NORMAL_OF_SEASON = enum.auto()
    ESTIMATED_FROM_NEAR_DAYS = enum.auto()
    SUSPECT_PART_DAY = enum.auto()
    FILLED_FROM_DAYS_AROUND = enum.auto()
    FILLED_FROM_NEIGHBOUR = enum.auto()
    SOURCE_SET_ASIDE = enum.auto()
    SOURCES_DISAGREE = enum.auto()
    NORMAL_OF_EARLIER_YEARS = enum.auto()
    SCALED_BY_SUN = enum.auto()


OF_LONG_OUTAGE = FieldFlag.NORMAL_OF_EARLIER_YEARS | FieldFlag.SCALED_BY_SUN
"""Flags of reference ET that a block is planned by when nothing else is left."""

FLAG_TEXT: Mapping[FieldFlag, str] = {
    FieldFlag.MISSING: "No value was given and there is nothing to replace it with.",
    FieldFlag.OUT_OF_RANGE: "A value was given but is not plausible, so it was not used.",
    FieldFlag.INCONSISTENT: "Values that contradict each other were given; none of them was used.",
    FieldFlag.CLIPPED: "The value was slightly outside its limits and was set to the limit.",
    FieldFlag.ESTIMATED_FROM_RHMAX: "Estimated from the highest humidity of the day alone.",
    FieldFlag.ESTIMATED_FROM_RHMEAN: "Estimated from the mean humidity of the day.",
    FieldFlag.ESTIMATED_FROM_TMIN: "Estimated by taking the night minimum as the dewpoint.",
    FieldFlag.ESTIMATED_FROM_VAPOUR_PRESSURE: (
        "Estimated from the day's vapor pressure and its highest temperature."
    ),
    FieldFlag.ESTIMATED_FROM_SUNSHINE: "Estimated from the hours of sunshine.",
    FieldFlag.ESTIMATED_FROM_TEMPERATURE_RANGE: (
        "Estimated from how far the day warmed; trust it over a week, not on a single day."
    ),
    FieldFlag.DEFAULT_WIND: "No wind was given; 2 m/s is assumed.",
    FieldFlag.LIMITED_TO_SATURATION: (
        "More moisture was given than the air can hold; it was set to saturation."
    ),
    FieldFlag.SUSPECT_JUMP: "The value jumped by more than 15 °C from the day before.",
    FieldFlag.SUSPECT_STUCK: (
        "The same value came on so many days running that the sensor may be stuck."
    ),
    FieldFlag.ASSUMED_ZERO: "No rain was given; none is assumed.",
    FieldFlag.ASSUMED_CERTAIN: "No chance of rain was given; the amount is taken as certain.",
    FieldFlag.FILLED_FROM_RECENT_DAYS: (
        "Not computed because weather is missing; the mean of the days before is used."
    ),
    FieldFlag.FORECAST: "The value is a forecast.",
    FieldFlag.NORMAL_OF_SEASON: (
        "No weather is available; the normal for the time of year is used."
    ),
    FieldFlag.ESTIMATED_FROM_NEAR_DAYS: (
        "Estimated from how clear the sky was on the days around it."
    ),
    FieldFlag.SUSPECT_PART_DAY: (
        "More sun than a clear sky gives and a sudden change of the night minimum: the station "
        "may have recorded only part of the day."
    ),
    FieldFlag.FILLED_FROM_DAYS_AROUND: (
        "Not computed because weather is missing; the mean of the days around the gap is used."
    ),
    FieldFlag.FILLED_FROM_NEIGHBOUR: (
        "Not computed because weather is missing; that of a place nearby is used, times the ratio "
        "of the two on the days around the gap."
    ),
    FieldFlag.SOURCE_SET_ASIDE: (
        "The most trusted source's value was set aside because other evidence contradicts it."
    ),
    FieldFlag.SOURCES_DISAGREE: (
        "Sources disagree and no third settles it, or the value is strange for the place and "
        "nothing confirms it."
    ),
    FieldFlag.NORMAL_OF_EARLIER_YEARS: (
        "No weather is available; the mean of these days of the year in the earlier years of this "
        "place is used."
    ),
    FieldFlag.SCALED_BY_SUN: (
        "No weather is available; the mean of the last known days is used, raised or lowered as "
        "the sun's height at this time of year is."
    ),
}


def describe_flags(flags: int) -> tuple[str, ...]:
    """Sentences that explain a flag value to people, in the order of the flags.

    Shapes: one number.
    Returns: sentences; empty where no flag is set.
    >>> describe_flags(int(FieldFlag.DEFAULT_WIND | FieldFlag.FORECAST))
    ('No wind was given; 2 m/s is assumed.', 'The value is a forecast.')
    """
    return tuple(text for flag, text in FLAG_TEXT.items() if flags & flag)
