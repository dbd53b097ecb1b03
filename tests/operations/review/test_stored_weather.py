"""All measured weather of a stored farm's site, up to yesterday."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from service.bootstrap import Service
from service.errors import NotFound, WeatherInvalid
from service.operations.review.stored_weather import StoredWeather, read_stored_weather
from tests.api.invented_farm import FARM_ID, FIRST_DAY, TODAY
from tests.invented_summers import import_last_summer


def stored(service: Service, site_id: str = "home", farm_id: str = FARM_ID) -> StoredWeather:
    return read_stored_weather(
        farm_id,
        site_id,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )


def test_it_goes_from_the_first_measured_day_to_yesterday(own_service: Service) -> None:
    found = stored(own_service)
    assert found.days[0].item() == FIRST_DAY
    assert found.days[-1].item() == TODAY - timedelta(days=1)
    assert found.years == (2026,)
    assert np.isfinite(found.fields["tmax_c"]).all()


def test_years_are_those_with_measured_days(own_service: Service) -> None:
    import_last_summer(own_service)
    found = stored(own_service)
    assert found.years == (2025, 2026)
    # Days that nothing is known of are there, and say so.
    assert np.isnan(found.fields["tmax_c"]).any()
    assert np.diff(found.days).astype(int).tolist() == [1] * (found.days.size - 1)


def test_a_site_without_measured_days_says_what_to_do(own_service: Service) -> None:
    with pytest.raises(WeatherInvalid) as refused:
        stored(own_service, "hill", "later-farm")
    (fault,) = refused.value.faults
    assert "rillwright weather-import hill FILE.csv" in fault.allowed


def test_an_unknown_site_is_not_found(own_service: Service) -> None:
    with pytest.raises(NotFound):
        stored(own_service, "nowhere")
