"""Wraps every request: its id, HEAD, security headers, and the handling of crashes.

A plain ASGI wrapper, because Starlette's own middleware base halves the requests per second.
"""

from __future__ import annotations

import time
import uuid
from collections.abc import Callable, Mapping
from typing import Final

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.api.answers import VARY
from service.api.history import FIRST_ERROR, Fields
from service.api.problem_types import INTERNAL_ERROR
from service.api.problems import problem_response
from service.logs import bind_log_context, get_logger, unbind_log_context
from service.metrics import UNMATCHED, RequestMetrics

REQUEST_ID_HEADER: Final = "X-Request-Id"
VARY_OF_PAGES: Final = "Cookie, Accept, Accept-Language"
_log = get_logger(__name__)


class RequestFrame:
    """Gives each request an id, answers HEAD where there is GET, and turns a crash into a problem.

    The id is made here, never taken from the caller, so that nothing from outside reaches the log.
    A crash is logged in full under that id; the caller gets only the id.
    """

    def __init__(
        self, app: ASGIApp, metrics: RequestMetrics, notices: Mapping[str, Fields]
    ) -> None:
        self._app = app
        self._metrics = metrics
        self._notices = notices

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request; other protocols (lifespan) pass through untouched."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        began = time.perf_counter()
        status = INTERNAL_ERROR.status
        request_id = str(uuid.uuid4())
        scope.setdefault("state", {})["request_id"] = request_id
        is_head = scope["method"] == "HEAD"
        in_api = scope["path"].startswith("/v1/")
        has_begun = False

        inner = {**scope, "method": "GET"} if is_head else scope

        async def send_framed(message: Message) -> None:
            nonlocal has_begun, status
            if message["type"] == "http.response.start":
                has_begun = True
                status = message["status"]
                headers = MutableHeaders(scope=message)
                headers[REQUEST_ID_HEADER] = request_id
                headers["X-Content-Type-Options"] = "nosniff"
                # What no route says more about is for this caller alone, and only now.
                headers.setdefault("Cache-Control", "no-cache" if "ETag" in headers else "no-store")
                headers.setdefault("Vary", VARY if in_api else VARY_OF_PAGES)
                if self._notices and status < FIRST_ERROR:
                    route = f"{inner['method']} {_route_of(inner)}"
                    for name, value in self._notices.get(route, ()):
                        headers.append(name, value)
                allowed = headers.get("Allow")
                if allowed is not None and "GET" in allowed and "HEAD" not in allowed:
                    headers["Allow"] = f"{allowed}, HEAD"
            elif is_head and message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        bound = bind_log_context(request_id=request_id)
        try:
            await self._guard(inner, receive, send_framed, begun=lambda: has_begun)
        finally:
            unbind_log_context(**bound)
            self._metrics.note(
                scope["method"],
                _route_of(inner),
                status,
                duration_s=time.perf_counter() - began,
            )

    async def _guard(
        self, scope: Scope, receive: Receive, send: Send, *, begun: Callable[[], bool]
    ) -> None:
        try:
            await self._app(scope, receive, send)
        except Exception:
            _log.exception(
                "request %s failed",
                scope["state"]["request_id"],
                method=scope["method"],
                route=_route_of(scope),
            )
            if begun():
                raise
            response = problem_response(Request(scope), INTERNAL_ERROR)
            await response(scope, receive, send)


def _route_of(scope: Scope) -> str:
    """The path as declared, never as the caller wrote it, since those are endless.

    A route may know its path only from its router on; the segments before that are the prefix under
    which the router was included.
    """
    declared = getattr(scope.get("route"), "path", None)
    if not isinstance(declared, str) or ":path}" in declared:
        return UNMATCHED
    before = scope["path"].count("/") - declared.count("/")
    prefix = scope["path"].split("/")[1 : 1 + before] if before > 0 else []
    return "".join(f"/{part}" for part in prefix) + declared
