"""The coming week as things are and with a change, over HTTP."""

from __future__ import annotations

from typing import Any

import pytest

from tests.api.conftest import Client
from tests.api.invented_farm import BLOCK_ID, FARM_ID

PATH = f"/v1/farms/{FARM_ID}/what-if"


def test_each_block_has_its_week_now_and_with_the_change(client: Client) -> None:
    found = client.json(PATH, params={"pump_down_days_count": 2, "block": BLOCK_ID})
    assert len(found["days"]) == 7
    for block in found["items"]:
        plan = client.json(f"/v1/blocks/{block['block_id']}/plan")
        now, changed = block["now"], block["changed"]
        assert now["days"][0]["expected_min"] == plan["planned_min"]
        assert [day["expected_min"] for day in changed["days"][:2]] == [0.0, 0.0]
        assert now["volume_l"] == pytest.approx(
            sum(day["volume_l"] for day in now["days"]), abs=0.01
        )
        assert block["differs"]


def test_what_is_not_known_is_null(client: Client) -> None:
    (block,) = client.json("/v1/farms/later-farm/what-if", params={"skip_tomorrow": True})["items"]
    assert block["now"]["expected_min"] is None and block["now"]["days"][0]["volume_l"] is None


@pytest.mark.parametrize(
    "query",
    [
        {},
        {"pump_down_days_count": 8},
        {"flow": "half"},
        {"supply": "creek", "rain": "1 in"},
        {"windows": "20:00-06:00"},
        {"sun": "no"},
    ],
)
def test_a_question_that_cannot_be_answered_is_refused(
    client: Client, query: dict[str, Any]
) -> None:
    answer = client.get(PATH, params=query)
    assert answer.status_code == 422, answer.text


def test_an_unknown_farm_is_not_found(client: Client) -> None:
    answer = client.get("/v1/farms/nowhere/what-if", params={"skip_tomorrow": True})
    assert answer.status_code == 404
