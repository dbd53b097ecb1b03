"""The application as a whole: pages without outside assets, HEAD, and a light start."""

from __future__ import annotations

import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urljoin, urlsplit

import pytest

from service.bootstrap import Service
from tests.api.conftest import Client
from tests.api.invented_farm import BLOCK_ID

ROOT = Path(__file__).resolve().parents[2]
HOST = "127.0.0.1"
HEAVY = {"pandas", "xarray", "pyet", "numba", "scipy"}
PAGES = ["/docs", "/problems", "/problems/not-found"]


class _Links(HTMLParser):
    """Collects the addresses that a page loads or points to, and its inline scripts."""

    def __init__(self) -> None:
        super().__init__()
        self.loaded: list[str] = []
        self.followed: list[str] = []
        self.inline_script_count = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        address = named.get("src") or named.get("href")
        if address is not None:
            (self.followed if tag == "a" else self.loaded).append(address)
        elif tag == "script":
            self.inline_script_count += 1


def _links(client: Client, path: str) -> _Links:
    answer = client.get(path)
    assert answer.status_code == 200
    links = _Links()
    links.feed(answer.text)
    return links


@pytest.mark.parametrize("path", PAGES)
def test_a_page_loads_and_links_nothing_from_another_host(client: Client, path: str) -> None:
    links = _links(client, path)
    for address in links.loaded + links.followed:
        absolute = urljoin(f"http://{HOST}{path}", address)
        assert urlsplit(absolute).hostname == HOST
        assert client.get(absolute).status_code == 200, address
    assert links.inline_script_count == 0
    policy = client.get(path).headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "http:" not in policy and "https:" not in policy


def test_the_documentation_loads_its_program_and_the_openapi_document(client: Client) -> None:
    loaded = _links(client, "/docs").loaded
    assert "docs/assets/swagger-ui-bundle.js" in loaded
    assert "docs/assets/swagger-ui.css" in loaded
    start = client.get("/docs/start.js")
    assert start.headers["Content-Type"].startswith("text/javascript")
    assert '"openapi.json"' in start.text


def test_the_documentation_does_not_ask_an_outside_validator(client: Client) -> None:
    # Swagger UI shows a badge from validator.swagger.io unless its address is set to null.
    assert "validatorUrl: null" in client.get("/docs/start.js").text
    assert "url(http" not in client.get("/docs/assets/swagger-ui.css").text


def test_the_root_says_what_this_is_and_where_to_go(client: Client) -> None:
    root = client.json("/")
    assert root["service"] == "rillwright"
    for name in ("blocks", "docs", "openapi", "problems"):
        assert client.get(root[name]).status_code == 200


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/docs",
        "/openapi.json",
        "/problems",
        "/docs/assets/swagger-ui.css",
        "/v1/blocks",
        f"/v1/blocks/{BLOCK_ID}",
        f"/v1/blocks/{BLOCK_ID}/plan",
        f"/v1/blocks/{BLOCK_ID}/why",
        f"/v1/blocks/{BLOCK_ID}/balance",
        "/v1/blocks/no.where",
        "/nowhere",
    ],
)
def test_head_answers_as_get_does_without_the_body(client: Client, path: str) -> None:
    # Compressed, an answer has a length that only GET works out (RFC 9110, section 9.3.2).
    as_it_is = {"Accept-Encoding": "identity"}
    get = client.get(path, headers=as_it_is)
    head = client.request("HEAD", path, headers=as_it_is)
    assert head.content == b""
    assert head.status_code == get.status_code

    def lasting(headers: dict[str, str]) -> dict[str, str]:
        return {name: value for name, value in headers.items() if name != "x-request-id"}

    assert lasting(dict(head.headers)) == lasting(dict(get.headers))
    assert int(head.headers["Content-Length"]) == len(get.content)


def test_every_answer_has_its_own_request_id(client: Client) -> None:
    ids = {client.get("/v1/blocks").headers["X-Request-Id"] for _ in range(3)}
    assert len(ids) == 3


def test_browsers_may_not_guess_another_content_type(client: Client) -> None:
    for path in ("/v1/blocks", "/docs", "/nowhere"):
        assert client.get(path).headers["X-Content-Type-Options"] == "nosniff"


def test_a_server_answers_plans_without_loading_what_only_runs_need(service: Service) -> None:
    program = f"""
import asyncio, sys
import httpx
from service.api.app import create_app
from service.bootstrap import open_service
from service.settings import Settings

app = create_app(open_service(Settings(database_url={service.settings.database_url!r})))
app.openapi()


async def ask():
    transport = httpx.ASGITransport(app=app)
    async with httpx.AsyncClient(transport=transport, base_url="http://{HOST}") as client:
        for tail in ("", "/plan", "/why", "/balance"):
            answer = await client.get("/v1/blocks/{BLOCK_ID}" + tail)
            assert answer.status_code == 200, tail


asyncio.run(ask())
print(sorted(sys.modules.keys() & {HEAVY!r}))
"""
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "[]"
