"""The tools in this process: what they give, to whom, and what they say when they give nothing."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import jsonschema_rs
import pytest
from mcp import Client
from mcp_types import Tool
from sqlalchemy.engine import URL

from service.agent_tools.catalogue import CATALOGUE
from service.api.access import OPEN_CALLER
from service.bootstrap import Service
from service.errors import StorageFailed
from service.operations.access.manage_keys import Right
from service.operations.audit.read_audit import read_audit
from service.records.audit import ActorKind, Entrance
from tests.agent_tools.agents import (
    MODERN,
    OLDER,
    agent,
    answer,
    call,
    holder,
    names,
    refusal,
)
from tests.api.callers import caller_of
from tests.api.invented_farm import (
    BLOCK_ID,
    FARM_ID,
    YOUNG_BLOCK_ID,
    bring_weather,
    copied_service,
    load,
)

COUNTIES = """
[[site]]
id = "hot"
latitude = 35.0
longitude = -79.0
elevation = "300 ft"
zone = "America/New_York"
[site.normals]
et0_mm = [1.6, 2.2, 3.3, 4.5, 5.2, 5.9, 6.2, 5.6, 4.3, 3.1, 2.1, 1.6]

[[site]]
id = "cool"
latitude = 36.5
longitude = -81.5
elevation = "3000 ft"
zone = "America/New_York"
[site.normals]
et0_mm = [0.9, 1.3, 2.2, 3.2, 3.9, 4.3, 4.4, 3.9, 3.0, 2.0, 1.2, 0.8]

[[site]]
id = "mild"
latitude = 35.5
longitude = -80.0
elevation = "900 ft"
zone = "America/New_York"
[site.normals]
et0_mm = [1.2, 1.8, 2.9, 4.1, 4.8, 5.3, 5.4, 4.9, 3.9, 2.7, 1.7, 1.2]

[[county]]
code = "99001"
name = "Cool (invented)"
site = "cool"

[[county]]
code = "99003"
name = "Hot (invented)"
site = "hot"

[[county]]
code = "99005"
name = "Mild (invented)"
site = "mild"
"""
RUN = {
    "block_id": BLOCK_ID,
    "started_at": "2026-07-14T05:10:00-04:00",
    "duration_min": 35,
}
RAIN = {"site_id": "home", "rain_mm": 4.5, "read_at": "2026-07-14T08:00:00-04:00"}
READERS = ["list_blocks", "get_plan", "list_plans", "explain_plan", "get_balance"]


@pytest.fixture(scope="module")
def region(planned_database: URL, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """The invented farms with three invented counties; the forecast of the cool one is short."""
    with copied_service(planned_database, tmp_path_factory.mktemp("agents")) as made:
        load(made, COUNTIES)
        bring_weather(made, site_id="hot", warmer_c=4.0, forecast_day_count=12)
        bring_weather(made, site_id="mild", forecast_day_count=12)
        bring_weather(made, site_id="cool", warmer_c=-6.0, forecast_day_count=7)
        yield made


@pytest.mark.parametrize(
    ("question", "path", "tool", "arguments"),
    [
        ("one block", f"/v1/blocks/{BLOCK_ID}/plan", "get_plan", {"block_id": BLOCK_ID}),
        ("a farm", f"/v1/farms/{FARM_ID}/plans", "list_plans", {"farm_id": FARM_ID}),
        ("why", f"/v1/blocks/{BLOCK_ID}/why", "explain_plan", {"block_id": BLOCK_ID}),
        ("ledger", f"/v1/blocks/{BLOCK_ID}/balance", "get_balance", {"block_id": BLOCK_ID}),
    ],
)
def test_a_tool_gives_what_the_api_answers(
    region: Service, question: str, path: str, tool: str, arguments: dict[str, Any]
) -> None:
    over_the_api = caller_of(region, FARM_ID, Right.PLAN_READ).get(path).json()
    asked = call(region, holder(region, FARM_ID, Right.PLAN_READ), tool, **arguments)
    assert answer(asked) == over_the_api, question


def test_blocks_are_those_of_the_keys_farm(region: Service) -> None:
    mine = answer(call(region, holder(region, FARM_ID, Right.PLAN_READ), "list_blocks"))
    assert [each["block_id"] for each in mine["items"]] == ["test-farm.north", "test-farm.south"]
    assert mine["next_after"] is None
    all_of_them = answer(call(region, holder(region, None, Right.PLAN_READ), "list_blocks"))
    assert YOUNG_BLOCK_ID in [each["block_id"] for each in all_of_them["items"]]


def test_a_long_list_is_read_in_parts(region: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("service.agent_tools.work.LARGEST_PAGE_SIZE", 1)
    reader = holder(region, FARM_ID, Right.PLAN_READ)
    first = answer(call(region, reader, "list_blocks"))
    assert first["next_after"] == first["items"][0]["block_id"] == "test-farm.north"
    rest = answer(call(region, reader, "list_blocks", after=first["next_after"]))
    assert [each["block_id"] for each in rest["items"]] == ["test-farm.south"]
    assert rest["next_after"] is None


def test_an_adviser_asks_which_counties_need_most_water_for_blueberry_next_week(
    region: Service,
) -> None:
    adviser = holder(region, None, Right.ADVISER)
    found = answer(call(region, adviser, "compare_counties", week="next", crop="blueberry"))
    assert [row["name"] for row in found["items"][:2]] == ["Hot (invented)", "Mild (invented)"]
    assert [row["rank"] for row in found["items"]] == [1, 2, 3]
    assert {row["week"] for row in found["items"]} == {"2026-W30"}  # the clock is on 14 July
    first = found["items"][0]
    assert first["net_need"]["depth_mm"] > found["items"][2]["net_need"]["depth_mm"] > 0.0
    assert [(row["rests_on"], row["days_forecast"]) for row in found["items"]] == [
        ("forecast", 7), ("forecast", 7), ("stand-in", 2),
    ]  # fmt: skip
    assert found["reference"]["season_is_estimate"] is True
    assert found["county_count"] == 3
    two = answer(
        call(region, adviser, "compare_counties", week="next", weeks=2, crop="blueberry", most=1)
    )
    assert [row["week"] for row in two["items"]] == ["2026-W30", "2026-W31"]
    assert two["county_count"] == 3
    path = "/v1/counties/water-need?week=next&crop=blueberry"
    over_the_api = caller_of(region, None, Right.ADVISER).get(path).json()
    by_code = sorted(found["items"], key=lambda row: str(row["county_code"]))
    assert by_code == over_the_api["items"]


@pytest.mark.parametrize("tool", ["get_plan", "explain_plan", "get_balance"])
def test_another_farms_block_is_reported_like_one_that_does_not_exist(
    region: Service, tool: str
) -> None:
    reader = holder(region, FARM_ID, Right.PLAN_READ)
    theirs = refusal(call(region, reader, tool, block_id=YOUNG_BLOCK_ID))
    nobodys = refusal(call(region, reader, tool, block_id="no-farm.young"))
    assert theirs == nobodys


def test_a_key_of_one_farm_reaches_nothing_of_another(region: Service) -> None:
    worker = holder(region, FARM_ID)
    blocks = refusal(call(region, worker, "list_blocks", farm_id="later-farm"))
    plans = refusal(call(region, worker, "list_plans", farm_id="later-farm"))
    run = refusal(call(region, worker, "report_run", **{**RUN, "block_id": YOUNG_BLOCK_ID}))
    rain = refusal(call(region, worker, "record_rain", **{**RAIN, "site_id": "hill"}))
    block = refusal(call(region, worker, "compare_counties", block=YOUNG_BLOCK_ID))
    for text in (blocks, plans, run, rain, block):
        assert "there is no" in text or "there is nothing" in text


@pytest.mark.parametrize(
    ("scopes", "tools"),
    [
        ([Right.PLAN_READ], READERS),
        ([Right.ADVISER], ["compare_counties"]),
        ([Right.WATER_WRITE], ["report_run", "record_rain"]),
        ([Right.FARM_WRITE], []),
        (list(Right), [each.name for each in CATALOGUE]),
    ],
)
@pytest.mark.parametrize("mode", [MODERN, OLDER])
def test_an_agent_is_offered_what_its_key_may_do(
    region: Service, scopes: list[Right], tools: list[str], mode: str
) -> None:
    caller = holder(region, None, *scopes)
    assert agent(region, caller, names, mode=mode) == tools


def test_a_key_that_reads_cannot_write(own_service: Service) -> None:
    reader = holder(own_service, FARM_ID, Right.PLAN_READ, Right.ADVISER)
    for tool, arguments in (("report_run", RUN), ("record_rain", RAIN)):
        assert "'water:write'" in refusal(call(own_service, reader, tool, **arguments))
    assert _changes(own_service) == []


def test_whoever_has_no_key_only_reads(own_service: Service) -> None:
    assert agent(own_service, OPEN_CALLER, names) == [*READERS, "compare_counties"]
    assert "'water:write'" in refusal(call(own_service, OPEN_CALLER, "report_run", **RUN))
    assert answer(call(own_service, OPEN_CALLER, "get_plan", block_id=BLOCK_ID))["pulses"]


def test_a_run_is_stored_once_and_noted_with_the_key(own_service: Service) -> None:
    worker = holder(own_service, FARM_ID, Right.WATER_WRITE)
    first = answer(call(own_service, worker, "report_run", **RUN))
    again = answer(call(own_service, worker, "report_run", **RUN))
    assert first["counts"]["created_count"] == 1
    assert (again["counts"]["created_count"], again["counts"]["changed_count"]) == (0, 0)
    corrected = answer(call(own_service, worker, "report_run", **{**RUN, "duration_min": 20}))
    assert corrected["counts"]["changed_count"] == 1
    assert _changes(own_service) == [("runs", worker.key_id), ("runs", worker.key_id)]


def test_rain_is_booked_and_noted_with_the_key(own_service: Service) -> None:
    worker = holder(own_service, FARM_ID, Right.WATER_WRITE)
    booked = answer(call(own_service, worker, "record_rain", **RAIN))
    assert sum(day["rain_mm"] for day in booked["booked"]) == pytest.approx(4.5)
    assert booked["farm_id"] == FARM_ID
    assert answer(call(own_service, worker, "record_rain", **RAIN))["counts"]["created_count"] == 0
    assert _changes(own_service) == [("rain", worker.key_id)]
    unlikely = {**RAIN, "rain_mm": 1500.0, "note": "typed again"}
    assert "confirm" in refusal(call(own_service, worker, "record_rain", **unlikely))


@pytest.mark.parametrize(
    ("tool", "arguments", "where", "allowed"),
    [
        (
            "report_run",
            {"duration_min": -5},
            "duration_min: found -5",
            "greater than or equal",
        ),
        ("report_run", {"duration_min": "long"}, "duration_min: found 'long'", "valid number"),
        ("report_run", {"started_at": "2026-07-14T05:10"}, "started_at: found", "with its offset"),
        ("report_run", {"started_at": "2027-01-01T05:10:00Z"}, "started_at: found", "has passed"),
        ("report_run", {"volume": 3}, "volume: found 3", "not permitted"),
        ("record_rain", {"rain_mm": 2001}, "rain_mm: found 2001", "less than or equal to 2000"),
        ("record_rain", {"read_at": None}, "read_at: found None", "with its offset"),
    ],
)
def test_a_mistake_is_reported_with_where_what_and_allowed(
    own_service: Service, tool: str, arguments: dict[str, Any], where: str, allowed: str
) -> None:
    right = RUN if tool == "report_run" else RAIN
    caller = holder(own_service, FARM_ID, Right.WATER_WRITE)
    text = refusal(call(own_service, caller, tool, **{**right, **arguments}))
    assert f"  - {where}" in text and "; allowed: " in text and allowed in text, text
    assert _changes(own_service) == []


def test_further_mistakes(region: Service) -> None:
    reader = holder(region, None, Right.PLAN_READ, Right.ADVISER)
    span = {"block_id": BLOCK_ID, "first_day": "2026-07-10", "last_day": "2026-07-01"}
    assert "last_day: found 2026-07-01; allowed" in refusal(
        call(region, reader, "get_balance", **span)
    )
    assert "crop: found both or neither" in refusal(call(region, reader, "compare_counties"))
    assert "no plan" in refusal(
        call(region, reader, "get_plan", block_id=BLOCK_ID, day="2026-07-01")
    )
    assert refusal(call(region, reader, "water_the_garden")) == "Unknown tool: water_the_garden"


def test_a_fault_of_the_service_says_nothing_of_its_inside(
    region: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    for error in (StorageFailed("disk I/O error in /secret"), ValueError("password in here")):

        def fail(*_: object, failure: Exception = error, **__: object) -> None:
            raise failure

        monkeypatch.setattr("service.agent_tools.work.read_plan_text", fail)
        text = refusal(call(region, holder(region, None), "get_plan", block_id=BLOCK_ID))
        assert "secret" not in text and "password" not in text


def test_what_a_tool_is_and_gives_can_be_read_by_a_program(region: Service) -> None:
    async def ask(client: Client) -> list[Tool]:
        return (await client.list_tools()).tools

    for tool in agent(region, holder(region, None), ask):
        writes = tool.name in {"report_run", "record_rain"}
        hints = tool.annotations
        assert hints is not None and tool.title and tool.description
        assert (hints.read_only_hint, hints.destructive_hint) == (not writes, writes)
        assert hints.idempotent_hint is True and hints.open_world_hint is False
        assert tool.input_schema["additionalProperties"] is False
        for name, parameter in tool.input_schema["properties"].items():
            assert parameter.get("description"), f"{tool.name}: {name}"
        assert tool.output_schema is not None and tool.output_schema["type"] == "object"
        jsonschema_rs.meta.validate(tool.input_schema)
        jsonschema_rs.meta.validate(tool.output_schema)


def _changes(service: Service) -> list[tuple[str, str]]:
    """The changes that agents made, and with which key."""
    found = read_audit(FARM_ID, count=10, unit_of_work=service.unit_of_work).entries
    return [
        (entry.subject.value, entry.actor.actor_id)
        for entry in found
        if entry.actor.entrance is Entrance.AGENT_TOOLS and entry.actor.kind is ActorKind.KEY
    ]
