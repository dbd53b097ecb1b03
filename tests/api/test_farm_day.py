"""Today is the day at the farm, whatever day it is at Greenwich."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sqlalchemy.engine import URL

from service.api.app import create_app
from service.bootstrap import Service
from service.operations.farms.manage_controllers import save_controllers
from service.operations.schedule.check_health import check_health
from service.records.controllers import ChannelDefinition, ControllerDefinition
from tests.api.callers import Caller
from tests.api.test_waterworks import CAUGHT, SAMPLE
from tests.distant_farms import (
    DISTANT,
    Distant,
    filled_databases,
    lent_service,
    uniformity_of,
)

ONE_DAY = timedelta(days=1)
OLD, FRESH, LATER = "far.old", "far.fresh", "far.later"
TEST = {"caught_ml": CAUGHT, "is_used": True}


@pytest.fixture(params=DISTANT, ids=str)
def place(request: pytest.FixtureRequest) -> Distant:
    found: Distant = request.param
    return found


@pytest.fixture(scope="module")
def filled(migrated: URL, tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[Distant, URL]]:
    with filled_databases(migrated, tmp_path_factory.mktemp("distant")) as found:
        yield found


@pytest.fixture
def service(filled: dict[Distant, URL], place: Distant, tmp_path: Path) -> Iterator[Service]:
    with lent_service(filled, place, tmp_path) as made:
        yield made


@pytest.fixture
def caller(service: Service) -> Caller:
    return Caller(create_app(service))


def _put(caller: Caller, path: str, body: Any = None) -> int:
    return caller.request("PUT", f"/v1{path}", json=body).status_code


def test_the_blocks_of_a_farm_are_those_of_its_day(caller: Caller) -> None:
    for query in ("", "?farm=far"):
        items = caller.get(f"/v1/blocks{query}").json()["items"]
        assert [each["block_id"] for each in items] == [FRESH, OLD]


def test_a_field_test_counts_from_the_farms_day_on(
    caller: Caller, service: Service, place: Distant
) -> None:
    assert _put(caller, f"/blocks/{OLD}/catch-tests/{place.today}", TEST) == 200
    yesterday = uniformity_of(service, OLD, place.today - ONE_DAY)
    assert uniformity_of(service, OLD, place.today) != yesterday


def test_leaching_counts_from_the_farms_day_on(
    caller: Caller, service: Service, place: Distant
) -> None:
    assert _put(caller, f"/supplies/far.well/water-samples/{place.today}", SAMPLE) == 200
    assert _put(caller, f"/blocks/{OLD}/leaching") == 200
    with service.unit_of_work(write=False) as unit:
        before, after = (
            unit.blocks.get_block(OLD, day=day).leaching_fraction
            for day in (place.today - ONE_DAY, place.today)
        )
    assert before == 0.0 < after


def test_nothing_was_measured_on_a_day_that_has_not_come_at_the_farm(
    caller: Caller, place: Distant
) -> None:
    tomorrow = place.today + ONE_DAY
    for path, body in (
        (f"/blocks/{OLD}/catch-tests/{tomorrow}", TEST),
        (f"/supplies/far.well/water-samples/{tomorrow}", SAMPLE),
    ):
        answer = caller.request("PUT", f"/v1{path}", json=body)
        assert answer.status_code == 422
        assert f"a day up to {place.today}" in answer.text


@pytest.mark.parametrize(
    "question",
    [
        "hydraulics",
        "catch-tests",
        "water-report",
        "acid-estimate?target_ph=6.5&acid=sulfuric&strength_pct=93",
        "flow",
        "",
    ],
)
def test_a_block_is_shown_as_of_the_farms_day(
    caller: Caller, place: Distant, question: str
) -> None:
    assert _put(caller, "/supplies/far.well/water-samples/2026-05-01", SAMPLE) == 200
    path = f"/{question}" if question else ""
    assert caller.get(f"/v1/blocks/{FRESH}{path}").status_code == 200
    assert caller.get(f"/v1/blocks/{LATER}{path}").status_code == 404


def test_a_span_ends_or_begins_with_the_farms_day(caller: Caller, place: Distant) -> None:
    assert caller.get(f"/v1/blocks/{OLD}/balance").json()["last_day"] == f"{place.today}"


def test_a_run_is_of_a_block_that_is_in_force_at_the_farm(caller: Caller, place: Distant) -> None:
    started = (place.now - timedelta(minutes=30)).isoformat()
    answers = [
        caller.post(
            "/v1/runs",
            {"items": [{"block_id": name, "started_at": started, "duration_min": 20}]},
        )
        for name in (FRESH, LATER)
    ]
    assert [answer.status_code for answer in answers] == [200, 422]


def test_a_soil_reading_is_of_a_block_that_is_in_force_at_the_farm(
    caller: Caller, place: Distant
) -> None:
    body = {
        "read_at": (place.now - timedelta(minutes=30)).isoformat(),
        "volumetric_water": 0.25,
        "depth_m": 0.3,
    }
    answers = [caller.post(f"/v1/blocks/{name}/soil-readings", body) for name in (FRESH, LATER)]
    assert [answer.status_code for answer in answers] == [200, 404], answers[0].text


def test_a_pause_may_be_asked_for_a_block_that_begins_tomorrow_at_the_farm(
    caller: Caller, place: Distant
) -> None:
    body = {
        "starts_local": f"{place.today + ONE_DAY}T06:00",
        "ends_local": f"{place.today + ONE_DAY}T18:00",
        "reason": "harvest",
    }
    for name in (FRESH, LATER):
        assert caller.post(f"/v1/blocks/{name}/pauses", body).status_code in (200, 201)


def test_a_block_can_be_the_counties_reference_from_its_first_day_on(caller: Caller) -> None:
    for name, status in ((FRESH, 200), (LATER, 404)):
        answer = caller.get(f"/v1/counties/water-need?week=2026-W28&block={name}")
        assert answer.status_code == status, answer.text


def test_the_check_counts_the_blocks_of_each_farms_day(service: Service) -> None:
    found = check_health(
        unit_of_work=service.unit_of_work, clock=service.clock, source_order=service.source_order
    )
    assert found.block_count == 2


def test_a_program_knows_the_blocks_of_the_farms_tomorrow(service: Service, place: Distant) -> None:
    box = ControllerDefinition(
        controller_id="far.box",
        farm_id="far",
        name="Box",
        channels=(ChannelDefinition(channel=1, block_id=LATER),),
    )
    with service.unit_of_work(write=True) as unit:
        save_controllers(unit, "far", [box], recorded_at=place.now)
        farm_keys = np.array(list(unit.blocks.farm_keys(["far"]).values()), dtype=np.int64)
        keys = unit.controllers.list_keys_in_use(farm_keys)
        (program,) = unit.controllers.read_programs(keys)
    assert '"daily_maximum_min":600' in program.json_text
