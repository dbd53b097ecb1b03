"""Starts the web server around the application."""

from __future__ import annotations

from typing import Any, Final

import uvicorn
from fastapi import FastAPI

from service.api.app import create_app
from service.api.bounded_http import BoundedHttp
from service.api.tools_door import MakeTools
from service.bootstrap import Service
from service.metrics import Siblings

SHUT_DOWN_WITHIN_S: Final = 15
"""For answers under way when the server is asked to stop."""


def run_server(
    service: Service, *, host: str, port: int, make_tools: MakeTools | None = None
) -> None:
    """Serve a service whose database is ready on an address of this machine, until stopped."""
    uvicorn.run(
        create_app(service, host=host, make_tools=make_tools),
        port=port,
        **_options(service, host=host),
    )


def make_server(
    service: Service,
    *,
    host: str,
    make_tools: MakeTools | None = None,
    siblings: Siblings | None = None,
) -> tuple[uvicorn.Server, FastAPI]:
    """The same as parts, for who listens himself and stops it: the server and its application."""
    app = create_app(service, host=host, make_tools=make_tools, siblings=siblings)
    config = uvicorn.Config(app, **_options(service, host=host))
    return uvicorn.Server(config), app


def _options(service: Service, *, host: str) -> dict[str, Any]:
    settings = service.settings
    return {
        "host": host,
        "log_config": None,  # its lines go to the same place as ours
        "log_level": "warning",
        "access_log": False,  # a log line per request would halve the requests per second
        "http": BoundedHttp,
        "ws": "none",
        "limit_concurrency": settings.most_connections,
        "timeout_graceful_shutdown": SHUT_DOWN_WITHIN_S,
        # Its own default believes whatever a program on this machine says about the caller.
        "proxy_headers": bool(settings.trusted_proxies),
        "forwarded_allow_ips": [str(each) for each in settings.trusted_proxies],
    }
