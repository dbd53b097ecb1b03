"""Past seasons of a block under several programs, in the API."""

from __future__ import annotations

import pytest

from tests.api.conftest import Client
from tests.api.invented_farm import BLOCK_ID

PATH = f"/v1/blocks/{BLOCK_ID}/comparison"
SPAN = {"from": "2026-07-01", "to": "2026-07-13"}


def test_the_programs_of_a_span_stand_side_by_side(client: Client) -> None:
    found = client.json(PATH, params={"rule": "38 mm/week", "nitrogen": "80 kg/ha", **SPAN})
    assert found["block_id"] == BLOCK_ID
    assert [each["program"] for each in found["items"]] == ["rule", "weekly", "daily", "foreseen"]
    rule = found["items"][0]
    # 13 days at 38 mm in seven; whole minutes.
    assert rule["gross_mm"] == pytest.approx(13 / 7 * 38.0, rel=0.02)
    assert rule["water_cost"] is None
    assert rule["nitrogen_lost_kg_per_ha"] >= 0.0
    # One year: the totals are its figures.
    assert found["totals"] == [
        {name: value for name, value in each.items() if name != "year"} for each in found["items"]
    ]


@pytest.mark.parametrize(
    "query",
    [
        {"rule": "38 mm"},
        {"rule": "38 mm/week", "days_a_week": "9"},
        {"rule": "38 mm/week", "from": "2026-07-13", "to": "2026-07-01"},
        {"rule": "38 mm/week", "from": "2016-07-13", "to": "2026-07-01"},
        {"rule": "38 mm/week", "water_price": "cheap"},
        {},
    ],
)
def test_what_cannot_be_compared_is_refused(client: Client, query: dict[str, str]) -> None:
    answer = client.get(PATH, params={**SPAN, **query})
    assert answer.status_code == 422, answer.text


def test_an_unknown_block_is_not_found(client: Client) -> None:
    params = {"rule": "38 mm/week", **SPAN}
    assert client.get("/v1/blocks/nowhere.none/comparison", params=params).status_code == 404


def test_of_a_block_without_reports_its_own_program_cannot_be_asked_for(client: Client) -> None:
    answer = client.get(PATH, params={"rule": "own", **SPAN})
    assert answer.status_code == 422
    assert "reported runs" in answer.text
