"""Boundaries over the API: imported for the region, read as GeoJSON, joined to the need by code."""

from __future__ import annotations

import orjson
import pytest

from service.bootstrap import Service
from service.operations.access.manage_keys import Right
from tests.api.callers import Caller, caller_of
from tests.api.invented_farm import FARM_ID, load
from tests.pages.conftest import BOUNDARIES, COUNTIES

PATH = "/v1/counties/boundaries"
NEED = "/v1/counties/water-need?crop=blueberry"


@pytest.fixture
def service(own_service: Service) -> Service:
    load(own_service, COUNTIES)
    return own_service


@pytest.fixture
def adviser(service: Service) -> Caller:
    return caller_of(service, None, Right.ADVISER, Right.FARM_WRITE)


def test_what_is_imported_is_read_as_geojson_and_joins_the_need(adviser: Caller) -> None:
    assert adviser.get(PATH).status_code == 404
    done = adviser.request("PUT", f"{PATH}?source=Invented+Survey", json=orjson.loads(BOUNDARIES))
    assert done.status_code == 200, done.text
    assert done.json()["counties"] == ["X01", "X02"] and done.json()["is_new"]
    answer = adviser.get(PATH, headers={"Accept": "application/geo+json"})
    assert answer.headers["Content-Type"].startswith("application/geo+json")
    document = answer.json()
    assert document["type"] == "FeatureCollection" and document["source"] == "Invented Survey"
    for feature in document["features"]:
        for (ring,) in feature["geometry"]["coordinates"]:
            assert ring[0] == ring[-1] and len(ring) >= 4
    codes = {each["county_code"] for each in adviser.get(NEED).json()["items"]}
    assert {each["id"] for each in document["features"]} == codes
    again = adviser.get(PATH, headers={"If-None-Match": adviser.get(PATH).headers["ETag"]})
    assert again.status_code == 304


def test_what_was_read_can_be_sent_back(adviser: Caller) -> None:
    adviser.request("PUT", PATH, json=orjson.loads(BOUNDARIES))
    done = adviser.request("PUT", PATH, json=adviser.get(PATH).json())
    assert done.status_code == 200 and not done.json()["is_new"]


def test_only_a_key_for_the_region_that_may_change_farms_imports(service: Service) -> None:
    content = orjson.loads(BOUNDARIES)
    for caller in (
        caller_of(service, None, Right.ADVISER, Right.PLAN_READ),
        caller_of(service, FARM_ID, Right.FARM_WRITE, Right.ADVISER),
    ):
        assert caller.request("PUT", PATH, json=content).status_code == 403
        assert caller.get(PATH).status_code == 404


def test_a_fault_is_at_its_place_and_nothing_is_stored(adviser: Caller) -> None:
    adviser.request("PUT", PATH, json=orjson.loads(BOUNDARIES))
    wrong = orjson.loads(BOUNDARIES)
    wrong["features"][1]["geometry"]["coordinates"][0][0] = [480_000, 3_900_000]
    refused = adviser.request("PUT", PATH, json=wrong)
    assert refused.status_code == 422
    (error,) = refused.json()["errors"]
    assert error["pointer"] == "/features/1/geometry/coordinates/0/0"
    assert "export it unprojected" in error["detail"]
    other = adviser.request("PUT", f"{PATH}?name_property=NAME", json=orjson.loads(BOUNDARIES))
    assert other.status_code == 422
    assert len(adviser.get(PATH).json()["features"]) == 2
