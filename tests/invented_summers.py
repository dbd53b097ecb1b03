"""Summers of invented weather, and a farm whose pump keeps up in some of them."""

from __future__ import annotations

from datetime import date

import numpy as np

from service.agronomy.records import Days, Floats
from service.bootstrap import Service
from service.farm_files.farm_file import parse_farm
from service.operations.weather.import_weather import import_weather
from service.records.farms import FarmBundle
from tests.api.invented_farm import PLAN_DAY

FIRST_YEAR, LAST_YEAR = 2014, 2021
OPEN_MIN = 510  # 08:00 to 16:30, after sunrise all summer: no pulse is an early one
FARM = """
[farm]
id = "invented"
zone = "America/New_York"

[[site]]
id = "home"
latitude = 35.91
longitude = -79.22
elevation = "150 m"

[[supply]]
id = "well"
flow = "1.25 m3/h"
windows = ["08:00-16:30"]
"""
BLOCK = """
[[block]]
id = "{name}"
crop = "grape-wine"
area = "0.1 ha"
row_spacing = "2.5 m"
emitter_spacing = "0.5 m"
emitter_flow = "1.5 L/h"
soil = {{ texture = "loam" }}
root_depth = "1 m"
off_ratio = 0
trigger = 0.7
rain_room = 0.3
season = {{ start = "03-01", lengths = [20, 30, 150, 30] }}
kc = {{ mid = {kc} }}
canopy_cover = 0.8
canopy_height = "2 m"
initial_depletion = "0 mm"
"""


def invented_farm(kc: float = 0.95) -> FarmBundle:
    """Two blocks that are alike; each takes all the pump gives."""
    text = FARM + BLOCK.format(name="one", kc=kc) + BLOCK.format(name="two", kc=kc)
    return parse_farm(text, name="invented.toml")


def invented_weather() -> tuple[Days, dict[str, Floats]]:
    """Eight years, some dry, some wet; made up, the same each time."""
    random = np.random.default_rng(20_260_701)
    days = np.arange(
        np.datetime64(date(FIRST_YEAR, 1, 1)), np.datetime64(date(LAST_YEAR, 12, 31)) + 1
    )
    doy = (days - days.astype("datetime64[Y]")).astype(np.int64)
    year = days.astype("datetime64[Y]").astype(np.int64) + 1970
    wetness = random.uniform(0.05, 0.35, size=LAST_YEAR - FIRST_YEAR + 1)[year - FIRST_YEAR]
    warmth = random.uniform(-1.5, 2.5, size=LAST_YEAR - FIRST_YEAR + 1)[year - FIRST_YEAR]
    mean_c = 15.0 + warmth + 11.0 * np.sin(2.0 * np.pi * (doy - 105) / 365.0)
    half_c = random.uniform(4.0, 8.0, size=days.size)
    rain_mm = np.where(
        random.random(days.size) < wetness, random.exponential(12.0, size=days.size), 0.0
    )
    fields = {
        "tmax_c": mean_c + half_c,
        "tmin_c": mean_c - half_c,
        "wind_m_s": np.full(days.size, 2.0),
        "rain_mm": rain_mm,
    }
    return days, fields


def import_last_summer(service: Service) -> None:
    """Invented measured weather of the summer before, and of the months that lead to it."""
    days = np.arange(np.datetime64("2025-01-01"), np.datetime64("2025-11-05"))
    warmth = np.sin(2.0 * np.pi * (np.arange(days.size) - 105) / 365.0)
    import_weather(
        "home",
        days,
        {
            "tmax_c": 21.0 + 11.0 * warmth,
            "tmin_c": 9.0 + 11.0 * warmth,
            "rhmax_pct": np.full(days.size, 90.0),
            "rhmin_pct": np.full(days.size, 50.0),
            "wind_m_s": np.full(days.size, 2.0),
            "rs_mj_m2": 14.0 + 8.0 * warmth,
            "rain_mm": np.where(np.arange(days.size) % 5 == 0, 12.0, 0.0),
        },
        source="import",
        forecast_from=PLAN_DAY,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
