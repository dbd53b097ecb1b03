"""The page that says how good the forecast was here. All of it is invented."""

from __future__ import annotations

from datetime import date, timedelta
from html import unescape
from typing import Any

import numpy as np
import pytest

from service.api.app import create_app
from service.bootstrap import Service
from service.operations.reading.read_farms import today_at
from service.records.forecasts import ForecastPlace
from tests.api.invented_farm import FARM_ID
from tests.operations.weather.forecast_days import lead_rows, truth_rows
from tests.pages.conftest import Reader
from tests.pages.well_formed import faults_of

PATH = f"/farms/{FARM_ID}/forecast-quality"
COUNT = 45
FELL = np.where(np.arange(COUNT) % 3 == 0, 6.0, 0.0)


def bring(service: Service, *, count: int = COUNT, has_moved: bool = False, **facts: Any) -> date:
    """Forecasts of days up to tomorrow and what was observed of them; returns today."""
    with service.unit_of_work(write=True) as unit:
        today = today_at(unit, FARM_ID, service.clock.now())
        days = [today - timedelta(days=back) for back in range(count, 0, -1)]
        key = unit.blocks.get_site_key("home")
        begins = days[0] - timedelta(days=7)
        unit.forecasts.save_places([ForecastPlace(key, 36.0, -79.0, 200.0, begins, has_moved)])
        fell = FELL[:count]
        said = {
            "rain_mm": [*(fell * 1.5), 0.0], "et0_mm": 5.254, "tmax_c": 31.0,
            "rain_probability_fraction": [*np.where(fell > 0.0, 0.8, 0.1), 0.1], **facts,
        }  # fmt: skip
        unit.forecasts.save_leads(lead_rows(key, [*days, today], leads=range(1, 8), **said))
        unit.forecasts.save_truth(truth_rows(key, days, rain_mm=fell))
    return today


def page(service: Service) -> str:
    answer = Reader(create_app(service)).get(PATH)
    assert answer.status_code == 200 and faults_of(answer.text) == []
    return " ".join(unescape(answer.text).split())


def test_plain_words_come_first(own_service: Service) -> None:
    bring(own_service)
    text = page(own_service)
    assert "Its rain forecast is useful up to 7 days ahead." in text
    assert "Rain or no rain the next day: right on 45 of 45 days." in text
    assert "When it gave rain a chance of 60% or more, it rained on 15 of 15 days." in text
    assert "Its amount was off by 0.04 in a day. On average it was 0.04 in too high." in text
    assert "Reference ET of the next day was off by 0.01 in." in text
    assert "Held against what a gauge, a station or a file measured here." in text
    assert text.index("Its rain forecast") < text.index('<svg class="chart') < text.index("CRPS")
    assert "(plans use it)" in text


def test_an_ensemble_is_held_against_narrower_and_wider_bands(own_service: Service) -> None:
    shares = range(5, 100, 10)
    wide: dict[str, Any] = {f"rain_p{share:02}_mm": 0.0 if share < 50 else 20.0 for share in shares}
    bring(own_service, member_count=31, **wide)
    assert '">100% / 100%</td>' in page(own_service)


def test_the_weather_page_leads_there(own_service: Service) -> None:
    assert f'href="{PATH}"' in Reader(create_app(own_service)).text(f"/farms/{FARM_ID}/weather")


def test_a_place_without_an_archive_says_what_it_waits_for(own_service: Service) -> None:
    assert "No forecast has been kept yet." in page(own_service)


def test_too_few_days_are_counted_and_not_scored(own_service: Service) -> None:
    bring(own_service, count=12)
    text = page(own_service)
    assert "Too early to say: 12 days can be compared so far, 30 are needed." in text
    assert "CRPS" not in text and "Rain or no rain" not in text


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({"has_moved": True}, "The place was moved on"),
        ({"tmax_c": 88.0}, "its values look as if in another unit"),
    ],
)
def test_what_limits_the_scores_is_said(
    own_service: Service, facts: dict[str, Any], said: str
) -> None:
    bring(own_service, **facts)
    text = page(own_service)
    assert said in text
    assert ("CRPS" in text) == ("has_moved" in facts)
