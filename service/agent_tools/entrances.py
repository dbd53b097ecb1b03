"""The two ways to the tools: the standard streams of a command, and an address beside the API."""

from __future__ import annotations

from typing import Any, Final
from urllib.parse import urlsplit

from mcp import MCPError
from mcp.server.context import ServerRequestContext
from mcp.server.transport_security import TransportSecuritySettings
from mcp_types import INVALID_REQUEST
from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.types import Receive, Scope, Send

from service.agent_tools.asking import Desk
from service.agent_tools.tool_server import ToolServer
from service.api.access import Caller, Gate, Refusal
from service.api.body_guard import LARGEST_BODY_BYTES
from service.api.county_desk import CountyDesk
from service.api.news import News
from service.api.problem_types import FORBIDDEN
from service.api.problems import problem_response
from service.api.tools_door import ToolsDoor
from service.bootstrap import Service
from service.errors import Fault, SettingsInvalid

KEY_SETTING: Final = "RILLWRIGHT_AGENT_KEY"
# Who may ask, and with which Host, is decided by the gate in front, as for the API.
_CHECKED_BEFORE: Final = TransportSecuritySettings(enable_dns_rebinding_protection=False)


def make_door(service: Service, counties: CountyDesk) -> ToolsDoor:
    """The tools for the web application, which has checked the key when a request gets here.

    Each request stands for itself and is answered with one JSON document: nothing is kept between
    requests, so that any process may answer the next one and no session can be taken over.
    """
    server = ToolServer(Desk(service, counties), _caller_of_request)
    server.streamable_http_app(
        json_response=True,
        stateless_http=True,
        max_request_body_size=LARGEST_BODY_BYTES,
        transport_security=_CHECKED_BEFORE,
    )
    return ToolsDoor(_OwnOrigin(server), server.session_manager.run)


async def _caller_of_request(ctx: ServerRequestContext[Any, Any]) -> Caller:
    request: Request | None = ctx.request
    if request is None:
        raise RuntimeError("a request came in that no gate has seen")
    caller: Caller = request.state.caller
    return caller


class _OwnOrigin:
    """Refuses what a browser sends for a page of somebody else's, as the protocol demands."""

    def __init__(self, server: ToolServer) -> None:
        self._server = server

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on unless it has the Origin of another site."""
        headers = Headers(scope=scope)
        origin = headers.get("origin")
        if origin is not None and urlsplit(origin).netloc != headers.get("host"):
            await problem_response(Request(scope), FORBIDDEN)(scope, receive, send)
            return
        await self._server.session_manager.handle_request(scope, receive, send)


async def serve_streams(service: Service, token: str | None) -> None:
    """Serve the tools on the standard streams, until the other side closes them.

    Raises SettingsInvalid unless ``token`` is a valid key, or None while no key was ever made.
    """
    news = News(service.unit_of_work)
    gate = Gate(service, news, is_loopback=True)

    async def find() -> Caller | Refusal:
        await news.look()
        return gate.find_without_key() if token is None else gate.find_holder(token.encode())

    async def find_caller(_ctx: ServerRequestContext[Any, Any]) -> Caller:
        found = await find()
        if isinstance(found, Refusal):
            raise MCPError(code=INVALID_REQUEST, message=found.kind.detail)
        return found

    if isinstance(await find(), Refusal):
        raise SettingsInvalid(
            "tools are given to the holder of a key",
            [
                Fault(
                    KEY_SETTING,
                    "nothing" if token is None else "a key that is unknown, revoked or expired",
                    "a key that `rillwright keys add` has made; none is needed only while there is"
                    " no key yet",
                )
            ],
        )
    await ToolServer(Desk(service, CountyDesk(news)), find_caller).run_stdio_async()
