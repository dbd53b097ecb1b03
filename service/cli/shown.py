"""Formats numbers in US or SI units, and days and times on the farm's clock."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from service.agronomy.depth_rounding import bare_depth_text
from service.agronomy.units import L_PER_GALLON, M_PER_MILE
from service.cli.terminal import UnitSystem

L_PER_M3 = 1000.0  # [L]
M_PER_KM = 1000.0  # [m]


def depth(depth_mm: float, units: UnitSystem) -> str:
    """A depth of water: ``4.1 mm`` or ``0.16 in``."""
    return f"{bare_depth(depth_mm, units)} {depth_unit(units)}"


def bare_depth(depth_mm: float, units: UnitSystem) -> str:
    """A depth of water without its unit, which the heading names."""
    return bare_depth_text(depth_mm, in_inches=units is UnitSystem.US)


def depth_unit(units: UnitSystem) -> str:
    """The unit of depths."""
    return "in" if units is UnitSystem.US else "mm"


def volume(volume_l: float, units: UnitSystem) -> str:
    """A volume of water: ``820 gal (3.1 m3)`` or ``3.1 m3``."""
    cubic = f"{volume_l / L_PER_M3:.1f} m3" if volume_l >= 100.0 else f"{volume_l:.0f} L"
    if units is UnitSystem.US:
        return f"{volume_l / L_PER_GALLON:,.0f} gal ({cubic})"
    return cubic


def distance(distance_km: float, units: UnitSystem) -> str:
    """A distance over land: ``12 km`` or ``7 mi``."""
    if units is UnitSystem.US:
        return f"{distance_km * M_PER_KM / M_PER_MILE:.0f} mi"
    return f"{distance_km:.0f} km"


def clock(instant: datetime, zone: str) -> str:
    """Time of day on the zone's clock, ``05:10``."""
    return instant.astimezone(ZoneInfo(zone)).strftime("%H:%M")


def moment(instant: datetime, zone: str) -> str:
    """Day and time on the zone's clock, ``Tue 14 Jul 19:00 EDT``."""
    local = instant.astimezone(ZoneInfo(zone))
    return f"{local:%a} {local.day} {local:%b %H:%M %Z}"


def clock_names(first: date, last: date, zone: str) -> str:
    """What the zone's clock is called on these days: ``EDT``, or ``EST, then EDT``."""
    midnights = (first, last + timedelta(days=1))
    names = [f"{datetime.combine(day, time.min, ZoneInfo(zone)):%Z}" for day in midnights]
    return ", then ".join(dict.fromkeys(names))


def long_day(day: date) -> str:
    """``Wed 15 Jul 2026``."""
    return f"{day:%a} {day.day} {day:%b %Y}"


def short_day(day: date) -> str:
    """``Wed 15 Jul``."""
    return f"{day:%a} {day.day} {day:%b}"


def age(seconds: float) -> str:
    """``3 h`` or ``2 days``; anything under an hour is ``under 1 h``."""
    hours = seconds / 3600.0
    if hours < 1.0:
        return "under 1 h"
    return f"{hours:.0f} h" if hours < 48.0 else f"{hours / 24.0:.0f} days"


def count(number: int, noun: str) -> str:
    """``1 block``, ``2 blocks``."""
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"


def listed(parts: Iterable[str]) -> str:
    """``a, b and c``."""
    *most, last = parts
    return f"{', '.join(most)} and {last}" if most else last
