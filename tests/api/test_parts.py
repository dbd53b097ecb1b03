"""The parts of a block over the API."""

from __future__ import annotations

import pytest

from service.api.app import create_app
from service.bootstrap import Service
from tests.api.conftest import Client
from tests.api.invented_farm import BARE_BLOCK_ID

PATH = f"/v1/blocks/{BARE_BLOCK_ID}/parts"


@pytest.fixture
def client(own_service: Service) -> Client:
    return Client(create_app(own_service, host="127.0.0.1"))


def test_the_list_comes_with_its_order_its_checks_and_its_cautions(client: Client) -> None:
    answer = client.request("GET", f"{PATH}?inject=fertiliser,acid&water=surface&zone_count=2")
    assert answer.status_code == 200, answer.text
    found = answer.json()
    amounts = {part["key"]: part["amount"] for part in found["parts"]}
    assert (amounts["injector"], amounts["zone-valve"]) == (2, 2)
    assert found["amounts"]["zone_count"] == 2
    keys = [each["key"] for each in found["order"]]
    assert keys.index("injector-fertiliser") < keys.index("filter") < keys.index("injector-acid")
    assert found["filter"]["grade"] == "moderate"
    assert [each["key"] for each in found["checklists"]] == ["visit", "spring", "winter"]
    assert found["cautions"][0]["key"] == "local-code"
    assert found["notes"]


def test_an_empty_list_of_substances_is_no_injector(client: Client) -> None:
    found = client.request("GET", f"{PATH}?inject=").json()
    assert found["injection_places"] == []
    assert "injector" not in {part["key"] for part in found["parts"]}


@pytest.mark.parametrize("query", ["inject=poison", "water=moon", "zone_count=0", "colour=red"])
def test_what_cannot_be_is_refused(client: Client, query: str) -> None:
    assert client.request("GET", f"{PATH}?{query}").status_code == 422


def test_another_block_is_not_found(client: Client) -> None:
    assert client.request("GET", "/v1/blocks/test-farm.none/parts").status_code == 404


def test_notes_of_the_last_visit_come_along(client: Client) -> None:
    assert client.request("GET", PATH).json()["last_visit"] == []
    farm_id = BARE_BLOCK_ID.partition(".")[0]
    note = {"day": "2026-07-13", "text": "Row 12 dry.", "block_id": BARE_BLOCK_ID, "visitor": "Ana"}
    kept = client.request(
        "POST",
        f"/v1/farms/{farm_id}/visit-notes",
        json=note,
        headers={"Idempotency-Key": '"a note"'},
    )
    assert kept.status_code == 200, kept.text
    (visited,) = client.request("GET", PATH).json()["last_visit"]
    assert visited == {"note_id": visited["note_id"], **note}
