"""An invented farm with four past days missing from its weather, next to one that has them.

Its site is 8.5 km from that of the test farm. What it measures is invented: the test farm's
weather, 2 degrees warmer.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from service.bootstrap import Service
from service.operations.weather.import_weather import import_weather
from tests.api.invented_farm import FIRST_DAY, TODAY

SITE_ID = "dell"
FARM_ID = "gap-farm"
BLOCK_ID = "gap-farm.only"
GAP = (TODAY - timedelta(days=8), TODAY - timedelta(days=5))
"""First and last day without weather."""


_FARM = """
[farm]
id = "{farm_id}"
name = "Gap Farm (invented)"
zone = "America/New_York"

[[site]]
id = "{site_id}"
latitude = {latitude}
longitude = -79.30
elevation = "640 ft"

[[supply]]
id = "river"
flow = "20 gpm"

[[block]]
id = "only"
crop = "apple-cover-no-frost"
area = "1 ac"
row_spacing = "4 m"
emitter_spacing = "0.6 m"
emitter_flow = "2 L/h"
soil = {{ texture = "loam" }}
balance_start = 2026-06-20
"""


def gap_farm(site_id: str = SITE_ID, *, latitude: float = 35.95, farm_id: str = "gap-farm") -> str:
    """The farm file."""
    return _FARM.format(site_id=site_id, latitude=latitude, farm_id=farm_id)


def bring_gappy_weather(
    service: Service,
    *,
    site_id: str = SITE_ID,
    is_whole: bool = False,
    all_forecast: bool = False,
) -> None:
    """Store a site's observations up to today but for the gap, and a forecast of a week."""
    days = np.arange(np.datetime64(FIRST_DAY), np.datetime64(TODAY) + 8, dtype="datetime64[D]")
    wave = np.sin(np.arange(days.size) * 0.7)
    is_kept = (days < np.datetime64(GAP[0])) | (days > np.datetime64(GAP[1])) | is_whole
    fields = {
        "tmax_c": 33.0 + 2.0 * wave,
        "tmin_c": 21.0 + wave,
        "rhmax_pct": 92.0 + 3.0 * wave,
        "rhmin_pct": 48.0 + 5.0 * wave,
        "wind_m_s": 1.6 + 0.4 * wave,
        "rs_mj_m2": 22.0 + 3.0 * wave,
        "rain_mm": np.zeros(days.size),
    }
    import_weather(
        site_id,
        days[is_kept],
        {name: values[is_kept] for name, values in fields.items()},
        source="import",
        forecast_from=FIRST_DAY if all_forecast else TODAY + timedelta(days=1),
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )


def row_of(days: np.ndarray, day: date) -> int:
    return int((np.datetime64(day) - days[0]).astype(int))
