"""The best value of each past day at some sites, with or without what was only forecast."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from service.bootstrap import Service
from service.operations.evening.past_weather import past_weather
from service.operations.weather.import_weather import import_weather
from tests.api.invented_farm import RUN_AT, TODAY, FixedClock

YESTERDAY = TODAY - timedelta(days=1)


def bring(service: Service, tmax_c: float, *, source: str, is_forecast: bool) -> None:
    """One value of yesterday at the site that has no weather otherwise."""
    import_weather(
        "hill",
        np.array([YESTERDAY], dtype="datetime64[D]"),
        {"tmax_c": np.array([tmax_c]), "tmin_c": np.array([19.0])},
        source=source,
        forecast_from=YESTERDAY if is_forecast else None,
        unit_of_work=service.unit_of_work,
        clock=FixedClock(RUN_AT),
    )


def tmax_c(service: Service, *, is_measured_only: bool = False) -> float:
    with service.unit_of_work(write=False) as unit:
        found = past_weather(
            unit.weather,
            np.array([unit.blocks.get_site_key("hill")]),
            np.array([YESTERDAY], dtype="datetime64[D]"),
            {"station": 2, "import": 1},
            is_measured_only=is_measured_only,
        )
    return found.raw.tmax_c.item()


def test_what_was_measured_goes_before_a_forecast_of_a_better_source(own_service: Service) -> None:
    bring(own_service, 30.0, source="station", is_forecast=True)
    bring(own_service, 33.0, source="import", is_forecast=False)
    assert tmax_c(own_service) == 33.0


@pytest.mark.parametrize(("is_measured_only", "expected"), [(False, 30.0), (True, np.nan)])
def test_a_forecast_that_nobody_has_confirmed_may_be_left_out(
    own_service: Service, is_measured_only: bool, expected: float
) -> None:
    bring(own_service, 30.0, source="station", is_forecast=True)
    np.testing.assert_equal(tmax_c(own_service, is_measured_only=is_measured_only), expected)
