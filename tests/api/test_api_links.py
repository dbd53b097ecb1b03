"""The links of the OpenAPI document name what exists, and lead there."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import httpx
import pytest

from service.bootstrap import Service
from tests.api.callers import Caller, caller_of
from tests.api.invented_farm import BLOCK_ID, FARM_ID
from tests.api.openapi_snapshot import SNAPSHOT
from tests.api.test_farms import BLOCK, FARM, NEW_BLOCK, read

DOCUMENT: dict[str, Any] = json.loads(SNAPSHOT.read_text(encoding="utf-8"))
OPERATIONS: dict[str, tuple[str, str, dict[str, Any]]] = {
    operation["operationId"]: (method.upper(), path, operation)
    for path, operations in DOCUMENT["paths"].items()
    for method, operation in operations.items()
}
PAUSE = {
    "starts_local": "2026-07-16T06:00",
    "ends_local": "2026-07-16T18:00",
    "reason": "spraying",
}


def _links() -> Iterator[tuple[str, str, dict[str, Any]]]:
    for name, (_, _, operation) in OPERATIONS.items():
        for answer in operation["responses"].values():
            for title, link in answer.get("links", {}).items():
                yield name, title, link


def _value(expression: str, request: dict[str, Any], answer: httpx.Response) -> Any:
    """What a runtime expression stands for (OpenAPI 3.1, "Runtime Expressions")."""
    if "{" in expression:
        return re.sub(r"\{(.*?)\}", lambda each: str(_value(each[1], request, answer)), expression)
    source, _, pointer = expression.partition("#")
    kind, _, name = source.removeprefix("$").partition(".")
    if name.startswith("header."):
        return answer.headers[name.removeprefix("header.")]
    if name.startswith("path."):
        return request[name.removeprefix("path.")]
    found = request["body"] if kind == "request" else answer.json()
    for part in pointer.split("/")[1:]:
        found = found[int(part)] if isinstance(found, list) else found[part]
    return found


def test_links_name_operations_and_give_what_these_need() -> None:
    checked = 0
    for name, title, link in _links():
        _, _, target = OPERATIONS[link["operationId"]]
        parameters = {each["name"]: each for each in target.get("parameters", ())}
        assert set(link["parameters"]) <= set(parameters), (name, title)
        needed = {each for each, what in parameters.items() if what["in"] == "path"}
        assert needed <= set(link["parameters"]), (name, title)
        assert link["description"]
        checked += 1
    assert checked > 40


def test_every_page_leads_to_the_next_one() -> None:
    pages = {name for name, title, link in _links() if title == "next"}
    with_cursor = {
        name
        for name, (_, _, operation) in OPERATIONS.items()
        if "cursor" in {each["name"] for each in operation.get("parameters", ())}
    }
    assert pages == with_cursor and "list_blocks" in pages


@pytest.fixture
def region(own_service: Service) -> Caller:
    return caller_of(own_service, None)


def _followed(
    caller: Caller, name: str, answer: httpx.Response, **request: Any
) -> dict[str, tuple[int, str]]:
    """The status of what each link of an answer leads to, and its address."""
    assert answer.is_success, answer.text
    links = OPERATIONS[name][2]["responses"][str(answer.status_code)]["links"]
    found = {}
    for title, link in links.items():
        method, path, target = OPERATIONS[link["operationId"]]
        given = {
            each: _value(expression, request, answer)
            for each, expression in link["parameters"].items()
        }
        query = {}
        for parameter in target.get("parameters", ()):
            value = given.get(parameter["name"])
            if parameter["in"] == "path":
                path = path.replace(f"{{{parameter['name']}}}", str(value))
            elif parameter["in"] == "query" and value is not None:
                query[parameter["name"]] = value
        status = caller.get(path, params=query).status_code if method == "GET" else 0
        found[title] = (status, path)
    return found


def test_links_lead_on(region: Caller) -> None:
    first = region.get("/v1/farms", params={"page_size": 1})
    assert _followed(region, "list_farms", first)["next"] == (200, "/v1/farms")
    farms = region.get("/v1/farms", params={"cursor": first.json()["next_cursor"]})
    assert farms.json()["items"] == region.get(first.json()["next"]).json()["items"]
    assert _followed(region, "list_farms", farms)["plans"] == (200, f"{FARM}/plans")
    assert {status for status, _ in _followed(region, "list_farms", farms).values()} == {200}
    blocks = region.get("/v1/blocks", params={"page_size": 1, "farm": FARM_ID})
    assert {status for status, _ in _followed(region, "list_blocks", blocks).values()} == {200}

    plan = region.get(f"{BLOCK}/plan")
    led = _followed(region, "get_plan", plan)
    assert led["why"] == (200, f"{BLOCK}/why")
    assert led["report"] == (0, "/v1/runs")
    why = region.get(led["why"][1])
    assert _followed(region, "explain_plan", why)["plan"] == (200, f"{BLOCK}/plan")


def test_links_of_changes_lead_to_what_was_changed(region: Caller) -> None:
    document, _ = read(region)
    put = region.request("PUT", FARM, json=document, headers={"If-Match": "*"})
    led = _followed(region, "replace_farm", put, farm_id=FARM_ID)
    assert led["plans"] == (200, f"{FARM}/plans") and led["retire"] == (0, FARM)

    made = region.request("POST", f"{FARM}/blocks", json=NEW_BLOCK)
    led = _followed(region, "create_block", made, body=NEW_BLOCK)
    assert led["block"] == (200, f"/v1/blocks/{FARM_ID}.{NEW_BLOCK['id']}")

    paused = region.post(f"{BLOCK}/pauses", PAUSE)
    led = _followed(region, "pause_block", paused, block_id=BLOCK_ID)
    assert region.request("DELETE", led["cancel"][1]).status_code == 200
