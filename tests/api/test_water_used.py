"""The water that a farm used, and the farm at a glance, over HTTP."""

from __future__ import annotations

import csv

import pytest

from tests.api.conftest import Client
from tests.api.invented_farm import FARM_ID

PATH = f"/v1/farms/{FARM_ID}/water-used"


def test_the_sums_and_what_is_left_of_a_permit(client: Client) -> None:
    found = client.json(PATH, params={"by": ["block", "month"], "limit": "450 mm"})
    assert found["by"] == ["block", "month"]
    assert found["total"]["volume_l"] == pytest.approx(
        sum(each["volume_l"] for each in found["items"]), abs=0.01
    )
    # 450 mm over 0.75 ac and 0.4 ha.
    assert found["limit_volume_l"] == pytest.approx(450 * (0.75 * 4046.8564224 + 4000.0))
    assert found["left_volume_l"] == pytest.approx(
        found["limit_volume_l"] - found["total"]["volume_l"], abs=0.01
    )


def test_the_sums_are_also_a_table(client: Client) -> None:
    answer = client.get(PATH, headers={"Accept": "text/csv"})
    header, *lines = csv.reader(answer.text.splitlines())
    items = client.json(PATH)["items"]
    assert header[:3] == ["month", "volume_l", "volume_gal"]
    assert [line[0] for line in lines] == [each["labels"][0] for each in items]


@pytest.mark.parametrize(
    "query",
    [
        {"by": "colour"},
        {"limit": "much"},
        {"supply": "nowhere"},
        {"from": "2026-07-14", "to": "2026-07-01"},
    ],
)
def test_what_cannot_be_added_up_is_refused(client: Client, query: dict[str, str]) -> None:
    answer = client.get(PATH, params=query)
    assert answer.status_code == 422, answer.text


def test_an_unknown_farm_is_not_found(client: Client) -> None:
    assert client.get("/v1/farms/nowhere/water-used").status_code == 404


def test_the_board_has_each_block_once_the_worst_first(client: Client) -> None:
    board = client.json(f"/v1/farms/{FARM_ID}/board")
    used = [each["used_raw_fraction"] for each in board["items"]]
    assert (len(used), used) == (2, sorted(used, reverse=True))
    for each in board["items"]:
        plan = client.json(f"/v1/blocks/{each['block_id']}/plan")
        assert (each["plan_day"], each["status"]) == (plan["day"], plan["status"])
    assert client.get("/v1/farms/nowhere/board").status_code == 404
