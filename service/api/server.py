"""Starts the web server around the application."""

from __future__ import annotations

import uvicorn

from service.api.app import create_app
from service.api.bounded_http import BoundedHttp
from service.api.tools_door import MakeTools
from service.bootstrap import Service


def run_server(
    service: Service, *, host: str, port: int, make_tools: MakeTools | None = None
) -> None:
    """Serve a service whose database is ready on an address of this machine, until stopped."""
    settings = service.settings
    uvicorn.run(
        create_app(service, host=host, make_tools=make_tools),
        host=host,
        port=port,
        log_config=None,  # its lines go to the same place as ours
        log_level="warning",
        access_log=False,  # a log line per request would halve the requests per second
        http=BoundedHttp,
        ws="none",
        limit_concurrency=settings.most_connections,
        # Its own default believes whatever a program on this machine says about the caller.
        proxy_headers=bool(settings.trusted_proxies),
        forwarded_allow_ips=[str(each) for each in settings.trusted_proxies],
    )
