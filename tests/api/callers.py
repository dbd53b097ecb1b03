"""API callers for tests, each with its own key and the headers that reports need."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

import httpx
from fastapi import FastAPI

from service.api.app import create_app
from service.bootstrap import Service
from service.operations.access.manage_keys import Right, make_key
from service.records.access import ApiKey
from tests.api.conftest import Client

ALL_RIGHTS = tuple(str(right) for right in Right)


def new_key(
    service: Service,
    farm_id: str | None,
    *scopes: str,
    name: str | None = None,
    expires_at: Any = None,
) -> tuple[ApiKey, str]:
    """A key with its own holder, with all rights if none are named."""
    return make_key(
        name or f"holder {uuid4().hex[:8]}",
        farm_id=farm_id,
        scopes=scopes or ALL_RIGHTS,
        expires_at=expires_at,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )


def see_news(app: FastAPI) -> None:
    """Make the next request look for news, as the first one after a second does."""
    app.state.news._looked_at = -float("inf")


@dataclass(frozen=True, slots=True)
class Caller:
    """Asks an application with a key, or without one."""

    app: FastAPI
    key: str | None = None
    headers: dict[str, str] = field(default_factory=dict)

    def request(self, method: str, path: str, **options: Any) -> httpx.Response:
        """The answer to one request."""
        headers = {**self.headers, **options.pop("headers", {})}
        if self.key is not None:
            headers.setdefault("Authorization", f"Bearer {self.key}")
        see_news(self.app)
        return Client(self.app).request(method, path, headers=headers, **options)

    def get(self, path: str, **options: Any) -> httpx.Response:
        """The answer to a GET."""
        return self.request("GET", path, **options)

    def post(self, path: str, body: Any, *, once: str | None = None) -> httpx.Response:
        """The answer to a POST with an idempotency key."""
        key = f'"{once or uuid4()}"'
        return self.request("POST", path, json=body, headers={"Idempotency-Key": key})


def caller_of(service: Service, farm_id: str | None, *scopes: str) -> Caller:
    """A caller with a new key, on its own application."""
    return Caller(create_app(service), new_key(service, farm_id, *scopes)[1])
