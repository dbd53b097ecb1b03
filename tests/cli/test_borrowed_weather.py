"""Days whose reference ET is that of a place nearby, as the command line, pages and API show it."""

from __future__ import annotations

import re

import pytest

from service.api.app import create_app
from service.bootstrap import Service
from tests.api.conftest import Client
from tests.api.invented_farm import load, plan_evening
from tests.cli.conftest import call, document
from tests.gap_farm import BLOCK_ID, FARM_ID, GAP, bring_gappy_weather, gap_farm
from tests.pages.conftest import Reader


@pytest.fixture
def gappy(own_service: Service) -> Service:
    """A farm that was planned over a gap in its weather."""
    load(own_service, gap_farm())
    bring_gappy_weather(own_service)
    assert plan_evening(own_service) == []
    return own_service


def test_why_names_the_days_the_distance_and_the_ratio(gappy: Service) -> None:
    url = gappy.settings.database_url
    printed = re.sub(r"\s+", " ", call(url, "why", BLOCK_ID, "--units", "si").output)
    assert (
        "Reference ET from Mon 6 Jul to Thu 9 Jul is that of a place 8 km away x 1.0495, the ratio"
        " of the two sums over 19 days around that both know"
    ) in printed
    assert "a place 5 mi away" in re.sub(r"\s+", " ", call(url, "why", BLOCK_ID).output)
    (span,) = document(call(url, "why", BLOCK_ID, "--json"))["borrowed_reference_et"]
    assert span["first_day"] == GAP[0].isoformat()
    assert span["last_day"] == GAP[1].isoformat()


def test_the_pages_of_block_and_weather_say_it_in_both_languages(gappy: Service) -> None:
    reader = Reader(create_app(gappy))
    for page in (f"/blocks/{BLOCK_ID}", f"/farms/{FARM_ID}/weather"):
        text = reader.text(page)
        assert "that of a place 5 miles away x 1.0495" in text
        assert "over 19 days around" in text
    reader.send(f"/farms/{FARM_ID}/weather", "/reading", units="si", language="es")
    assert "la de un lugar a 8 km x 1.0495" in reader.text(f"/farms/{FARM_ID}/weather")


def test_the_explanation_of_the_api_lists_the_span(gappy: Service) -> None:
    answer = Client(create_app(gappy)).json(f"/v1/blocks/{BLOCK_ID}/why")
    (span,) = answer["borrowed_reference_et"]
    assert (span["first_day"], span["last_day"]) == (GAP[0].isoformat(), GAP[1].isoformat())
    assert span["neighbour_ratio"] == pytest.approx(1.0495, abs=1e-4)
    assert span["distance_km"] == pytest.approx(8.5, abs=0.1)
