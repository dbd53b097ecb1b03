"""The invented region of the trial: farms whose evening is due, with weather and readers.

Nothing of it belongs to a real place.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from math import cos

EVENING_HOUR = 19
"""Hour of the farms' clocks while they are tried; their plans are asked for two hours later."""
OBSERVED_DAYS, FORECAST_DAYS = 30, 7


@dataclass(frozen=True, slots=True)
class Place:
    """Where on earth it is evening now."""

    zone: str
    longitude_deg: float
    latitude_deg: float
    today: date


def evening_place(now: datetime) -> Place:
    """A zone in which the clock shows some time past seven in the evening, in its summer half.

    >>> evening_place(datetime(2026, 7, 1, 8, 30, tzinfo=UTC)).zone
    'Etc/GMT-11'
    """
    hours = (EVENING_HOUR - now.hour + 11) % 24 - 11  # -11 to 12, as the zones are
    # The sign of these names is the other way round: Etc/GMT-11 is eleven hours ahead.
    zone = "Etc/UTC" if hours == 0 else f"Etc/GMT{-hours:+d}"
    is_northern = 4 <= now.month <= 9
    return Place(
        zone=zone,
        longitude_deg=max(-179.0, min(179.0, 15.0 * hours)),
        latitude_deg=34.0 if is_northern else -34.0,
        today=(now.astimezone(UTC) + timedelta(hours=hours)).date(),
    )


def weather_text(place: Place) -> str:
    """Warm days without rain, up to a week ahead, as a weather file."""
    lines = ["date,tmax_c,tmin_c,tdew_c,wind_m_s,rs_mj_m2,rain_mm"]
    for number in range(-OBSERVED_DAYS, FORECAST_DAYS + 1):
        day, wave = place.today + timedelta(days=number), cos(number / 2.0)
        lines.append(
            f"{day},{31 + 2 * wave:.1f},{18 + wave:.1f},{14 + wave:.1f},{2 + 0.5 * wave:.1f},"
            f"{24 + 2 * wave:.1f},0.0"
        )
    return "\n".join(lines) + "\n"


def site_text(place: Place, site_id: str) -> str:
    """The site that all farms of the region share."""
    return f"""
[[site]]
id = "{site_id}"
name = "Invented station"
latitude = {place.latitude_deg}
longitude = {place.longitude_deg}
elevation = "100 m"
zone = "{place.zone}"
"""


def farm_text(place: Place, farm_id: str, *, block_count: int, is_mailed: bool) -> str:
    """A farm with blocks of evergreen fruit, a controller for the first, and a grower."""
    blocks = "".join(
        f"""
[[block]]
id = "b{number}"
name = "Invented block {number}"
crop = "citrus-50-bare"
area = "0.4 ha"
row_spacing = "5 m"
emitter_spacing = "0.5 m"
emitter_flow = "2 L/h"
soil = {{ texture = "sandy loam" }}
balance_start = {place.today - timedelta(days=20)}
initial_depletion = "{4 + number % 5} mm"
"""
        for number in range(block_count)
    )
    person = f"""
[[person]]
mail = "{farm_id}@growers.example.org"
name = "Invented Grower"
receives = ["evening"]
"""
    return f"""
[farm]
id = "{farm_id}"
name = "Farm {farm_id} (invented)"
zone = "{place.zone}"
issue_time = "{EVENING_HOUR + 2}:00"
{site_text(place, "station")}
[[supply]]
id = "well"
flow = "{20 * block_count} m3/h"
{blocks}
[[controller]]
id = "shed"
channels = [
    {{ channel = 1, block = "b0", fallback = [{{ start = "05:30", duration = "40 min" }}] }},
]
{person if is_mailed else ""}"""
