"""Formats numbers in US or SI units, and days and times on the farm's clock."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from service.agronomy.depth_rounding import bare_depth_text
from service.cli.terminal import UnitSystem
from service.unit_sizes import (
    FAHRENHEIT_PER_CELSIUS,
    FL_OZ_PER_GALLON,
    FREEZING_POINT_F,
    KPA_PER_M_OF_HEAD,
    KPA_PER_PSI,
    L_PER_GALLON,
    L_PER_H_PER_GPH,
    L_PER_H_PER_GPM,
    L_PER_M3,
    M_PER_FOOT,
    M_PER_KM,
    M_PER_MILE,
    M_S_PER_MPH,
)


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


def flow(flow_l_per_h: float, units: UnitSystem) -> str:
    """The flow of a block or pump: ``28.8 gal/min`` or ``6,541 L/h``."""
    if units is UnitSystem.US:
        return f"{flow_l_per_h / L_PER_H_PER_GPM:,.1f} gal/min"
    return f"{flow_l_per_h:,.0f} L/h"


def small_flow(flow_l_per_h: float, units: UnitSystem) -> str:
    """The flow of an emitter or an injector: ``0.500 gal/h`` or ``1.89 L/h``."""
    if units is UnitSystem.US:
        return f"{flow_l_per_h / L_PER_H_PER_GPH:.3f} gal/h"
    return f"{flow_l_per_h:.2f} L/h"


def share_of_water(product_ml_per_m3: float, units: UnitSystem) -> str:
    """What goes into water: ``2.1 fl oz per 1,000 gal`` or ``16.0 mL per m3 of water``."""
    if units is UnitSystem.US:
        of_thousand = product_ml_per_m3 / 1000.0 * FL_OZ_PER_GALLON  # a millionth of a thousand
        return f"{of_thousand:.1f} fl oz per 1,000 gal of water"
    return f"{product_ml_per_m3:.1f} mL per m3 of water"


def pressure(head_m: float, units: UnitSystem) -> str:
    """A pressure, as a height of water: ``14.8 psi`` or ``10.41 m``."""
    return f"{bare_pressure(head_m, units)} {'psi' if units is UnitSystem.US else 'm'}"


def bare_pressure(head_m: float, units: UnitSystem) -> str:
    """A pressure without its unit."""
    if units is UnitSystem.US:
        return f"{head_m * KPA_PER_M_OF_HEAD / KPA_PER_PSI:.1f}"
    return f"{head_m:.2f}"


def length(length_m: float, units: UnitSystem) -> str:
    """The length of a row: ``452 ft`` or ``137.8 m``."""
    if units is UnitSystem.US:
        return f"{length_m / M_PER_FOOT:.0f} ft"
    return f"{length_m:.1f} m"


def distance(distance_km: float, units: UnitSystem) -> str:
    """A distance over land: ``12 km`` or ``7 mi``."""
    if units is UnitSystem.US:
        return f"{distance_km * M_PER_KM / M_PER_MILE:.0f} mi"
    return f"{distance_km:.0f} km"


def weather_value(name: str, value: float, units: UnitSystem) -> str:
    """A value of weather by its name, with its unit: ``31.2 °C`` or ``88.2 °F``."""
    is_us = units is UnitSystem.US
    match name:
        case "rain_mm":
            return depth(value, units)
        case "u2_m_s":
            return f"{value / M_S_PER_MPH:.1f} mph" if is_us else f"{value:.1f} m/s"
        case "rs_mj_m2":
            return f"{value:.1f} MJ/m²"
    if is_us:
        return f"{value * FAHRENHEIT_PER_CELSIUS + FREEZING_POINT_F:.1f} °F"
    return f"{value:.1f} °C"


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
