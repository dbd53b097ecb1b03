"""Invented vines that grow by degree days, with the same dry weather on every day.

Nothing of it belongs to a real place.
"""

from __future__ import annotations

from datetime import date

import numpy as np

from service.agronomy.civil_day import ONE_DAY
from service.bootstrap import Service
from service.operations.evening.run_day import run_day
from service.operations.weather.import_weather import import_weather
from service.records.ledger import LedgerRows
from service.records.plans import PublishedPlan
from tests.api.invented_farm import TODAY, load

FIRST_WEATHER = date(2026, 1, 6)
"""Also the start of the season, unless a test differs."""
BLOCK_ID = "vines-farm.slope"
TMAX_C, TMIN_C, FLOOR_C = 30.0, 16.0, 10.0
_VINES = """
[farm]
id = "vines-farm"
name = "Vines Farm (invented)"
zone = "America/New_York"

[[site]]
id = "slope"
latitude = 35.95
longitude = -79.30
elevation = "640 ft"

[[supply]]
id = "spring"
flow = "40 gpm"

[[block]]
id = "slope"
crop = "grape-wine"
area = "1 ac"
row_spacing = "2.5 m"
emitter_spacing = "0.6 m"
emitter_flow = "2 L/h"
soil = { texture = "loam" }
season = { start = "01-06", floor = "10 degC", degree_days = [DEGREE_DAYS] }
"""
_STAGES = '"200 degC day", "800 degC day", "2000 degC day", "3500 degC day"'


def load_vines(service: Service, *keys: str, season_start: str = "01-06") -> None:
    """Vines that grow by degree days, with more keys of their block if a test wants them."""
    text = _VINES.replace("DEGREE_DAYS", _STAGES).replace("01-06", season_start)
    load(service, "\n".join([text, *keys, ""]))


def bring_evening(
    service: Service,
    on: date,
    *,
    weather_from: date = FIRST_WEATHER,
    without: tuple[date, date] | None = None,
) -> None:
    """Weather observed up to a day and forecast for the week after it, then its evening.

    The station is silent from the first day of ``without`` to its last.
    """
    days = np.arange(np.datetime64(weather_from), np.datetime64(on) + 8)
    if without is not None:
        first, last = map(np.datetime64, without)
        days = days[(days < first) | (days > last)]
    values = {
        "tmax_c": TMAX_C, "tmin_c": TMIN_C, "rhmax_pct": 90.0, "rhmin_pct": 45.0,
        "wind_m_s": 1.5, "rs_mj_m2": 20.0, "rain_mm": 0.0,
    }  # fmt: skip
    import_weather(
        "slope",
        days,
        {name: np.full(days.size, value) for name, value in values.items()},
        source="import",
        forecast_from=on + ONE_DAY,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    run = run_day(
        on,
        farm_ids=["vines-farm"],
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )
    assert run.failures == []


def ledger(service: Service) -> LedgerRows:
    """The books of the vines."""
    with service.unit_of_work(write=False) as unit:
        key = unit.blocks.get_block_key(BLOCK_ID)
        return unit.ledger.read_rows(key, first_day=date(2026, 1, 1), last_day=date(2026, 12, 31))


def plan_of(service: Service, day: date = TODAY + ONE_DAY) -> PublishedPlan:
    """The plan of the vines in force for a day."""
    with service.unit_of_work(write=False) as unit:
        found = unit.plans.find_plan(BLOCK_ID, day=day)
    assert found is not None
    return found
