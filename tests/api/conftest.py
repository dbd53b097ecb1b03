"""A planned invented farm, and a client that calls the application in this process."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NoReturn

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy.engine import URL

from service.api import news
from service.api.app import create_app
from service.bootstrap import Service
from tests.api.invented_farm import FARM_ID, copied_service

if TYPE_CHECKING:
    from tests.api.callers import Caller


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not JSON")


@dataclass(frozen=True, slots=True)
class Client:
    """Sends single requests to an application, as a server would hand them over."""

    app: FastAPI

    def request(self, method: str, path: str, **options: Any) -> httpx.Response:
        """The answer to one request."""

        async def ask() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.app)
            async with httpx.AsyncClient(
                transport=transport, base_url="http://127.0.0.1"
            ) as client:
                return await client.request(method, path, **options)

        return asyncio.run(ask())

    def get(self, path: str, **options: Any) -> httpx.Response:
        """The answer to a GET."""
        return self.request("GET", path, **options)

    def json(self, path: str, **options: Any) -> Any:
        """The content of a successful GET; NaN and infinity are refused as they are not JSON."""
        answer = self.get(path, **options)
        assert answer.status_code == 200, answer.text
        return json.loads(answer.content, parse_constant=_refuse_constant)


class Ticker:
    """Monotonic seconds that a test sets; they decide when news is looked for."""

    def __init__(self) -> None:
        self.seconds = 100.0

    def __call__(self) -> float:
        """The seconds set."""
        return self.seconds


@pytest.fixture
def ticker(monkeypatch: pytest.MonkeyPatch) -> Ticker:
    """The seconds by which a process knows how old its copies are."""
    made = Ticker()
    monkeypatch.setattr(news, "monotonic", made)
    return made


@pytest.fixture(scope="session")
def service(planned_database: URL, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A planned farm that tests only read."""
    with copied_service(planned_database, tmp_path_factory.mktemp("api")) as made:
        yield made


@pytest.fixture(scope="session")
def app(service: Service) -> FastAPI:
    """The application on the farm that tests only read."""
    return create_app(service)


@pytest.fixture
def client(app: FastAPI) -> Client:
    """A client of that application."""
    return Client(app)


@pytest.fixture
def failing_client(service: Service) -> Callable[[Exception], Client]:
    """Makes a client of an application whose database raises the error given."""

    def make(error: Exception) -> Client:
        def fail(*, write: bool, farm_keys: Collection[int] | None = None) -> NoReturn:
            raise error

        return Client(
            create_app(Service(settings=service.settings, unit_of_work=fail, clock=service.clock))
        )

    return make


@pytest.fixture
def caller(own_service: Service) -> Caller:
    """A caller with all rights on a farm that the test may change."""
    from tests.api.callers import caller_of  # which knows this file's client

    return caller_of(own_service, FARM_ID)
