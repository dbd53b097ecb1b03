"""Plans and runs of many farms: each once, none missing, and each caller's own alone."""

from __future__ import annotations

import csv
import json
from typing import Any

import pytest
from pydantic import BaseModel

from service.api import feed_examples
from service.api.schemas.plans import RegionPlansOut
from service.api.schemas.region_runs import RegionRunsOut
from service.bootstrap import Service
from tests.api.callers import Caller, caller_of
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FARM,
    FARM_ID,
    PLAN_DAY,
    TODAY,
    bring_weather,
    load,
    plan_evening,
)
from tests.pages.conftest import COUNTIES

OTHER = "later-farm"


def read_on(caller: Caller, at: str) -> tuple[list[dict[str, Any]], str]:
    """Everything from an address on, and where to ask for more later."""
    found: list[dict[str, Any]] = []
    while True:
        answer = caller.get(at)
        assert answer.status_code == 200, answer.text
        found += answer.json()["items"]
        at = answer.json()["next"]
        if not answer.json()["has_more"]:
            return found, at


def report(caller: Caller, block_id: str, hour: int, minutes: float) -> None:
    started_at = f"{TODAY}T{hour:02d}:00:00-04:00"
    run = {"block_id": block_id, "started_at": started_at, "duration_min": minutes}
    assert caller.post("/v1/runs", {"items": [run]}).status_code == 200


def test_plans_come_in_brief_with_farm_and_day_and_agree_with_the_farms_own_list(
    own_service: Service,
) -> None:
    caller = caller_of(own_service, None)
    plans, _ = read_on(caller, "/v1/plans?page_size=1")
    assert {(each["farm_id"], each["day"]) for each in plans} == {(FARM_ID, str(PLAN_DAY))}
    of_farm = caller.get(f"/v1/farms/{FARM_ID}/plans").json()["items"]
    brief = [{name: each[name] for name in of_farm[0]} for each in plans]
    assert sorted(brief, key=lambda each: str(each["block_id"])) == of_farm


def test_a_copy_that_follows_has_each_plan_in_force_once_though_plans_change_meanwhile(
    own_service: Service,
) -> None:
    caller = caller_of(own_service, None)
    first = caller.get("/v1/plans?page_size=1").json()
    assert first["has_more"] and len(first["items"]) == 1
    bring_weather(own_service, warmer_c=3.0)
    assert not plan_evening(own_service)
    later, at = read_on(caller, first["next"])
    versions = [(each["block_id"], each["day"], each["version"]) for each in later]
    assert len(set(versions)) == len(versions)
    copy = {(each["block_id"], each["day"]): each for each in (*first["items"], *later)}
    whole, _ = read_on(caller, "/v1/plans")
    assert copy == {(each["block_id"], each["day"]): each for each in whole}
    assert {each["version"] for each in later} >= {2}
    assert read_on(caller, at) == ([], at)


def test_plans_of_a_block_that_is_retired_on_their_day_are_left_out(own_service: Service) -> None:
    caller = caller_of(own_service, FARM_ID)
    load(own_service, FARM[: FARM.rindex("[[block]]")], effective_day=PLAN_DAY)
    plans, _ = read_on(caller, "/v1/plans")
    assert [each["block_id"] for each in plans] == [BLOCK_ID]


@pytest.mark.parametrize(
    ("query", "count"),
    [
        ("", 2),
        ("?county=X01", 2),
        ("?county=X02", 0),
        ("?county=X02&county=X01", 2),
        (f"?farm={OTHER}", 0),
        (f"?farm={FARM_ID}&from={PLAN_DAY}&to={PLAN_DAY}", 2),
        (f"?to={TODAY}", 0),
    ],
)
def test_plans_are_picked_by_farm_county_and_day(
    own_service: Service, query: str, count: int
) -> None:
    load(own_service, COUNTIES)
    assert len(read_on(caller_of(own_service, None), f"/v1/plans{query}")[0]) == count


@pytest.mark.parametrize("path", ["/v1/plans", "/v1/runs"])
@pytest.mark.parametrize(
    ("query", "status", "said"),
    [
        ("?county=X09", 422, "X01, X02"),
        ("?from=2026-07-15&to=2026-07-14", 422, "2026-07-15 or a later day"),
        ("?cursor=bm90LWEtbnVtYmVy", 422, "unchanged"),
        ("?farm=nowhere", 404, "not-found"),
    ],
)
def test_what_cannot_be_picked_is_refused_with_what_can(
    own_service: Service, path: str, query: str, status: int, said: str
) -> None:
    load(own_service, COUNTIES)
    answer = caller_of(own_service, None).get(path + query)
    assert answer.status_code == status and said in answer.text


def test_runs_come_as_reported_and_again_when_they_are_corrected(own_service: Service) -> None:
    caller = caller_of(own_service, None)
    for hour, block_id in ((4, BLOCK_ID), (5, BLOCK_ID), (5, BARE_BLOCK_ID)):
        report(caller, block_id, hour, 30.0)
    first = caller.get("/v1/runs?page_size=2").json()
    assert first["has_more"]
    report(caller, BLOCK_ID, 4, 45.0)  # corrects what the caller has
    report(caller, BARE_BLOCK_ID, 5, 30.0)  # says again what is known
    rest, at = read_on(caller, first["next"])
    assert [(each["block_id"], each["duration_min"]) for each in rest] == [
        (BARE_BLOCK_ID, 30.0),
        (BLOCK_ID, 45.0),
    ]
    copy = {(each["block_id"], each["started_at"]): each for each in (*first["items"], *rest)}
    whole, _ = read_on(caller, "/v1/runs")
    assert copy == {(each["block_id"], each["started_at"]): each for each in whole}
    assert rest[-1]["started_local"] == f"{TODAY}T04:00:00-04:00"
    assert read_on(caller, at) == ([], at)


def test_runs_of_one_report_are_cut_where_the_page_ends(own_service: Service) -> None:
    caller = caller_of(own_service, FARM_ID)
    items = [
        {"block_id": BLOCK_ID, "started_at": f"{TODAY}T0{hour}:00:00Z", "duration_min": 5.0}
        for hour in range(7)
    ]
    assert caller.post("/v1/runs", {"items": items}).status_code == 200
    runs, _ = read_on(caller, "/v1/runs?page_size=3")
    assert [each["started_at"] for each in runs] == [f"{TODAY}T0{hour}:00:00Z" for hour in range(7)]


@pytest.mark.parametrize("path", ["/v1/plans", "/v1/runs"])
def test_what_has_not_changed_is_not_sent_again(own_service: Service, path: str) -> None:
    caller = caller_of(own_service, FARM_ID)
    for media in ("application/json", "text/csv"):
        tag = caller.get(path, headers={"Accept": media}).headers["ETag"]
        again = caller.get(path, headers={"Accept": media, "If-None-Match": tag})
        assert again.status_code == 304


@pytest.mark.parametrize("path", ["/v1/plans", "/v1/runs"])
def test_a_table_says_in_its_link_where_it_goes_on(own_service: Service, path: str) -> None:
    caller = caller_of(own_service, FARM_ID)
    for hour in (4, 5):
        report(caller, BLOCK_ID, hour, 30.0)
    as_csv = {"Accept": "text/csv"}
    first = caller.get(f"{path}?page_size=1", headers=as_csv)
    address, relation = first.headers["Link"].split("; ")
    assert relation == 'rel="next"'
    second = caller.get(address.strip("<>"), headers=as_csv)
    expected = [each["block_id"] for each in read_on(caller, path)[0]]
    named = [
        {row["block_id"] for row in csv.DictReader(each.text.splitlines())}
        for each in (first, second)
    ]
    assert named == [{each} for each in expected[:2]]


@pytest.mark.parametrize(
    ("model", "example"),
    [(RegionPlansOut, feed_examples.PLAN_FEED), (RegionRunsOut, feed_examples.RUN_FEED)],
)
def test_an_example_says_all_that_its_answer_says(
    model: type[BaseModel], example: dict[str, Any]
) -> None:
    assert json.loads(model.model_validate(example).model_dump_json()) == example
