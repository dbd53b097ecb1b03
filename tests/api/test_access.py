"""Scopes: every route declares one, and a key without it gets its name."""

from __future__ import annotations

import pytest
from fastapi import APIRouter, FastAPI

from service.api.access import check_rights
from service.bootstrap import Service
from service.operations.access.manage_keys import Right
from tests.api.callers import ALL_RIGHTS, Caller, caller_of, new_key
from tests.api.invented_farm import BLOCK_ID, FARM_ID


def test_every_operation_of_the_document_declares_a_right(app: FastAPI) -> None:
    described = {
        operation["operationId"]
        for operations in app.openapi()["paths"].values()
        for operation in operations.values()
    }
    assert described == set(app.state.rights)
    assert {*ALL_RIGHTS, "secret link", "any"} == set(app.state.rights.values())


def test_an_application_with_a_route_that_forgot_its_right_does_not_start() -> None:
    router = APIRouter()

    @router.get("/forgotten")
    def forgotten() -> None:
        """A route that declares no right."""

    with pytest.raises(RuntimeError, match="/forgotten"):
        check_rights(router.routes)


@pytest.mark.parametrize(
    ("method", "path", "right"),
    [
        ("GET", f"/v1/blocks/{BLOCK_ID}/plan", Right.PLAN_READ),
        ("GET", f"/v1/blocks/{BLOCK_ID}", Right.PLAN_READ),
        ("GET", f"/v1/farms/{FARM_ID}", Right.PLAN_READ),
        ("POST", "/v1/runs", Right.WATER_WRITE),
        ("POST", "/v1/gauges/home/readings", Right.WATER_WRITE),
        ("POST", f"/v1/blocks/{BLOCK_ID}/soil-readings", Right.WATER_WRITE),
        ("POST", f"/v1/blocks/{BLOCK_ID}/pauses", Right.WATER_WRITE),
        ("PUT", f"/v1/farms/{FARM_ID}", Right.FARM_WRITE),
        ("DELETE", f"/v1/blocks/{BLOCK_ID}", Right.FARM_WRITE),
        ("GET", "/v1/counties/water-need?week=2026-W27&crop=blueberry", Right.ADVISER),
    ],
)
def test_a_key_without_the_right_gets_the_name_of_the_missing_one(
    own_service: Service, method: str, path: str, right: Right
) -> None:
    others = [each for each in ALL_RIGHTS if each != right]
    caller = caller_of(own_service, FARM_ID, *others)
    answer = caller.request(method, path, json={} if method in ("POST", "PUT") else None)
    assert answer.status_code == 403, answer.text
    assert answer.json()["type"] == "/problems/scope-missing"
    assert f'scope="{right}"' in answer.headers["WWW-Authenticate"]


def test_an_advisers_key_sees_counties_and_no_farm(own_service: Service) -> None:
    caller = caller_of(own_service, None, Right.ADVISER)
    assert caller.get("/v1/blocks").status_code == 403
    assert caller.get(f"/v1/farms/{FARM_ID}").status_code == 403
    answer = caller.get("/v1/counties/water-need", params={"week": "2026-W27", "block": BLOCK_ID})
    assert answer.status_code == 404


def test_the_metrics_are_for_the_region_alone(own_service: Service) -> None:
    assert caller_of(own_service, FARM_ID).get("/metrics").status_code == 403
    token = new_key(own_service, None, Right.PLAN_READ)[1]
    assert Caller(caller_of(own_service, None).app, token).get("/metrics").status_code == 200
