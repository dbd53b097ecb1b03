"""The two ways to the tools: an address beside the API, and the standard streams of a command."""

from __future__ import annotations

import asyncio
import sys
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from mcp import Client, StdioServerParameters
from mcp_types import CallToolResult

from service.agent_tools.entrances import make_door, serve_streams
from service.api.app import create_app
from service.bootstrap import Service
from service.errors import SettingsInvalid
from service.operations.access.manage_keys import Right
from service.operations.audit.read_audit import read_audit
from service.records.audit import Entrance
from tests.agent_tools.agents import MODERN, OLDER, answer, calling, names, over_http, refusal
from tests.agent_tools.test_tools import READERS, RUN
from tests.api.callers import Caller, new_key
from tests.api.invented_farm import BLOCK_ID, FARM_ID, YOUNG_BLOCK_ID

PING = {"jsonrpc": "2.0", "id": 1, "method": "ping"}
ACCEPT = {"Accept": "application/json, text/event-stream"}


def served(service: Service) -> FastAPI:
    """The application with the tools."""
    return create_app(service, make_tools=make_door)


@pytest.mark.parametrize("mode", [MODERN, OLDER])
def test_an_agent_with_a_key_reads_and_writes_over_http(own_service: Service, mode: str) -> None:
    app = served(own_service)
    key, token = new_key(own_service, FARM_ID, Right.PLAN_READ, Right.WATER_WRITE)
    assert over_http(app, token, names, mode=mode) == [*READERS, "report_run", "record_rain"]
    plan = answer(over_http(served(own_service), token, calling("get_plan", block_id=BLOCK_ID)))
    assert plan == Caller(app, token).get(f"/v1/blocks/{BLOCK_ID}/plan").json()
    over_http(served(own_service), token, calling("report_run", **RUN), mode=mode)
    noted = read_audit(FARM_ID, count=1, unit_of_work=own_service.unit_of_work).entries[0]
    assert (noted.actor.actor_id, noted.actor.entrance) == (key.key_id, Entrance.AGENT_TOOLS)


@pytest.mark.parametrize("mode", [MODERN, OLDER])
def test_a_key_of_one_farm_sees_nothing_of_another_over_http(
    own_service: Service, mode: str
) -> None:
    _, token = new_key(own_service, FARM_ID, Right.PLAN_READ)
    theirs = calling("get_plan", block_id=YOUNG_BLOCK_ID)
    assert "another farm's" in refusal(over_http(served(own_service), token, theirs, mode=mode))
    run = calling("report_run", **RUN)
    assert "'water:write'" in refusal(over_http(served(own_service), token, run, mode=mode))


def post(app: FastAPI, *, token: str | None = None, content: Any = PING, **headers: str) -> Any:
    """The answer to one request as an agent sends it."""
    sent = {**ACCEPT, **{name.replace("_", "-"): value for name, value in headers.items()}}

    if token is not None:
        sent["Authorization"] = f"Bearer {token}"

    async def ask() -> Any:
        async with (
            app.router.lifespan_context(app),
            httpx.AsyncClient(
                transport=httpx.ASGITransport(app=app), base_url="http://127.0.0.1"
            ) as http,
        ):
            return await http.post("/mcp", json=content, headers=sent)

    return asyncio.run(ask())


def test_without_a_key_the_tools_only_read_and_only_from_this_machine(own_service: Service) -> None:
    assert over_http(served(own_service), None, names) == [*READERS, "compare_counties"]
    for header, value in (("Host", "evil.example"), ("X_Forwarded_For", "192.0.2.7")):
        assert post(served(own_service), **{header: value}).status_code == 401
    new_key(own_service, FARM_ID)
    refused = post(served(own_service))
    assert refused.status_code == 401
    assert refused.json()["type"] == "/problems/key-required"
    assert refused.headers["WWW-Authenticate"].startswith("Bearer")
    assert post(served(own_service), token="rw_unknown").status_code == 401


def test_a_page_of_somebody_elses_gets_nothing(own_service: Service) -> None:
    _, token = new_key(own_service, FARM_ID)
    for origin in ("http://evil.example", "null", "http://127.0.0.1:9"):
        assert post(served(own_service), token=token, Origin=origin).status_code == 403
    assert post(served(own_service), token=token, Origin="http://127.0.0.1").status_code == 200


def test_the_limits_are_those_of_the_api(own_service: Service) -> None:
    few = own_service.settings.model_copy(update={"requests_per_key": "2/minute"})
    limited = Service(settings=few, unit_of_work=own_service.unit_of_work, clock=own_service.clock)
    _, token = new_key(own_service, FARM_ID)
    app = create_app(limited)
    caller = Caller(app, token)
    assert [caller.get("/v1/blocks").status_code for _ in range(2)] == [200, 200]
    beyond = Caller(app, token).request("POST", "/mcp", json=PING)
    assert beyond.status_code == 429
    assert int(beyond.headers["Retry-After"]) > 0
    large = {**PING, "params": {"filler": "x" * 1_000_000}}
    assert post(served(own_service), token=token, content=large).status_code == 413


@pytest.mark.parametrize("method", ["GET", "DELETE", "PUT"])
def test_nothing_stays_open(own_service: Service, method: str) -> None:
    _, token = new_key(own_service, FARM_ID)
    refused = Caller(served(own_service), token).request(method, "/mcp")
    assert (refused.status_code, refused.headers["Allow"]) == (405, "POST")


def test_an_application_without_tools_has_no_such_address(own_service: Service) -> None:
    assert Caller(create_app(own_service)).request("POST", "/mcp", json=PING).status_code == 404


@pytest.fixture
def streams(own_service: Service) -> StdioServerParameters:
    """The command as an agent starts it, with a key that reads."""
    _, token = new_key(own_service, FARM_ID, Right.PLAN_READ)
    return StdioServerParameters(
        command=sys.executable,
        args=["-m", "service", "tools"],
        env={
            "RILLWRIGHT_DATABASE_URL": own_service.settings.database_url,
            "RILLWRIGHT_AGENT_KEY": token,
        },
        cwd=Path(__file__).resolve().parents[2],
    )


def test_a_command_gives_the_tools_on_its_streams(
    streams: StdioServerParameters,
) -> None:
    async def ask() -> tuple[list[str], CallToolResult, CallToolResult]:
        async with Client(streams) as client:
            return (
                await names(client),
                await client.call_tool("get_plan", {"block_id": BLOCK_ID}),
                await client.call_tool("report_run", RUN),
            )

    offered, plan, run = asyncio.run(ask())
    assert offered == READERS
    assert answer(plan)["block_id"] == BLOCK_ID
    assert "'water:write'" in refusal(run)


@pytest.mark.parametrize("token", [None, "rw_unknown"])
def test_the_command_refuses_whoever_has_no_key_once_there_is_one(
    own_service: Service, token: str | None
) -> None:
    new_key(own_service, FARM_ID)
    with pytest.raises(SettingsInvalid, match=r"RILLWRIGHT_AGENT_KEY.*rillwright keys add"):
        asyncio.run(serve_streams(own_service, token))
