"""How good the forecasts at a site were, over HTTP."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from service.api.app import create_app
from service.bootstrap import Service
from service.operations.reading.read_farms import local_day
from service.records.forecasts import ForecastPlace
from tests.api.conftest import Client
from tests.operations.weather.forecast_days import lead_rows, truth_rows

PATH = "/v1/sites/home/forecast-quality"


@pytest.fixture
def archive(own_service: Service) -> Client:
    """Forty days that were forecast one to seven days ahead, always 1 mm too wet."""
    service = own_service
    with service.unit_of_work(write=True) as unit:
        key = unit.blocks.get_site_key("home")
        sites = unit.blocks.read_site_table(np.array([key]))
        today = local_day(service.clock.now(), sites.definitions[0].zone)
        days = [today - timedelta(days=back) for back in range(40, 0, -1)]
        fell = np.where(np.arange(40) % 3 == 0, 6.0, 0.0)
        unit.forecasts.save_places(
            [ForecastPlace(key, 36.0, -79.0, 200.0, days[0] - timedelta(days=7), False)]
        )
        unit.forecasts.save_leads(
            lead_rows(
                key, [*days, today], leads=range(1, 8), rain_mm=[*(fell + 1.0), 1.0], et0_mm=5.5,
                tmax_c=31.0, rain_probability_fraction=[*np.where(fell > 0.0, 0.9, 0.1), 0.1],
            )
        )  # fmt: skip
        unit.forecasts.save_truth(truth_rows(key, days, rain_mm=fell))
    return Client(create_app(service))


def test_every_lead_has_its_scores(archive: Client) -> None:
    found = archive.json(PATH)
    (source,) = found["sources"]
    assert (source["rain_truth"], source["flags"], source["is_in_use"]) == ("measured", [], True)
    assert [each["lead_days"] for each in source["leads"]] == [1, 2, 3, 4, 5, 6, 7]
    first = source["leads"][0]
    assert (first["rain"]["bias_mm"], first["et0"]["mae_mm"]) == (1.0, 0.5)
    assert first["chance"]["brier"] == 0.01
    assert [each["class_count"] for each in first["chance"]["classes"]] == [26, 14]


def test_without_an_archive_there_are_no_sources(client: Client) -> None:
    found = client.json("/v1/sites/hill/forecast-quality")
    assert (found["sources"], found["first_day"]) == ([], None)


def test_an_unknown_site_or_farm_is_not_found(client: Client) -> None:
    assert client.get("/v1/sites/nowhere/forecast-quality").status_code == 404
    assert client.get(PATH, params={"farm": "nowhere"}).status_code == 404
