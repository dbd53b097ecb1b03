"""A planned invented farm, and a client that asks the application in this process."""

from __future__ import annotations

import asyncio
import json
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

import httpx
import pytest
from fastapi import FastAPI

from service.api.app import create_app
from service.bootstrap import Service
from tests.api.invented_farm import DATABASE_NAME, invented_service, opened_service


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
                transport=transport, base_url="http://rillwright.test"
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


@pytest.fixture(scope="session")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A planned farm that tests only read."""
    with invented_service(tmp_path_factory.mktemp("api")) as made:
        yield made


@pytest.fixture(scope="session")
def app(service: Service) -> FastAPI:
    """The application on the farm that tests only read."""
    return create_app(service)


@pytest.fixture
def client(app: FastAPI) -> Client:
    """A client of that application."""
    return Client(app)


@pytest.fixture(scope="session")
def planned_database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The planned farm's database, for tests to copy: planning it anew takes a second each time."""
    folder = tmp_path_factory.mktemp("planned")
    with invented_service(folder):
        pass  # the last connection to close puts all of SQLite's rows in the one file
    return folder / DATABASE_NAME


@pytest.fixture
def own_service(tmp_path: Path, planned_database: Path) -> Iterator[Service]:
    """A planned farm that one test may change."""
    shutil.copyfile(planned_database, tmp_path / DATABASE_NAME)
    with opened_service(tmp_path) as made:
        yield made


@pytest.fixture
def failing_client(service: Service) -> Callable[[Exception], Client]:
    """Makes a client of an application whose database raises the error given."""

    def make(error: Exception) -> Client:
        def fail(*, write: bool) -> NoReturn:
            raise error

        return Client(
            create_app(Service(settings=service.settings, unit_of_work=fail, clock=service.clock))
        )

    return make
