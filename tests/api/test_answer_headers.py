"""Every header field that an answer carries is described, and every field described is sent.

``test_contract.py`` holds thousands of made-up requests to the same; here each operation meets each
status that it can be brought to.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import httpx
import pytest

from service.api.app import create_app
from service.bootstrap import Service
from service.errors import StorageFailed
from service.operations.access.manage_keys import Right
from tests.api.callers import Caller, caller_of
from tests.api.conftest import Client
from tests.api.header_fields import header_faults
from tests.api.invented_farm import BLOCK_ID, FARM_ID
from tests.api.openapi_snapshot import SNAPSHOT, answers_of
from tests.api.test_farms import BLOCK, FARM, read, table_of

DOCUMENT: dict[str, Any] = json.loads(SNAPSHOT.read_text(encoding="utf-8"))
KNOWN = {"farm_id": FARM_ID, "block_id": BLOCK_ID, "site_id": "home", "supply_id": "test-farm.well"}
OPERATIONS: list[tuple[str, str, dict[str, Any]]] = [
    (method.upper(), path, operation)
    for path, operations in DOCUMENT["paths"].items()
    for method, operation in operations.items()
]
Ask = Callable[..., httpx.Response]


@dataclass
class Seen:
    """Holds answers to the document, and counts them by status."""

    statuses: Counter[int] = field(default_factory=Counter)

    def ask_all(self, ask: Ask, **options: Any) -> Iterator[httpx.Response]:
        """The answers of all operations to requests with the parameters that are needed."""
        for method, path, operation in OPERATIONS:
            address, query = _filled(path, operation)
            answer = ask(method, address, params=query, **options)
            self.hold(operation, answer)
            yield answer

    def hold(self, operation: dict[str, Any], answer: httpx.Response) -> None:
        """Hold one answer to what the document says of it."""
        self.statuses[answer.status_code] += 1
        described = answers_of(DOCUMENT, operation).get(str(answer.status_code))
        assert described is not None, (operation["operationId"], answer.status_code)
        faults = header_faults(described, DOCUMENT["components"]["headers"], answer.headers)
        assert faults == [], (operation["operationId"], answer.status_code)


def _filled(path: str, operation: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    query = {}
    for parameter in operation.get("parameters", ()):
        name, schema = parameter["name"], parameter["schema"]
        examples = [*schema.get("examples", ()), *schema.get("enum", ()), "2026-07-14"]
        if parameter["in"] == "path":
            path = path.replace(f"{{{name}}}", str(KNOWN.get(name, examples[0])))
        elif parameter["in"] == "query" and parameter["required"]:
            query[name] = examples[0]
    return path, query


def test_what_is_answered_from_stock(own_service: Service) -> None:
    seen, caller = Seen(), caller_of(own_service, None)
    for method, path, operation in OPERATIONS:
        if method != "GET":
            continue
        address, query = _filled(path, operation)
        answer = caller.get(address, params=query)
        seen.hold(operation, answer)
        if "304" in operation["responses"] and answer.status_code == 200:
            held = {"If-None-Match": answer.headers["ETag"]}
            again = caller.get(address, params=query, headers=held)
            assert again.status_code == 304
            seen.hold(operation, again)
        table = {"Accept": "text/csv", "Accept-Encoding": "gzip"}
        if "text/csv" in operation["responses"]["200"].get("content", {}):
            for same in ({}, {"If-None-Match": "*"}):
                seen.hold(operation, caller.get(address, params=query, headers={**table, **same}))
        seen.hold(operation, caller.get(address, params={**query, "no-such-parameter": "1"}))
        seen.hold(operation, caller.get(address, headers={"Accept": "application/x-none"}))
    assert seen.statuses[200] > 25 and seen.statuses[304] > 12
    assert seen.statuses[422] > 25 and seen.statuses[406] > 25


def test_what_is_refused(own_service: Service) -> None:
    seen = Seen()
    patient = own_service.settings.model_copy(update={"refused_keys_per_address": "1000/second"})
    service = replace(own_service, settings=patient)
    by_link = sum(not operation["security"] for _, _, operation in OPERATIONS)
    stranger = Caller(create_app(service))
    other_farm = caller_of(service, "no-such-farm")
    few_rights = [
        caller_of(service, None, *(right for right in Right if right is not lacking))
        for lacking in Right
    ]
    for caller in (stranger, other_farm, *few_rights):
        list(seen.ask_all(caller.request))
    assert seen.statuses[401] == len(OPERATIONS) - by_link
    by_any_key = 1  # the history of the API
    assert seen.statuses[403] >= len(OPERATIONS) - by_link - by_any_key
    assert seen.statuses[404] > 40


def test_what_is_asked_too_often(own_service: Service) -> None:
    seen = Seen()
    strict = own_service.settings.model_copy(
        update={"requests_per_key": "1/hour", "requests_per_address": "1/hour"}
    )
    caller = caller_of(replace(own_service, settings=strict), None)
    caller.get("/v1/status")
    caller.get("/v1/calendars/none.ics")
    list(seen.ask_all(caller.request))
    assert seen.statuses == {429: len(OPERATIONS)}


@pytest.mark.parametrize(
    ("error", "status"), [(StorageFailed("the disk is full"), 503), (RuntimeError("a bug"), 500)]
)
def test_what_fails(
    failing_client: Callable[[Exception], Client], error: Exception, status: int
) -> None:
    seen = Seen()
    list(seen.ask_all(failing_client(error).request))
    assert seen.statuses == {status: len(OPERATIONS)}


def test_what_is_created_changed_and_retired(caller: Caller) -> None:
    seen, by_name = Seen(), {each["operationId"]: each for _, _, each in OPERATIONS}
    document, _ = read(caller)
    table = {**table_of(document), "id": "created"}
    created = caller.request("POST", f"{FARM}/blocks", json=table)
    seen.hold(by_name["create_block"], created)
    address = created.headers["Location"]
    found = caller.get(address)
    assert (found.status_code, found.headers["ETag"]) == (200, created.headers["ETag"])
    for name, path, body in (
        ("replace_block", BLOCK, table_of(document)),
        ("replace_farm", FARM, document),
        ("retire_block", BLOCK, None),
        ("retire_farm", FARM, None),
    ):
        method = "PUT" if name.startswith("replace") else "DELETE"
        for headers in ({}, {"If-Match": '"none"'}, {"If-Match": "*"}):
            options = {"headers": headers} if body is None else {"headers": headers, "json": body}
            seen.hold(by_name[name], caller.request(method, path, **options))
    assert seen.statuses == {201: 1, 428: 4, 412: 4, 200: 4}
    farm = caller_of(caller.app.state.service, "new-farm")
    document["farm"]["id"] = "new-farm"
    for each in document["site"]:
        each["id"] = "new-home"
    for each in document["block"]:
        each["site"] = "new-home"
    made = farm.request("POST", "/v1/farms", json={**document, "controller": []})
    assert made.status_code == 201, made.text
    seen.hold(by_name["create_farm"], made)
    assert made.headers["Location"] == "/v1/farms/new-farm"
    assert farm.get(made.headers["Location"]).headers["ETag"] == made.headers["ETag"]
