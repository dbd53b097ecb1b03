"""Blocks and their balances over HTTP: pages, every number with its origin, no NaN."""

from __future__ import annotations

import csv
from datetime import date, timedelta
from itertools import pairwise

import pytest

from service.bootstrap import Service
from service.operations.reading.read_balance import read_balance
from service.records.farms import BLOCK_NUMBERS
from service.records.ledger import ALLEY_NUMBERS, LEDGER_NUMBERS
from tests.api.conftest import Client
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FIRST_DAY,
    TODAY,
    YOUNG_BLOCK_ID,
)

BALANCE = f"/v1/blocks/{BLOCK_ID}/balance"
NOT_OF_THIS_BLOCK = {"degree_day_sum_c_day", *ALLEY_NUMBERS}
ALL_BLOCKS = [YOUNG_BLOCK_ID, BLOCK_ID, BARE_BLOCK_ID]


def _ids(page: dict[str, list[dict[str, str]]]) -> list[str]:
    return [each["block_id"] for each in page["items"]]


def test_blocks_are_listed_by_id(client: Client) -> None:
    page = client.json("/v1/blocks")
    assert _ids(page) == ALL_BLOCKS
    assert "next" not in page


@pytest.mark.parametrize("size", [1, 2, 3, 1000])
def test_following_next_leads_through_all_blocks_once(client: Client, size: int) -> None:
    found: list[str] = []
    address = f"/v1/blocks?page_size={size}&date=2026-07-15"
    for _ in range(10):
        page = client.json(address)
        assert 0 < len(page["items"]) <= size
        found += _ids(page)
        if "next" not in page:
            break
        address = page["next"]
        assert address.startswith("/v1/blocks?")
        assert "date=2026-07-15" in address
    assert found == ALL_BLOCKS


def test_a_page_that_is_held_is_not_sent_again(client: Client) -> None:
    first = client.get("/v1/blocks", params={"page_size": 1})
    tag = first.headers["ETag"]
    held = client.get("/v1/blocks", params={"page_size": 1}, headers={"If-None-Match": tag})
    assert (held.status_code, held.content) == (304, b"")
    other = client.get("/v1/blocks", params={"page_size": 2}, headers={"If-None-Match": tag})
    assert other.status_code == 200


def test_blocks_of_one_farm(client: Client) -> None:
    assert _ids(client.json("/v1/blocks?farm=later-farm")) == [YOUNG_BLOCK_ID]


def test_before_a_block_is_in_force_it_is_neither_listed_nor_shown(client: Client) -> None:
    day = (FIRST_DAY - timedelta(days=1)).isoformat()
    assert client.json("/v1/blocks", params={"date": day})["items"] == []
    assert client.get(f"/v1/blocks/{BLOCK_ID}", params={"date": day}).status_code == 404


def test_a_block_shows_every_number_and_where_it_comes_from(client: Client) -> None:
    block = client.json(f"/v1/blocks/{BLOCK_ID}")
    assert set(BLOCK_NUMBERS) - set(block) == {"texture_group"}
    assert block["grain"] == "medium"
    # 0.75 international acres and 10 international feet in metric units, NIST Handbook 44.
    assert block["area_m2"] == pytest.approx(0.75 * 4046.8564224, abs=1e-5)
    assert block["row_spacing_m"] == pytest.approx(3.048)
    assert block["origins"]["area_m2"] == "given"
    assert "FAO-56" in block["origins"]["field_capacity"]
    assert block["windows"] == [
        {"opens_local": "04:00", "closes_local": "10:00"},
        {"opens_local": "17:00", "closes_local": "21:00"},
    ]
    assert block["no_water"][0] == {
        "starts_local": "2026-08-20T00:00:00",
        "ends_local": "2026-08-23T00:00:00",
        "reason": "harvest",
    }
    assert block["curve"]["season_start"] == "03-20"
    assert block["planting_year"] == 2019
    assert block["root_depth_is_scaled"] is False


def test_what_is_not_known_of_a_block_is_null(client: Client) -> None:
    block = client.json(f"/v1/blocks/{BARE_BLOCK_ID}")
    for name in ("curve_number", "planting_year", "initial_depletion_mm"):
        assert block[name] is None
    assert client.json(f"/v1/blocks/{YOUNG_BLOCK_ID}")["balance_start"] is None


def test_balance_days_are_those_of_the_ledger(client: Client, service: Service) -> None:
    span = {"from": "2026-06-01", "to": "2026-07-31"}
    balance = client.json(BALANCE, params=span)
    rows = read_balance(
        BLOCK_ID,
        first_day=date(2026, 6, 1),
        last_day=date(2026, 7, 31),
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    ).rows
    assert (balance["first_day"], balance["last_day"]) == (span["from"], span["to"])
    assert len(balance["items"]) == len(rows.days) == 35
    for row, item in enumerate(balance["items"]):
        assert item["day"] == str(rows.days[row])
        for name in LEDGER_NUMBERS:
            assert item[name] == pytest.approx(
                None if name in NOT_OF_THIS_BLOCK else rows.numbers[name][row], abs=1e-6
            )


def test_each_day_of_the_balance_closes_on_the_next(client: Client) -> None:
    days = client.json(BALANCE)["items"]
    assert len(days) == 31
    for today, tomorrow in pairwise(days):
        assert tomorrow["depletion_start_mm"] == pytest.approx(today["depletion_end_mm"], abs=1e-5)


def test_without_a_span_the_last_thirty_days_are_given(client: Client) -> None:
    balance = client.json(BALANCE)
    assert balance["last_day"] == TODAY.isoformat()
    assert balance["first_day"] == (TODAY - timedelta(days=30)).isoformat()


def test_the_first_day_of_the_calendar_is_a_day_like_any_other(client: Client) -> None:
    balance = client.json(BALANCE, params={"to": "0001-01-01"})
    assert balance["items"] == []


def test_balance_days_say_how_they_are_known(client: Client) -> None:
    days = client.json(BALANCE)["items"]
    assert days[-1]["irrigation_origin"] == "none"
    assert days[-1]["is_observed"] is True
    for day in days:
        is_short = day["depletion_end_mm"] > day["raw_mm"]
        assert [flag["name"] for flag in day["flags"]] == ["afternoon-stress"] * is_short


def test_a_block_without_a_ledger_has_an_empty_balance(client: Client) -> None:
    assert client.json(f"/v1/blocks/{YOUNG_BLOCK_ID}/balance")["items"] == []


def test_the_balance_is_also_a_table(client: Client) -> None:
    answer = client.get(BALANCE, headers={"Accept": "text/csv"})
    assert answer.headers["Content-Type"].startswith("text/csv")
    header, *lines = csv.reader(answer.text.splitlines())
    items = client.json(BALANCE)["items"]
    assert [line[0] for line in lines] == [item["day"] for item in items]
    last = dict(zip(header, lines[-1], strict=True))
    for name in ("actual_crop_et_mm", "depletion_end_mm", "trigger_mm"):
        assert float(last[name]) == pytest.approx(items[-1][name], abs=1e-4)
    same = {"Accept": "text/csv", "If-None-Match": answer.headers["ETag"]}
    assert client.get(BALANCE, headers=same).status_code == 304
