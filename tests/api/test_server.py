"""The web server around the application."""

from __future__ import annotations

from typing import Any

import pytest
import uvicorn

from service.api.server import SHUT_DOWN_WITHIN_S, make_server, run_server
from service.bootstrap import Service


def test_a_server_waits_for_answers_no_longer_than_its_limit_however_it_is_started(
    monkeypatch: pytest.MonkeyPatch, service: Service
) -> None:
    asked: dict[str, Any] = {}
    monkeypatch.setattr(uvicorn, "run", lambda _app, **options: asked.update(options))
    run_server(service, host="127.0.0.1", port=1)
    server, _ = make_server(service, host="127.0.0.1")
    limits = (asked["timeout_graceful_shutdown"], server.config.timeout_graceful_shutdown)
    assert limits == (SHUT_DOWN_WITHIN_S, SHUT_DOWN_WITHIN_S)
