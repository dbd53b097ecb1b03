"""Tenants: what belongs to another farm is answered exactly as what does not exist."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy.engine import URL

from service.api.app import create_app
from service.bootstrap import Service
from service.operations.access.manage_keys import Right
from tests.api.callers import ALL_RIGHTS, Caller, caller_of, new_key
from tests.api.invented_farm import BLOCK_ID, FARM_ID, YOUNG_BLOCK_ID, copied_service
from tests.api.openapi_snapshot import SNAPSHOT
from tests.api.paired_controllers import SHED_CONTROLLER, pair

DOCUMENT: dict[str, Any] = json.loads(SNAPSHOT.read_text(encoding="utf-8"))
"""The document that test_openapi.py holds the application to; making it takes a second."""
OTHER = "later-farm"
VALUES = {
    "block_id": (BLOCK_ID, "test-farm.nowhere"),
    "farm_id": (FARM_ID, "nowhere"),
    "site_id": ("home", "nowhere"),
    "controller_id": (f"{FARM_ID}.shed", f"{FARM_ID}.nowhere"),
    "pause_id": ("0123456789abcdef", "0123456789abcdef"),
    "subscription_id": ("office", "office"),
    "supply_id": (f"{FARM_ID}.well", f"{FARM_ID}.nowhere"),
    "day": ("2026-07-15", "2026-07-15"),
    "started_at": ("2026-07-14T09:00:00Z", "2026-07-14T09:00:00Z"),
    "secret": ("x" * 43, "y" * 43),
}
BODIES: dict[str, Any] = {
    "report_rain": {"rain_mm": 1.0},
    "report_soil_reading": {
        "read_at": "2026-07-14T06:00:00-04:00", "depth_m": 0.2, "volumetric_water": 0.2,
    },
    "pause_block": {
        "starts_local": "2026-07-15T00:00", "ends_local": "2026-07-16T00:00", "reason": "repair",
    },
    "replace_farm": {"farm": {"id": FARM_ID, "zone": "UTC"}},
    "create_block": {"id": "new"},
    "record_event_subscription": {"url": "https://office.example.org/"},
    "resend_events": {},
    "replace_block": {"crop": "blueberry"},
}  # fmt: skip


def _operations() -> list[tuple[str, str, str]]:
    return [
        (method.upper(), path, operation["operationId"])
        for path, operations in DOCUMENT["paths"].items()
        for method, operation in operations.items()
        if "{" in path and "{secret}" not in path
    ]


def _lists() -> list[tuple[str, bool]]:
    """What is read without naming anything in the path, and whether it may be asked by farm."""
    return [
        (path, any(each["name"] == "farm" for each in operations["get"].get("parameters", ())))
        for path, operations in DOCUMENT["paths"].items()
        if "get" in operations and path.startswith("/v1/") and "{" not in path
    ]


OPERATIONS = _operations()
LISTS = _lists()


def _ask(caller: Caller, method: str, path: str, name: str) -> Any:
    return caller.request(
        method,
        path,
        json=BODIES.get(name),
        headers={"Idempotency-Key": f'"{name}"', "If-Match": '"any"'},
    )


@pytest.mark.parametrize("rights", [ALL_RIGHTS, *((right,) for right in ALL_RIGHTS)], ids=str)
@pytest.mark.parametrize(("method", "path", "name"), OPERATIONS)
def test_a_key_of_another_farm_finds_nothing(
    service: Service,
    tenant_apps: dict[tuple[str, ...], Caller],
    rights: tuple[str, ...],
    method: str,
    path: str,
    name: str,
) -> None:
    caller = tenant_apps[rights]
    theirs = path.format(**{key: value for key, (value, _) in VALUES.items()})
    missing = path.format(**{key: value for key, (_, value) in VALUES.items()})
    answer = _ask(caller, method, theirs, name)
    assert answer.status_code == 404, (name, answer.text)
    nothing = _ask(caller, method, missing, name)
    assert nothing.status_code == 404

    def without_id(text: str, request_id: str) -> str:
        return text.replace(request_id, "")

    assert without_id(answer.text, answer.headers["X-Request-Id"]) == without_id(
        nothing.text, nothing.headers["X-Request-Id"]
    )


@pytest.mark.parametrize(("path", "is_by_farm"), LISTS)
def test_no_list_says_anything_of_another_farm(
    tenant_apps: dict[tuple[str, ...], Caller], path: str, is_by_farm: bool
) -> None:
    caller = tenant_apps[ALL_RIGHTS]
    answer = caller.get(path)
    # 404: boundaries of counties that nobody has imported.
    assert answer.status_code in (200, 404, 422), answer.text
    assert FARM_ID not in answer.text and '"home"' not in answer.text
    if is_by_farm:
        assert caller.get(path, params={"farm": FARM_ID}).status_code == 404


@pytest.mark.parametrize("path", [path for path, is_by_farm in LISTS if is_by_farm])
def test_a_list_that_may_be_asked_by_farm_has_something_to_hide(
    tenant_service: Service, path: str
) -> None:
    assert FARM_ID in caller_of(tenant_service, None).get(path).text


@pytest.fixture(scope="module")
def tenant_service(
    planned_database: URL, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Service]:
    with copied_service(planned_database, tmp_path_factory.mktemp("tenants")) as made:
        pair(made, FARM_ID, SHED_CONTROLLER)
        run = {"block_id": BLOCK_ID, "started_at": "2026-07-14T04:00:00Z", "duration_min": 9}
        caller_of(made, FARM_ID).post("/v1/runs", {"items": [run]})
        yield made


@pytest.fixture(scope="module")
def tenant_apps(tenant_service: Service) -> dict[tuple[str, ...], Caller]:
    """One caller of the other farm for each set of rights, on one application."""
    app = create_app(tenant_service)
    sets: list[tuple[str, ...]] = [ALL_RIGHTS, *((right,) for right in ALL_RIGHTS)]
    return {rights: Caller(app, new_key(tenant_service, OTHER, *rights)[1]) for rights in sets}


def test_a_list_holds_ones_own_blocks_only(own_service: Service) -> None:
    caller = caller_of(own_service, OTHER)
    items = caller.get("/v1/blocks").json()["items"]
    assert [item["block_id"] for item in items] == [YOUNG_BLOCK_ID]
    assert caller.get("/v1/blocks", params={"farm": FARM_ID}).status_code == 404
    assert caller.get("/v1/status", params={"farm": FARM_ID}).status_code == 404
    assert FARM_ID not in caller.get("/v1/status").text


def test_a_region_key_sees_all_farms(own_service: Service) -> None:
    items = caller_of(own_service, None).get("/v1/blocks").json()["items"]
    assert {item["farm_id"] for item in items} == {FARM_ID, OTHER}


def test_a_run_of_another_farms_block_is_reported_as_not_found(own_service: Service) -> None:
    caller = caller_of(own_service, OTHER)

    def problem(block_id: str) -> Any:
        body = {
            "items": [
                {"block_id": block_id, "started_at": "2026-07-14T04:00:00Z", "duration_min": 9}
            ]
        }
        answer = caller.post("/v1/runs", body)
        assert answer.status_code == 422
        return answer.json()["errors"]

    assert problem(BLOCK_ID) == problem("test-farm.nowhere") == problem("nowhere.at-all")
    assert problem(BLOCK_ID)[0]["pointer"] == "/items/0/block_id"


def test_a_farm_can_neither_take_nor_join_a_site_of_another(own_service: Service) -> None:
    owner = caller_of(own_service, FARM_ID)
    theirs = owner.get(f"/v1/farms/{FARM_ID}").json()["site"]
    caller = caller_of(own_service, "new-farm")
    document = {
        "farm": {"id": "new-farm", "name": "New", "zone": "America/New_York"},
        "supply": [{"id": "well", "flow": "40 gpm"}],
        "site": theirs,
        "block": [
            {
                "id": "one", "crop": "blueberry", "area": "1 ac", "row_spacing": "10 ft",
                "emitter_spacing": "18 in", "emitter_flow": "0.5 gph", "soil": {"texture": "loam"},
                "season": {"start": "03-20", "lengths": [25, 45, 110, 50]},
            }
        ],
    }  # fmt: skip
    for changes in ({}, {"elevation": "900 m"}):
        document["site"] = [{**theirs[0], **changes}]
        answer = caller.post("/v1/farms", document)
        assert answer.status_code == 422, answer.text
        assert answer.json()["errors"][0]["pointer"] == "/site/0/id"
    assert owner.get(f"/v1/farms/{FARM_ID}").json()["site"] == theirs
    assert caller.post("/v1/gauges/home/readings", {"rain_mm": 9.0}).status_code == 404


def test_a_key_creates_the_farm_that_it_is_bound_to_and_no_other(own_service: Service) -> None:
    caller = caller_of(own_service, "new-farm", Right.FARM_WRITE, Right.PLAN_READ)
    document = {"farm": {"id": "other-farm", "name": "X", "zone": "America/New_York"}}
    assert caller.post("/v1/farms", document).status_code == 422
    document["farm"]["id"] = "new-farm"
    assert caller.post("/v1/farms", document).status_code == 201
    assert caller.post("/v1/farms", document).status_code == 409
    assert caller.get("/v1/farms/new-farm").json()["farm"]["name"] == "X"


def test_the_same_idempotency_key_of_two_farms_means_two_requests(own_service: Service) -> None:
    pause = {
        "starts_local": "2026-08-01T00:00", "ends_local": "2026-08-02T00:00", "reason": "repair",
    }  # fmt: skip
    mine, theirs = caller_of(own_service, FARM_ID), caller_of(own_service, OTHER)
    first = mine.post(f"/v1/blocks/{BLOCK_ID}/pauses", pause, once="same")
    second = theirs.post(f"/v1/blocks/{YOUNG_BLOCK_ID}/pauses", pause, once="same")
    assert first.status_code == second.status_code == 200
    assert first.json()["pause"]["block_id"] != second.json()["pause"]["block_id"]
