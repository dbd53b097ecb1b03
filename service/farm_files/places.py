"""Whether a latitude and a longitude can belong to a time zone.

A sign left out, two coordinates swapped or radians instead of degrees all give a place that exists,
with its own sun and plausible water use. The zone, which people get right because they live in it,
gives such mistakes away. The positions of zones are those of ``zone.tab`` in the IANA time zone
database.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime
from functools import cache
from importlib import resources
from zoneinfo import ZoneInfo, available_timezones

# Half the sky between a zone's clock and its sun: China's far west is 3.0 h off, nobody is 3.5 h.
LARGEST_CLOCK_GAP_H = 3.5
# Zones stretch far along a meridian: Chile's reaches 23 degrees from its capital.
LARGEST_LATITUDE_GAP_DEG = 35.0
RADIANS_LIMIT_DEG = 1.6  # just above pi / 2
TROPICAL_LATITUDE_DEG = 15.0
_COORDINATE = re.compile(r"([+-])(\d{2})(\d{2})(\d{2})?([+-])(\d{3})(\d{2})(\d{2})?")


@cache
def known_zones() -> tuple[str, ...]:
    """IANA zone names of places, and UTC; sorted."""
    return tuple(sorted(name for name in available_timezones() if "/" in name or name == "UTC"))


def clock_offsets_h(zone: str) -> tuple[float, float]:
    """Hours ahead of UTC in January and July of an ordinary year."""
    rules = ZoneInfo(zone)
    january, july = (
        datetime(2025, month, 15, 12, tzinfo=UTC).astimezone(rules).utcoffset() for month in (1, 7)
    )
    return (
        january.total_seconds() / 3600.0 if january else 0.0,
        july.total_seconds() / 3600.0 if july else 0.0,
    )


def latitude_fault(latitude_deg: float, zone: str) -> str | None:
    """What is allowed instead of a latitude that the zone does not reach, or None if it does."""
    zone_latitude = _zone_latitudes_deg().get(zone)
    winter, summer = clock_offsets_h(zone)
    if zone_latitude is None:
        is_tropical = winter == summer
    else:
        is_tropical = abs(zone_latitude) <= TROPICAL_LATITUDE_DEG
    if abs(latitude_deg) <= RADIANS_LIMIT_DEG and not is_tropical:
        return f"degrees, not radians, of a place in {zone}, north positive"
    if zone_latitude is None or abs(latitude_deg - zone_latitude) <= LARGEST_LATITUDE_GAP_DEG:
        return None
    return (
        f"degrees within {LARGEST_LATITUDE_GAP_DEG:.0f} of {zone} at {zone_latitude:.1f}, "
        "north positive, south negative; latitude and zone do not agree"
    )


def longitude_fault(longitude_deg: float, zone: str) -> str | None:
    """What is allowed instead of a longitude whose sun does not fit the clock, or None."""
    if zone == "UTC" or zone.startswith("Etc/"):
        return None
    gap_h = min(
        abs((longitude_deg / 15.0 - offset_h + 12.0) % 24.0 - 12.0)
        for offset_h in clock_offsets_h(zone)
    )
    if gap_h <= LARGEST_CLOCK_GAP_H:
        return None
    return (
        f"degrees of a place in {zone}, east positive, west negative; longitude and zone do not "
        f"agree, the sun would be {gap_h:.1f} h off the clock"
    )


@cache
def _zone_latitudes_deg() -> dict[str, float]:
    table = resources.files("tzdata").joinpath("zoneinfo", "zone.tab").read_text("utf-8")
    latitudes: dict[str, float] = {}
    for line in table.splitlines():
        cells = line.split("\t")
        match = None if line.startswith("#") else _COORDINATE.fullmatch(cells[1])
        if match is not None:
            size = int(match[2]) + int(match[3]) / 60.0
            latitudes[cells[2]] = -size if match[1] == "-" else size
    return latitudes
