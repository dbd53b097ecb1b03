"""Agents for tests: the official client, in this process or through the web application."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any, TypeVar

import httpx2
from fastapi import FastAPI
from mcp import Client
from mcp.client.streamable_http import streamable_http_client
from mcp_types import CallToolResult, TextContent

from service.agent_tools.asking import Desk
from service.agent_tools.tool_server import ToolServer
from service.api.access import Caller
from service.api.county_desk import CountyDesk
from service.api.news import News
from service.bootstrap import Service
from tests.api.callers import new_key

Got = TypeVar("Got")
Work = Callable[[Client], Awaitable[Got]]
MODERN, OLDER = "auto", "legacy"
"""Without a handshake (since 2026-07-28), and with one."""


def holder(service: Service, farm_id: str | None, *scopes: str) -> Caller:
    """The caller with a new key."""
    key, _ = new_key(service, farm_id, *scopes)
    return Caller(key.key_id, key.name, key.farm_id, key.scopes)


def agent(service: Service, caller: Caller, work: Work[Got], *, mode: str = MODERN) -> Got:
    """What an agent in this process finds out."""

    async def find_caller(_ctx: Any) -> Caller:
        return caller

    async def ask() -> Got:
        desk = Desk(service, CountyDesk(News(service.unit_of_work)))
        async with Client(ToolServer(desk, find_caller), mode=mode) as client:
            return await work(client)

    return asyncio.run(ask())


def over_http(
    app: FastAPI, token: str | None, work: Work[Got], *, mode: str = MODERN, host: str = "127.0.0.1"
) -> Got:
    """What an agent finds out through the web application."""
    headers = {} if token is None else {"Authorization": f"Bearer {token}"}

    async def ask() -> Got:
        async with (
            app.router.lifespan_context(app),
            httpx2.AsyncClient(transport=httpx2.ASGITransport(app=app), headers=headers) as http,
            Client(streamable_http_client(f"http://{host}/mcp", http_client=http), mode=mode) as it,
        ):
            return await work(it)

    return asyncio.run(ask())


def calling(name: str, **arguments: Any) -> Work[CallToolResult]:
    """The call of one tool."""

    async def work(client: Client) -> CallToolResult:
        return await client.call_tool(name, arguments)

    return work


def call(service: Service, caller: Caller, name: str, **arguments: Any) -> CallToolResult:
    """The result of one tool, in this process."""
    return agent(service, caller, calling(name, **arguments))


def answer(result: CallToolResult) -> dict[str, Any]:
    """What a tool gave."""
    assert not result.is_error, words(result)
    content: dict[str, Any] = result.structured_content
    return content


def words(result: CallToolResult) -> str:
    """The text of a result."""
    (content,) = result.content
    assert isinstance(content, TextContent)
    return content.text


def refusal(result: CallToolResult) -> str:
    """Why a tool gave nothing."""
    assert result.is_error, words(result)
    assert result.structured_content is None
    return words(result)


async def names(client: Client) -> list[str]:
    """The tools that an agent is offered."""
    return [tool.name for tool in (await client.list_tools()).tools]
