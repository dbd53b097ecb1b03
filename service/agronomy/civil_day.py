"""The civil day: when it begins and ends at a place, and which instant a time on the clock means.

In: calendar dates, wall clock times and IANA zone names. Out: UTC instants and minutes elapsed
since local midnight, the clock in which pulses are planned. On the days of a clock change a day has
23 or 25 hours (or other lengths), some wall times do not exist and some come twice; a time that
does not exist means the first instant after the gap, one that comes twice its first occurrence. A
date that a zone skipped altogether has no length. Rules of the IANA time zone database.
"""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta, timezone
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Floats
from service.errors import Fault, InputInvalid
from service.unit_sizes import MINUTES_PER_DAY

ONE_DAY = timedelta(days=1)
ONE_MINUTE = timedelta(minutes=1)
ONE_SECOND = timedelta(seconds=1)


@lru_cache(maxsize=1024)
def zone_rules(zone: str) -> ZoneInfo:
    """The rules of a named time zone.

    Shapes: one name.
    zone: IANA name such as America/Chicago; "localtime" is refused, as it depends on the machine.
    Returns: the rules; raises InputInvalid for a name that is not known.
    >>> zone_rules("America/Chicago").key
    'America/Chicago'
    """
    try:
        if not zone or zone == "localtime":
            raise ZoneInfoNotFoundError(zone)
        return ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise InputInvalid(
            "unknown time zone",
            [Fault("zone", repr(zone), "an IANA name such as America/Chicago")],
        ) from error


@lru_cache(maxsize=65536)
def first_instant(day: date, wall: time, zone: str) -> datetime:
    """First instant at which the clock of a zone shows this date and time, or has passed it.

    Shapes: one date, one time, one name.
    wall: time on the clock, without a zone of its own, whole seconds.
    Returns: aware UTC instant. A time inside a gap gives the first instant after the gap, a time
    that comes twice its first occurrence.
    Source: bisection to the second over the rules of the IANA time zone database.
    >>> first_instant(date(2024, 3, 10), time(2, 30), "America/Chicago").isoformat()
    '2024-03-10T08:00:00+00:00'
    """
    rules = zone_rules(zone)
    shown = datetime.combine(day, wall.replace(tzinfo=None, fold=0, microsecond=0))
    candidate = shown.replace(tzinfo=rules).astimezone(UTC)
    if _clock(candidate, rules) == shown:
        return candidate
    # In a gap the offset before it leads past the gap, the offset after it leads before the gap.
    before = shown.replace(tzinfo=rules, fold=1).astimezone(UTC)
    after = candidate
    while after - before > ONE_SECOND:
        middle = before + (after - before) // ONE_SECOND // 2 * ONE_SECOND
        if _clock(middle, rules) >= shown:
            after = middle
        else:
            before = middle
    return after


def _clock(instant: datetime, rules: ZoneInfo) -> datetime:
    return instant.astimezone(rules).replace(tzinfo=None, fold=0)


def midnight_utc(day: date, zone: str) -> datetime:
    """The instant at which a civil day begins.

    Shapes: one date, one name.
    Returns: aware UTC instant; where midnight does not exist, the first instant after the gap;
    where it comes twice, the first.
    >>> midnight_utc(date(2024, 7, 1), "America/Chicago").isoformat()
    '2024-07-01T05:00:00+00:00'
    """
    return first_instant(day, time(0), zone)


def day_length_min(day: date, zone: str) -> int:
    """Length of a civil day in minutes.

    Shapes: one date, one name.
    Returns: duration [min], 1440 on most days, 0 for a date that the zone skipped.
    >>> day_length_min(date(2024, 3, 10), "America/Chicago")
    1380
    """
    return (midnight_utc(day + ONE_DAY, zone) - midnight_utc(day, zone)) // ONE_MINUTE


def elapsed_min(day: date, wall: time, zone: str) -> int:
    """Minutes from local midnight to a time on the clock of that day.

    Shapes: one date, one time, one name.
    Returns: elapsed time [min]; a time inside a gap counts as the first minute after it, a time
    that comes twice as its first coming.
    >>> elapsed_min(date(2024, 3, 10), time(4, 0), "America/Chicago")
    180
    """
    return (first_instant(day, wall, zone) - midnight_utc(day, zone)) // ONE_MINUTE


def elapsed_wall_min(wall_min: int, day: date, zone: str) -> int:
    """Minutes from local midnight to a time that the clock shows, given as minutes.

    Shapes: one number, one date, one name.
    wall_min: minutes since 00:00 on the clock [min], 0 to 1440, the end of the day.
    Returns: elapsed time [min], as :func:`elapsed_min`.
    >>> elapsed_wall_min(240, date(2024, 3, 10), "America/Chicago")
    180
    >>> elapsed_wall_min(1440, date(2024, 3, 10), "America/Chicago")
    1380
    """
    if wall_min >= MINUTES_PER_DAY:
        return day_length_min(day, zone)
    return elapsed_min(day, time(wall_min // 60, wall_min % 60), zone)


def wall_text(wall_min: int) -> str:
    """A clock time as programs, files and people write it.

    Shapes: one number.
    wall_min: minutes since 00:00 on the clock [min], 0 to 1440.
    Returns: ``HH:MM``; the end of a day is 24:00.
    >>> wall_text(245)
    '04:05'
    """
    return f"{wall_min // 60:02d}:{wall_min % 60:02d}"


def wall_time(day: date, elapsed_min: int, zone: str) -> datetime:
    """Local time this many minutes after the civil day began.

    Shapes: one date, one number, one name.
    elapsed_min: minutes since local midnight [min], 0 to the length of the day.
    Returns: aware instant with a numeric offset; the end of a day is midnight of the next.
    Raises InputInvalid for a minute that the day does not have.
    Equation: midnight in UTC + 60 s a minute, shown in the zone.
    >>> wall_time(date(2024, 3, 10), 180, "America/Chicago").isoformat()
    '2024-03-10T04:00:00-05:00'
    """
    length = day_length_min(day, zone)
    if not 0 <= elapsed_min <= length:
        raise InputInvalid(
            "a minute outside its day",
            [Fault(f"{day} {zone}: elapsed_min", str(elapsed_min), f"0 to {length} min")],
        )
    instant = midnight_utc(day, zone) + int(elapsed_min) * ONE_MINUTE
    offset = instant.astimezone(zone_rules(zone)).utcoffset() or timedelta(0)
    return instant.astimezone(timezone(offset))


def midnight_utc_min(days: NDArray[np.datetime64], zones: Sequence[str]) -> Floats:
    """Minutes from 00:00 UTC of each date to the beginning of that civil day at each site.

    Shapes: days (days,); zones (sites,); result (days, sites).
    Returns: minutes [min], +300 for UTC-5, negative east of Greenwich.
    Equation: (local midnight - 00:00 UTC) / 60 s.
    >>> float(midnight_utc_min(np.array(["2024-07-01"], "M8[D]"), ["America/Chicago"])[0, 0])
    300.0
    """
    dates = _dates(days)

    def column(zone: str) -> list[float]:
        return [
            (midnight_utc(day, zone) - datetime.combine(day, time(0), UTC)) / ONE_MINUTE
            for day in dates
        ]

    return _by_zone(len(dates), zones, {zone: column(zone) for zone in set(zones)})


def day_lengths_min(days: NDArray[np.datetime64], zones: Sequence[str]) -> Floats:
    """Length of each civil day at each site.

    Shapes: days (days,); zones (sites,); result (days, sites).
    Returns: duration [min].
    >>> float(day_lengths_min(np.array(["2024-11-03"], "M8[D]"), ["America/Chicago"])[0, 0])
    1500.0
    """
    dates = _dates(days)
    columns = {zone: [float(day_length_min(day, zone)) for day in dates] for zone in set(zones)}
    return _by_zone(len(dates), zones, columns)


def _dates(days: NDArray[np.datetime64]) -> list[date]:
    dates: list[date] = days.astype("datetime64[D]").tolist()
    return dates


def _by_zone(day_count: int, zones: Sequence[str], columns: dict[str, list[float]]) -> Floats:
    names = list(columns)
    if not names:
        return np.zeros((day_count, 0))
    table = np.array([columns[name] for name in names], dtype=np.float64).T
    position = {name: index for index, name in enumerate(names)}
    return table.reshape(day_count, len(names))[:, [position[zone] for zone in zones]]


def decimal_year(day: date) -> float:
    """A day as its year and the part of it that has passed.

    Shapes: one day.
    Returns: years of the calendar; the fraction tells the day.
    Equation: year + days since 1 January / days of the year.
    >>> decimal_year(date(2025, 7, 2))
    2025.4986301369863
    """
    first, following = date(day.year, 1, 1), date(day.year + 1, 1, 1)
    return day.year + (day - first).days / (following - first).days


def day_of_decimal_year(year: float) -> date:
    """The day that :func:`decimal_year` was made of.

    Shapes: one number.
    Returns: a day.
    Equation: that of :func:`decimal_year`, turned round.
    >>> day_of_decimal_year(decimal_year(date(2024, 12, 31)))
    datetime.date(2024, 12, 31)
    """
    first, following = date(int(year), 1, 1), date(int(year) + 1, 1, 1)
    return first + ONE_DAY * round((year - int(year)) * (following - first).days)
