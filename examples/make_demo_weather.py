"""Writes the invented weather of the demonstration farm, the same bytes each time.

    python examples/make_demo_weather.py            rewrite service/demo_farm/weather/*.csv
    python examples/make_demo_weather.py FOLDER     write them into another folder

EVERY VALUE IS INVENTED. A simple weather maker with fixed seeds draws warm, humid days with
afternoon showers, one seed and one climate for each invented county; the site of the farm has the
year and a half before, too. The shape of the numbers is
meant to be believable: radiation under a clear sky as FAO-56 Eq. 21 and 37 give it, less of it and
a smaller day-night span on wet days, humid nights. No measured weather went into it.
"""

from __future__ import annotations

import math
import random
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

FIRST_DAY = date(2026, 5, 20)
FIRST_DAY_OF_HISTORY = date(2025, 1, 1)
"""Of the site of the farm: for seasons that are looked back on."""
LAST_DAY = date(2026, 7, 21)
FIRST_FORECAST_DAY = date(2026, 7, 14)
HEADER = "date,tmax_c,tmin_c,rhmax_pct,rhmin_pct,wind_m_s,rs_mj_m2,rain_mm,rain_probability_pct"


@dataclass(frozen=True)
class Climate:
    """One invented county's summer."""

    seed: int
    latitude_deg: float
    elevation_m: float
    tmax_c: float
    span_c: float
    rhmin_pct: float
    wind_m_s: float
    wet_share: float
    """Chance that a day is wet, after a dry day."""
    shower_mm: float
    has_history: bool = False


CLIMATES = {
    "demo-alderway": Climate(233, 34.90, 250.0, 31.5, 11.0, 50.0, 1.5, 0.26, 11.0, True),
    "demo-brackmoor": Climate(72, 34.55, 158.0, 33.0, 11.5, 47.0, 1.8, 0.20, 9.0),
    "demo-cresthollow": Climate(51, 35.15, 655.0, 27.5, 10.0, 59.0, 1.1, 0.38, 13.0),
    "demo-dunmere": Climate(19, 34.20, 100.0, 34.0, 11.5, 45.0, 2.0, 0.16, 12.0),
}


def clear_sky_mj_m2(day: date, climate: Climate) -> float:
    """Radiation of a clear day, FAO-56 Eq. 21 to 25 and 37."""
    number = day.timetuple().tm_yday
    latitude = math.radians(climate.latitude_deg)
    distance = 1.0 + 0.033 * math.cos(2.0 * math.pi * number / 365.0)
    declination = 0.409 * math.sin(2.0 * math.pi * number / 365.0 - 1.39)
    sunset = math.acos(-math.tan(latitude) * math.tan(declination))
    above_air = (
        (24.0 * 60.0 / math.pi)
        * 0.0820
        * distance
        * (
            sunset * math.sin(latitude) * math.sin(declination)
            + math.cos(latitude) * math.cos(declination) * math.sin(sunset)
        )
    )
    return (0.75 + 2e-5 * climate.elevation_m) * above_air


def summer_c(day: date) -> float:
    """How much warmer than its beginning a day of the summer is."""
    return 3.0 * math.sin(math.pi * ((day - FIRST_DAY).days - 20) / 110.0)


def year_c(day: date) -> float:
    """How much warmer than the beginning of summer a day of any season is."""
    number = day.timetuple().tm_yday
    return 11.5 * (math.cos(2.0 * math.pi * (number - 202) / 365.0) - 1.0) + 3.0


def lines(
    climate: Climate, first: date, last: date, season: Callable[[date], float], seed: int
) -> list[str]:
    """The days of one site, line by line."""
    draw = random.Random(seed)
    rows: list[str] = []
    warmth_c = 0.0
    was_wet = False
    day = first
    while day <= last:
        # The same number of draws every day, so that one day's weather does not shift the next's.
        wet, amount, cloud, warmth, wind, humid, chance = (draw.random() for _ in range(7))
        is_forecast = day >= FIRST_FORECAST_DAY
        is_wet = wet < climate.wet_share + (0.15 if was_wet else 0.0)
        rain_mm = -climate.shower_mm * math.log(1.0 - 0.95 * amount) if is_wet else 0.0
        season_c = season(day)
        warmth_c = 0.7 * warmth_c + 2.4 * (warmth - 0.5)
        tmax_c = climate.tmax_c - 1.5 + season_c + warmth_c - (2.5 if is_wet else 0.0)
        span_c = climate.span_c * (0.72 if is_wet else 1.0) + 1.5 * (warmth - 0.5)
        clearness = 0.45 + 0.25 * cloud if is_wet else 0.72 + 0.24 * cloud
        rhmin_pct = climate.rhmin_pct + (14.0 if is_wet else 0.0) + 12.0 * (humid - 0.5)
        probability = (50 + 10 * int(4 * chance)) if is_wet else 10 * int(3 * chance)
        rows.append(
            ",".join(
                [
                    day.isoformat(),
                    f"{tmax_c:.1f}",
                    f"{tmax_c - span_c:.1f}",
                    f"{min(98.0, 88.0 + 9.0 * humid + (3.0 if is_wet else 0.0)):.0f}",
                    f"{rhmin_pct:.0f}",
                    f"{climate.wind_m_s * (0.6 + 0.8 * wind):.1f}",
                    f"{clearness * clear_sky_mj_m2(day, climate):.1f}",
                    f"{rain_mm:.1f}",
                    f"{probability}" if is_forecast else "",
                ]
            )
        )
        was_wet = is_wet
        day += timedelta(days=1)
    return rows


def content(site_id: str) -> str:
    """The whole file of one site."""
    comment = (
        "# INVENTED weather of an invented place, made by examples/make_demo_weather.py; days from"
        f" {FIRST_FORECAST_DAY} on stand for a forecast."
    )
    climate = CLIMATES[site_id]
    rows = lines(climate, FIRST_DAY, LAST_DAY, summer_c, climate.seed)
    if climate.has_history:
        before = FIRST_DAY - timedelta(days=1)
        rows = [*lines(climate, FIRST_DAY_OF_HISTORY, before, year_c, climate.seed + 1), *rows]
    return "\n".join([comment, HEADER, *rows]) + "\n"


def main(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for site_id in CLIMATES:
        (folder / f"{site_id}.csv").write_text(content(site_id), encoding="utf-8")


if __name__ == "__main__":
    packaged = Path(__file__).resolve().parent.parent / "service" / "demo_farm" / "weather"
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else packaged)
