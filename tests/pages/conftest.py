"""Invented farms and counties behind the pages, and a reader who keeps cookies."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from html import unescape
from pathlib import Path
from typing import Any

import httpx
import orjson
import pytest
from fastapi import FastAPI
from sqlalchemy.engine import URL

from service.api.app import create_app
from service.bootstrap import Service
from service.operations.access.manage_keys import make_key
from service.operations.review.import_boundaries import import_boundaries
from tests.api.invented_farm import copied_service, load, opened_service
from tests.databases import copied, lent

COUNTIES = """
[[site]]
id = "home"
latitude = 35.91
longitude = -79.22
elevation = "510 ft"
zone = "America/New_York"

[[site]]
id = "far"
latitude = 35.2
longitude = -80.1
elevation = "510 ft"
zone = "America/New_York"

[[county]]
code = "X01"
name = "Alder <County> (invented)"
site = "home"

[[county]]
code = "X02"
name = "=Birch (invented)"
site = "far"
"""
BOUNDARIES = orjson.dumps(
    {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {"code": code},
                "geometry": {"type": "Polygon", "coordinates": [ring]},
            }
            for code, ring in (
                ("X01", [[-79.6, 35], [-78.6, 35], [-78.4, 36.4], [-79.6, 36.2], [-79.6, 35]]),
                ("X02", [[-79.6, 35], [-79.6, 36.2], [-80.8, 36], [-80.7, 34.7], [-79.6, 35]]),
            )
        ],
    }
)
"""Invented outlines of the two counties, which share a border."""
_TOKEN = re.compile(r'name="token" value="([^"]*)"')


def token_in(page: str) -> str:
    """The token of the forms of a page."""
    found = _TOKEN.search(page)
    assert found is not None
    return found[1]


@dataclass(slots=True)
class Reader:
    """Somebody at a browser: keeps cookies, sends the token of the page that holds the form."""

    app: FastAPI
    cookies: httpx.Cookies = field(default_factory=httpx.Cookies)
    origin: str = "http://127.0.0.1"
    headers: dict[str, str] = field(default_factory=dict)

    def request(self, method: str, path: str, **options: Any) -> httpx.Response:
        """One request, no redirect followed."""

        async def ask() -> httpx.Response:
            async with httpx.AsyncClient(
                transport=httpx.ASGITransport(app=self.app),
                base_url=self.origin,
                cookies=self.cookies,
                headers=self.headers,
            ) as client:
                answer = await client.request(method, path, **options)
                self.cookies = client.cookies
                return answer

        return asyncio.run(ask())

    def get(self, path: str, **options: Any) -> httpx.Response:
        """A page."""
        return self.request("GET", path, **options)

    def text(self, path: str) -> str:
        """What a page that is there says."""
        answer = self.get(path)
        assert answer.status_code == 200, (path, answer.status_code, answer.text[:2000])
        return unescape(answer.text)

    def send(self, page: str, action: str | None = None, **fields: str) -> httpx.Response:
        """Fill in a form of a page and send it."""
        return self.send_again(self.token_of(page), action or page, **fields)

    def token_of(self, page: str) -> str:
        """The token of a page that holds a form."""
        return token_in(self.get(page).text)

    def send_again(self, token: str, action: str, **fields: str) -> httpx.Response:
        """Send a form of a page that was opened before."""
        return self.request("POST", action, data={"token": token, **fields})

    def sign_in(self, key: str) -> httpx.Response:
        """Sign in with a key."""
        return self.send("/sign-in", key=key)


def bring_boundaries(service: Service) -> None:
    """Import the outlines of the two counties."""
    import_boundaries(
        BOUNDARIES,
        source="Invented Survey",
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )


@pytest.fixture(scope="session")
def region_database(
    planned_database: URL, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[URL]:
    """The planned farm's database with two counties, which tests copy."""
    with copied(planned_database, tmp_path_factory.mktemp("region")) as url:
        with opened_service(url) as made:
            load(made, COUNTIES)
            bring_boundaries(made)
        yield url


@pytest.fixture
def service(region_database: URL, tmp_path: Path) -> Iterator[Service]:
    """Two farms, one evening's plans, two counties."""
    with lent(region_database, tmp_path) as url, opened_service(url) as made:
        yield made


@pytest.fixture
def reader(service: Service) -> Reader:
    """Somebody on the machine itself, where no key was ever made."""
    return Reader(create_app(service))


@pytest.fixture(scope="session")
def unchanged_app(
    region_database: URL, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[FastAPI]:
    """An application whose farms no test changes."""
    with copied_service(region_database, tmp_path_factory.mktemp("pages")) as made:
        yield create_app(made)


@pytest.fixture
def looker(unchanged_app: FastAPI) -> Reader:
    """Somebody on the machine itself who stores nothing."""
    return Reader(unchanged_app)


def key_for(service: Service, *scopes: str, farm_id: str | None = "test-farm") -> str:
    """A key that opens what its scopes name."""
    _, token = make_key(
        "Ana <b>",
        farm_id=farm_id,
        scopes=scopes,
        expires_at=None,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    return token


def farm_of_many(block_count: int, *, depletion_mm: float = 0.0) -> str:
    """A farm of so many like blocks, whose root zones lack so much on the day they are loaded."""
    blocks = "".join(
        f"""
[[block]]
id = "b{number}"
crop = "grape-wine"
area = "0.4 ha"
row_spacing = "2.5 m"
emitter_spacing = "0.6 m"
emitter_flow = "2 L/h"
soil = {{ texture = "loam" }}
initial_depletion = "{depletion_mm:g} mm"
"""
        for number in range(block_count)
    )
    return f"""
[farm]
id = "many"
name = "Many (invented)"
zone = "America/New_York"
[[site]]
id = "home"
latitude = 35.91
longitude = -79.22
elevation = "510 ft"
[[supply]]
id = "well"
flow = "400 gpm"
{blocks}"""
