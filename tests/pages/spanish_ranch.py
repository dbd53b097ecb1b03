"""An invented ranch on which everything goes wrong that pages can report; none of it is real.

Its names are Spanish, so that whatever is English on a Spanish page is the service's own.
"""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from service.bootstrap import Service
from service.operations.weather.import_weather import import_weather
from tests.api.invented_farm import FIRST_DAY, PLAN_DAY, RUN_AT, TODAY, FixedClock

FARM_ID = "arroyo"
RANCH = f"""
[farm]
id = "{FARM_ID}"
name = "Arroyo Seco"
zone = "America/New_York"

[[site]]
id = "loma"
name = "Loma"
latitude = 35.91
longitude = -79.22
elevation = "510 ft"

[[site]]
id = "vega"
name = "Vega"
latitude = 35.95
longitude = -79.30
elevation = "500 ft"

[[supply]]
id = "pozo"
name = "Pozo"
flow = "10 gpm"
windows = ["04:00-08:00"]

[[block]]
id = "uno"
name = "Lote Uno"
site = "loma"
crop = "blueberry"
area = "0.75 ac"
row_spacing = "10 ft"
emitter_spacing = "18 in"
emitter_flow = "0.25 gph"
laterals_per_row = 1
soil = {{ texture = "sandy loam" }}
root_depth = "18 in"
planting_year = 2024
season = {{ start = "03-20", lengths = [25, 45, 110, 50] }}
initial_depletion = "25 mm"
balance_start = 2026-06-10

[[block]]
id = "dos"
name = "Lote Dos"
site = "loma"
crop = "grape-wine"
area = "0.4 ha"
row_spacing = "2.5 m"
emitter_spacing = "0.6 m"
emitter_flow = "0.7 L/h"
soil = {{ sand = 0.6, clay = 0.1 }}
mulch = {{ kind = "film", cover = 0.3 }}
daily_maximum = "60 min"
balance_start = 2026-06-10
initial_depletion = "30 mm"

[[block]]
id = "tres"
name = "Lote Tres"
site = "loma"
crop = "apple-cover-no-frost"
area = "0.2 ha"
row_spacing = "4 m"
emitter_spacing = "0.6 m"
emitter_flow = "1 L/h"
soil = {{ texture = "clay" }}
balance_start = 2026-06-10
initial_depletion = "60 mm"
no_water = [{{ from = 2026-07-10, to = 2026-07-20, reason = "cosecha" }}]

[[block]]
id = "cuatro"
name = "Lote Cuatro"
site = "vega"
crop = "grape-wine"
area = "0.2 ha"
row_spacing = "2.5 m"
emitter_spacing = "0.6 m"
emitter_flow = "1 L/h"
soil = {{ texture = "loam" }}

[[county]]
code = "X01"
name = "Condado Aliso"
site = "loma"

[[county]]
code = "X02"
name = "Condado Abedul"
site = "vega"
"""


def bring_poor_weather(service: Service) -> None:
    """Weather with gaps, oddities and a forecast that has grown old; one site has hardly any."""
    clock = service.clock
    assert isinstance(clock, FixedClock)
    clock.instant = RUN_AT - timedelta(hours=30)
    days = np.arange(np.datetime64(FIRST_DAY), np.datetime64(TODAY) + 8, dtype="datetime64[D]")
    place = np.arange(days.size)
    wave = np.sin(place * 0.7)
    fields = {
        "tmax_c": np.where(place == 12, 50.0, 31.0 + 2.0 * wave),
        "tmin_c": 19.0 + wave,
        "rhmax_pct": np.where(place % 5 == 1, np.nan, 92.0 + 3.0 * wave),
        "rhmin_pct": np.where(place % 3 == 1, np.nan, 48.0 + 5.0 * wave),
        "wind_m_s": np.where((place > 20) & (place < 27), 1.6, np.where(place % 7 == 2, np.nan, 2)),
        "rs_mj_m2": np.where(place % 4 == 3, np.nan, 22.0 + 3.0 * wave),
        "rain_mm": np.where(place % 11 == 6, np.nan, np.where(place % 9 == 0, 8.0, 0.0)),
    }
    for values in fields.values():
        values[place == 30] = np.nan
    import_weather(
        "loma",
        days,
        fields,
        source="import",
        forecast_from=PLAN_DAY - timedelta(days=1),
        unit_of_work=service.unit_of_work,
        clock=clock,
    )
    import_weather(
        "vega",
        days[:3],
        {name: values[:3] for name, values in fields.items()},
        source="import",
        forecast_from=PLAN_DAY,
        unit_of_work=service.unit_of_work,
        clock=clock,
    )
    clock.instant = RUN_AT
