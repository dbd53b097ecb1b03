"""A shared place is not one farm's to change: whose rain a reading is, by place and by key."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sqlalchemy.engine import URL

from service.api.app import create_app
from service.bootstrap import Service
from service.operations.weather.import_weather import import_weather
from tests.api.callers import ALL_RIGHTS, Caller, caller_of, new_key
from tests.api.invented_farm import FARM_ID, PLAN_DAY, load, opened_service, plan_evening
from tests.databases import copied, lent
from tests.pages.conftest import COUNTIES, Reader

NEIGHBOUR = """
[farm]
id = "neighbour"
name = "The neighbour (invented)"
zone = "America/New_York"

[[site]]
id = "home"
latitude = 35.91
longitude = -79.22
elevation = "510 ft"

[[supply]]
id = "pond"
flow = "40 gpm"

[[block]]
id = "vines"
crop = "grape-wine"
area = "0.4 ha"
row_spacing = "2.5 m"
emitter_spacing = "0.6 m"
emitter_flow = "2 L/h"
soil = { texture = "loam" }
balance_start = 2026-06-14
"""
VINES = "neighbour.vines"
SOUTH = f"{FARM_ID}.south"
MUCH_RAIN = {"rain_mm": 120.0, "read_at": "2026-07-14T18:00:00-04:00", "confirm": True}
NEED = "/v1/counties/water-need?crop=grape-wine&week=2026-W28&weeks=2"


@pytest.fixture(scope="module")
def shared_database(
    planned_database: URL, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[URL]:
    """Two farms that draw on one place, which is a county's too; both are planned."""
    with copied(planned_database, tmp_path_factory.mktemp("shared")) as url:
        with opened_service(url) as made:
            load(made, NEIGHBOUR)
            load(made, COUNTIES)
            assert not plan_evening(made)
        yield url


@pytest.fixture
def shared(shared_database: URL, tmp_path: Path) -> Iterator[Service]:
    """The service on a copy of that database."""
    with lent(shared_database, tmp_path) as url, opened_service(url) as made:
        yield made


def county_rows(service: Service) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = caller_of(service, None).get(NEED).json()["items"]
    return found


def plan_of(service: Service, block_id: str) -> dict[str, Any]:
    answer = caller_of(service, None).get(f"/v1/blocks/{block_id}/plan?date={PLAN_DAY}")
    found: dict[str, Any] = answer.json()
    return found


def report(service: Service, key_farm: str | None, *rights: str, **body: Any) -> Any:
    caller = Caller(create_app(service), new_key(service, key_farm, *rights)[1])
    return caller.post("/v1/gauges/home/readings", {**MUCH_RAIN, **body})


def test_a_farms_reading_changes_its_own_plan_alone(shared: Service) -> None:
    counties, vines, south = county_rows(shared), plan_of(shared, VINES), plan_of(shared, SOUTH)
    answer = report(shared, FARM_ID, "water:write")
    assert answer.status_code == 200, answer.text
    assert answer.json()["farm_id"] == FARM_ID
    assert county_rows(shared) == counties
    assert plan_of(shared, VINES) == vines
    assert plan_of(shared, SOUTH)["version"] > south["version"]


def test_the_next_evening_still_keeps_the_farms_apart(shared: Service) -> None:
    report(shared, FARM_ID, "water:write")
    vines, south = plan_of(shared, VINES), plan_of(shared, SOUTH)
    assert not plan_evening(shared)
    assert plan_of(shared, VINES) == vines
    assert plan_of(shared, SOUTH) == south


def rain_of(service: Service, block_id: str) -> float:
    """Rain of the 14th in the ledger."""
    path = f"/v1/blocks/{block_id}/balance?from=2026-07-14&to=2026-07-14"
    return float(caller_of(service, None).get(path).json()["items"][0]["rain_mm"])


@pytest.mark.parametrize(
    ("farm_id", "rights", "status"),
    [
        (FARM_ID, ("plan:read", "farm:write", "adviser"), 403),
        (FARM_ID, ("water:write", "adviser"), 200),
        (None, ("water:write",), 403),
        (None, ("water:write", "farm:write"), 403),
        (None, ("adviser",), 403),
        (None, ("water:write", "adviser"), 200),
    ],
)
def test_only_an_adviser_of_the_region_changes_the_record_of_a_place(
    shared: Service, farm_id: str | None, rights: tuple[str, ...], status: int
) -> None:
    before = county_rows(shared)
    answer = report(shared, farm_id, *rights)
    assert answer.status_code == status, answer.text
    is_of_place = status == 200 and farm_id is None
    assert (county_rows(shared) != before) == is_of_place
    assert (rain_of(shared, VINES) == 120.0) == is_of_place
    assert (rain_of(shared, SOUTH) == 120.0) == (status == 200)


def test_a_farms_gauge_goes_before_the_record_of_the_place(shared: Service) -> None:
    report(shared, None, "water:write", "adviser", rain_mm=30.0)
    report(shared, FARM_ID, "water:write", rain_mm=12.0)
    assert (rain_of(shared, SOUTH), rain_of(shared, VINES)) == (12.0, 30.0)


def test_a_key_of_the_region_reports_for_a_farm(shared: Service) -> None:
    before = county_rows(shared)
    answer = report(shared, None, "water:write", farm_id="neighbour")
    assert (answer.status_code, answer.json()["farm_id"]) == (200, "neighbour")
    assert county_rows(shared) == before
    assert (rain_of(shared, VINES), rain_of(shared, SOUTH) < 120.0) == (120.0, True)


def test_no_farm_reports_for_another(shared: Service) -> None:
    answer = report(shared, FARM_ID, "water:write", farm_id="neighbour")
    assert answer.status_code == 404
    assert rain_of(shared, VINES) < 120.0


def test_at_its_own_place_a_reading_is_the_farms_whoever_sends_it(own_service: Service) -> None:
    answer = report(own_service, None, "water:write")
    assert (answer.status_code, answer.json()["farm_id"]) == (200, FARM_ID)
    assert rain_of(own_service, SOUTH) == 120.0


def test_where_a_farm_is_alone_its_station_still_goes_before_its_gauge(
    own_service: Service,
) -> None:
    import_weather(
        "home",
        np.array(["2026-07-14"], dtype="datetime64[D]"),
        {"rain_mm": np.array([3.0])},
        source="station",
        forecast_from=None,
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
    )
    report(own_service, FARM_ID, "water:write")
    assert rain_of(own_service, SOUTH) == 3.0


def test_the_form_on_a_page_is_the_gauge_of_the_blocks_farm(shared: Service) -> None:
    before = county_rows(shared)
    reader = Reader(create_app(shared))
    reader.sign_in(new_key(shared, None, *ALL_RIGHTS)[1])
    page = f"/blocks/{SOUTH}"
    form = {"amount": "120", "unit": "mm", "day": "2026-07-14", "time": "18:00", "confirm": "yes"}
    assert reader.send(page, f"{page}/rain", **form).status_code == 303
    assert county_rows(shared) == before
    assert (rain_of(shared, SOUTH), rain_of(shared, VINES) < 120.0) == (120.0, True)
