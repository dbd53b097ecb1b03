"""A station of the invented farm that forecasts 480 mm for the day of the plan."""

from __future__ import annotations

import numpy as np

from service.bootstrap import Service
from service.operations.weather.import_weather import import_weather
from tests.api.invented_farm import PLAN_DAY, TODAY, plan_evening


def plan_beside_a_storm(service: Service) -> None:
    """Plan the evening with that forecast, which nothing else confirms."""
    days = np.arange(np.datetime64(TODAY), np.datetime64(TODAY) + 8)
    import_weather(
        "home",
        days,
        {"rain_mm": np.where(days == np.datetime64(PLAN_DAY), 480.0, 0.0)},
        source="station",
        forecast_from=TODAY,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    assert plan_evening(service) == []
