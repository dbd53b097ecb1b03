"""Farms and blocks: changed only from the state that was read, by the rules of the farm file."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from service.bootstrap import Service
from service.farm_files.farm_file import parse_farm
from service.operations.evening.run_day import run_day
from service.operations.farms.manage_farms import load_bundle
from service.operations.reading.read_farms import get_farm
from tests.api.callers import Caller, caller_of
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    RUN_AT,
    TODAY,
    FixedClock,
)

FARM = f"/v1/farms/{FARM_ID}"
BLOCK = f"/v1/blocks/{BLOCK_ID}"
NEW_BLOCK = {
    "id": "west", "crop": "grape-wine", "area": "0.2 ha", "row_spacing": "2.5 m",
    "emitter_spacing": "0.6 m", "emitter_flow": "2 L/h", "soil": {"texture": "loam"},
}  # fmt: skip


def read(caller: Caller, path: str = FARM) -> tuple[Any, dict[str, str]]:
    """A thing and the header that a change of it needs."""
    answer = caller.get(path)
    assert answer.status_code == 200, answer.text
    return answer.json(), {"If-Match": answer.headers["ETag"]}


def table_of(document: Any, short_id: str = "north") -> Any:
    """A block's table of a farm's document."""
    return next(each for each in document["block"] if each["id"] == short_id)


def test_a_farm_put_back_as_it_was_read_changes_nothing(caller: Caller) -> None:
    document, held = read(caller)
    answer = caller.request("PUT", FARM, json=document, headers=held)
    assert answer.status_code == 200, answer.text
    assert answer.json()["counts"]["changed_count"] == 0
    assert answer.json()["counts"]["new_plan_count"] == 0
    assert answer.headers["ETag"] == held["If-Match"]
    assert read(caller) == (document, held)


def test_a_block_put_back_as_it_was_read_changes_nothing(caller: Caller) -> None:
    document, _ = read(caller)
    _, held = read(caller, BLOCK)
    answer = caller.request("PUT", BLOCK, json=table_of(document), headers=held)
    assert answer.json()["counts"]["changed_count"] == 0
    assert read(caller, BLOCK)[1] == held


def test_a_file_loads_to_the_state_that_it_was_exported_from(
    caller: Caller, own_service: Service
) -> None:
    answer = caller.get(f"{FARM}/file")
    assert answer.headers["Content-Type"].startswith("application/toml")
    as_text = caller.get(f"{FARM}/file", headers={"Accept": "text/plain"})
    assert as_text.headers["Content-Type"] == "text/plain; charset=utf-8"
    assert as_text.text == answer.text
    assert caller.get(f"{FARM}/file", headers={"Accept": "text/html"}).status_code == 406
    bundle = parse_farm(answer.text, name="exported.toml")
    stored = get_farm(FARM_ID, day=TODAY, unit_of_work=own_service.unit_of_work)
    for loaded, kept in zip(bundle.blocks, stored.blocks, strict=True):
        assert loaded.origins == kept.origins
        # As texts, because NaN is not NaN.
        assert repr(replace(loaded, origins={})) == repr(replace(kept, origins={}))
    assert (bundle.farm, bundle.sites, bundle.supplies) == (
        stored.farm, stored.sites, stored.supplies,
    )  # fmt: skip
    outcome = load_bundle(
        bundle,
        effective_day=TODAY,
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
    )
    assert outcome.created_count + outcome.changed_count + outcome.retired_count == 0


def test_a_changed_block_counts_from_today_and_is_replanned(caller: Caller) -> None:
    document, _ = read(caller)
    before, held = read(caller, BLOCK)
    plan = caller.get(f"{BLOCK}/plan").json()
    answer = caller.request(
        "PUT", BLOCK, json={**table_of(document), "daily_maximum": "60 min"}, headers=held
    )
    assert answer.status_code == 200, answer.text
    assert answer.json()["counts"]["new_plan_count"] >= 1
    after, now_held = read(caller, BLOCK)
    assert now_held["If-Match"] == answer.headers["ETag"] != held["If-Match"]
    assert (before["daily_maximum_min"], after["daily_maximum_min"]) == (1440.0, 60.0)
    new_plan = caller.get(f"{BLOCK}/plan").json()
    assert new_plan["planned_min"] <= 60 < plan["planned_min"]
    old = caller.get(BLOCK, params={"date": "2026-07-13"}).json()
    assert old["daily_maximum_min"] == 1440.0


@pytest.mark.parametrize(
    ("method", "path", "body"),
    [
        ("PUT", FARM, {"farm": {"id": FARM_ID, "zone": "America/New_York"}}),
        ("DELETE", FARM, None),
        ("PUT", BLOCK, NEW_BLOCK),
        ("DELETE", BLOCK, None),
    ],
)
def test_a_change_must_say_what_it_starts_from(
    caller: Caller, method: str, path: str, body: Any
) -> None:
    state = read(caller)
    for headers in ({}, {"If-Match": ""}, {"If-Match": " "}):
        without = caller.request(method, path, json=body, headers=headers)
        assert (without.status_code, without.json()["type"]) == (
            428, "/problems/precondition-required",
        )  # fmt: skip
    for tag in ('"0"', 'W/"0"', "0", "W/" + state[1]["If-Match"]):
        stale = caller.request(method, path, json=body, headers={"If-Match": tag})
        assert (stale.status_code, stale.json()["type"]) == (
            412, "/problems/precondition-failed",
        ), tag  # fmt: skip
    assert read(caller) == state


def test_of_two_changes_from_one_state_the_second_is_refused(caller: Caller) -> None:
    document, _ = read(caller)
    _, held = read(caller, BLOCK)
    first = {**table_of(document), "name": "First"}
    assert caller.request("PUT", BLOCK, json=first, headers=held).status_code == 200
    second = {**table_of(document), "name": "Second"}
    assert caller.request("PUT", BLOCK, json=second, headers=held).status_code == 412
    assert read(caller, BLOCK)[0]["name"] == "First"


def test_a_new_block_is_planned_with_tomorrows_plan(caller: Caller) -> None:
    answer = caller.post(f"{FARM}/blocks", NEW_BLOCK)
    assert answer.status_code == 201, answer.text
    path = f"/v1/blocks/{FARM_ID}.west"
    assert read(caller, path)[1]["If-Match"] == answer.headers["ETag"]
    assert caller.get(f"{path}/plan").json()["day"] == PLAN_DAY.isoformat()
    assert caller.post(f"{FARM}/blocks", NEW_BLOCK).status_code == 409


def test_a_planting_year_ahead_is_stored_and_questioned(caller: Caller) -> None:
    answer = caller.post(f"{FARM}/blocks", NEW_BLOCK | {"planting_year": 2041})
    assert answer.status_code == 201
    (question,) = answer.json()["questions"]
    assert "planting year 2041 is after 2026" in question


def test_a_retired_block_is_gone_from_today_on_and_stays_on_record(caller: Caller) -> None:
    path = f"/v1/blocks/{BARE_BLOCK_ID}"
    _, held = read(caller, path)
    answer = caller.request("DELETE", path, headers=held)
    assert answer.json()["retired_count"] == 1
    assert caller.get(path).status_code == 404
    assert caller.get(path, params={"date": "2026-07-13"}).status_code == 200
    assert [each["id"] for each in read(caller)[0]["block"]] == ["north"]


def test_a_retired_farm_has_no_blocks_any_more(caller: Caller) -> None:
    _, held = read(caller)
    answer = caller.request("DELETE", FARM, headers=held)
    assert answer.json()["retired_count"] == 2
    document, _ = read(caller)
    assert (document["farm"]["id"], document.get("block", [])) == (FARM_ID, [])
    assert caller.get("/v1/blocks").json()["items"] == []


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"area": "12"}, "/area"),
        ({"area": "-1 ac"}, "/area"),
        ({"area": 3}, "/area"),
        ({"soil": {"texture": "cheese"}}, "/soil/texture"),
        ({"windows": ["04:00-10:00", "9-8"]}, "/windows/1"),
        ({"crop": "plastic"}, "/crop"),
        ({"supply": "lake"}, "/supply"),
        ({"colour": "blue"}, "/colour"),
        ({"id": "other"}, "/id"),
        ({"season": {"start": "02-30"}}, "/season/start"),
        ({"a/b~c": 1}, "/a~1b~0c"),
    ],
)
def test_a_block_is_held_to_the_rules_of_the_farm_file(
    caller: Caller, change: Any, pointer: str
) -> None:
    document, state = read(caller)
    _, held = read(caller, BLOCK)
    answer = caller.request("PUT", BLOCK, json={**table_of(document), **change}, headers=held)
    assert answer.status_code == 422, answer.text
    assert pointer in [each.get("pointer") for each in answer.json()["errors"]]
    assert read(caller)[1] == state


def test_an_id_that_is_taken_is_reported_by_place(caller: Caller) -> None:
    document, _ = read(caller)
    for path, body, pointer in (
        ("/v1/farms", document, "/farm/id"),
        (f"{FARM}/blocks", table_of(document), "/id"),
    ):
        answer = caller.request("POST", path, json=body)
        assert answer.status_code == 409, answer.text
        assert [each["pointer"] for each in answer.json()["errors"]] == [pointer]


def test_a_fault_of_a_farm_is_reported_by_place_in_the_document(caller: Caller) -> None:
    document, held = read(caller)
    document["block"][1]["row_spacing"] = "far"
    document["site"][0]["latitude"] = 135
    answer = caller.request("PUT", FARM, json=document, headers=held)
    assert {each["pointer"] for each in answer.json()["errors"]} >= {
        "/block/1/row_spacing", "/site/0/latitude",
    }  # fmt: skip


def test_counties_are_not_a_farms_to_bring(caller: Caller) -> None:
    document, held = read(caller)
    document["county"] = [{"code": "99001", "name": "Mine", "site": "home"}]
    answer = caller.request("PUT", FARM, json=document, headers=held)
    assert [each["pointer"] for each in answer.json()["errors"]] == ["/county"]


def test_a_change_of_today_leaves_a_late_evening_of_yesterday_as_it_was(
    caller: Caller, own_service: Service
) -> None:
    document, _ = read(caller)
    _, held = read(caller, BLOCK)
    assert isinstance(own_service.clock, FixedClock)
    own_service.clock.instant = RUN_AT + timedelta(days=1, hours=14)  # 09:00, two days later
    smaller = {**table_of(document), "root_depth": "0.2 m"}
    assert caller.request("PUT", BLOCK, json=smaller, headers=held).status_code == 200
    run = run_day(
        PLAN_DAY,
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
        source_order=own_service.source_order,
    )
    assert run.failures == []
    span = {"from": str(TODAY), "to": str(PLAN_DAY)}
    days = caller.get(f"{BLOCK}/balance", params=span).json()["items"]
    taw_mm = [day["taw_mm"] for day in days]
    assert taw_mm[1] == pytest.approx(taw_mm[0])
    with own_service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(BLOCK_ID, day=PLAN_DAY + timedelta(days=1))
    assert plan is not None
    assert plan.reasoning.root_depth_m == pytest.approx(0.2)


NEW_FARM: dict[str, Any] = {
    "farm": {"id": "new-farm", "name": "New (invented)", "zone": "America/New_York"},
    "site": [{"id": "meadow", "latitude": 35.9, "longitude": -79.2, "elevation": "510 ft"}],
    "supply": [{"id": "spring", "flow": "10 m3/h"}],
}


@pytest.fixture
def starter(own_service: Service) -> Caller:
    """Has made a farm that has a site and a supply, and no block yet."""
    starter = caller_of(own_service, "new-farm")
    made = starter.request("POST", "/v1/farms", json=NEW_FARM)
    assert made.status_code == 201, made.text
    assert starter.get("/v1/farms/new-farm").headers["ETag"] == made.headers["ETag"]
    return starter


def test_a_farm_without_blocks_keeps_its_site_for_the_first_one(starter: Caller) -> None:
    document, held = read(starter, "/v1/farms/new-farm")
    assert [each["id"] for each in document["site"]] == ["meadow"]
    answer = starter.request("POST", "/v1/farms/new-farm/blocks", json=NEW_BLOCK)
    assert answer.status_code == 201, answer.text
    block = starter.get("/v1/blocks/new-farm.west").json()
    assert (block["site_id"], block["supply_id"]) == ("meadow", "spring")
    assert read(starter, "/v1/farms/new-farm")[1] != held


def test_a_farm_without_blocks_can_be_put_back_with_its_first_one(starter: Caller) -> None:
    document, held = read(starter, "/v1/farms/new-farm")
    document["block"] = [NEW_BLOCK]
    answer = starter.request("PUT", "/v1/farms/new-farm", json=document, headers=held)
    assert answer.status_code == 200, answer.text
    assert starter.get("/v1/blocks/new-farm.west").json()["site_id"] == "meadow"


def test_a_farm_whose_last_block_is_retired_can_have_another(starter: Caller) -> None:
    starter.request("POST", "/v1/farms/new-farm/blocks", json=NEW_BLOCK)
    _, held = read(starter, "/v1/blocks/new-farm.west")
    assert starter.request("DELETE", "/v1/blocks/new-farm.west", headers=held).status_code == 200
    other = {**NEW_BLOCK, "id": "east"}
    assert starter.request("POST", "/v1/farms/new-farm/blocks", json=other).status_code == 201


def test_a_site_that_no_block_uses_yet_is_still_its_farms_own(
    starter: Caller, caller: Caller
) -> None:
    before, _ = read(starter, "/v1/farms/new-farm")
    document, held = read(caller)
    document["site"].append({**NEW_FARM["site"][0], "latitude": 34.0})
    for block in document["block"]:
        block["site"] = "home"
    answer = caller.request("PUT", FARM, json=document, headers=held)
    assert answer.status_code == 422, answer.text
    assert [each["pointer"] for each in answer.json()["errors"]] == ["/site/1/id"]
    rain = {"rain_mm": 4.0, "read_at": "2026-07-14T07:00:00-04:00"}
    assert caller.post("/v1/gauges/meadow/readings", rain).status_code == 404
    assert starter.post("/v1/gauges/meadow/readings", rain).status_code == 200
    assert read(starter, "/v1/farms/new-farm")[0] == before


def test_a_site_that_a_farm_names_no_more_is_free(starter: Caller, caller: Caller) -> None:
    document, held = read(starter, "/v1/farms/new-farm")
    document["site"][0]["id"] = "new-meadow"
    assert (
        starter.request("PUT", "/v1/farms/new-farm", json=document, headers=held).status_code == 200
    )
    theirs, held = read(caller)
    theirs["site"].append(NEW_FARM["site"][0])
    for block in theirs["block"]:
        block["site"] = "home"
    assert caller.request("PUT", FARM, json=theirs, headers=held).status_code == 200
