"""Plans as they are read again and again, and the plans of a whole farm."""

from __future__ import annotations

import asyncio
import csv
import io
import threading
from collections.abc import Collection
from dataclasses import replace

import httpx

from service.api.app import create_app
from service.bootstrap import Service
from service.database.session import UnitOfWork
from service.operations.farms.manage_farms import load_bundle
from tests.api.conftest import Client, Ticker
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FARM_ID,
    FIRST_DAY,
    PLAN_DAY,
    bring_weather,
    plan_evening,
)
from tests.patience import PATIENCE_S

PLAN = f"/v1/blocks/{BLOCK_ID}/plan"
PLANS = f"/v1/farms/{FARM_ID}/plans"
CSV = {"Accept": "text/csv"}


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_a_plan_that_was_read_once_is_read_again_without_the_database(
    own_service: Service, ticker: Ticker
) -> None:
    opened: list[bool] = []

    def open_unit(*, write: bool, farm_keys: Collection[int] | None = None) -> UnitOfWork:
        opened.append(write)
        return own_service.unit_of_work(write=write, farm_keys=farm_keys)

    client = Client(create_app(replace(own_service, unit_of_work=open_unit)))
    first = client.get(PLAN)
    count = len(opened)
    again = client.get(PLAN)
    assert len(opened) == count
    assert again.content == first.content
    assert again.headers["ETag"] == first.headers["ETag"]
    held = client.get(PLAN, headers={"If-None-Match": first.headers["ETag"]})
    assert (held.status_code, len(opened)) == (304, count)
    head = client.request("HEAD", PLAN)
    assert (head.content, head.headers["Content-Length"]) == (b"", str(len(first.content)))


def test_a_new_plan_is_news_within_a_second(own_service: Service, ticker: Ticker) -> None:
    clients = [Client(create_app(own_service)) for _ in range(2)]
    before = {client.get(PLAN).text for client in clients} | {
        client.get(PLAN).text for client in clients
    }
    assert len(before) == 1
    bring_weather(own_service, warmer_c=4.0)
    assert not plan_evening(own_service)
    ticker.seconds += 1.0
    after = {client.get(PLAN).text for client in clients}
    assert len(after) == 1
    assert after != before


def test_a_look_under_way_holds_up_nobody_whose_copies_are_still_good(
    own_service: Service, ticker: Ticker
) -> None:
    may_look = threading.Event()
    may_look.set()
    looks: list[bool] = []

    def open_unit(*, write: bool, farm_keys: Collection[int] | None = None) -> UnitOfWork:
        looks.append(write)
        assert may_look.wait(timeout=PATIENCE_S)
        return own_service.unit_of_work(write=write, farm_keys=farm_keys)

    async def read_again_and_again() -> None:
        transport = httpx.ASGITransport(
            app=create_app(replace(own_service, unit_of_work=open_unit))
        )
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as web:
            assert (await web.get(PLAN)).status_code == 200
            may_look.clear()
            before = len(looks)
            ticker.seconds += 0.5
            assert (await web.get(PLAN)).status_code == 200  # while the look cannot go on
            ticker.seconds += 0.4
            assert (await web.get(PLAN)).status_code == 200
            ticker.seconds += 0.1  # the copies are a second old
            late = asyncio.create_task(web.get(PLAN))
            await asyncio.wait([late], timeout=0.05)
            assert not late.done()
            may_look.set()
            assert (await late).status_code == 200
            assert len(looks) > before

    asyncio.run(read_again_and_again())


def test_a_change_of_the_block_is_news_too(own_service: Service, ticker: Ticker) -> None:
    client = Client(create_app(own_service))
    client.get(PLAN)
    with own_service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=PLAN_DAY)
    renamed = tuple(
        replace(block, name="Another name") if block.block_id == BLOCK_ID else block
        for block in bundle.blocks
    )
    load_bundle(
        replace(bundle, blocks=renamed),
        effective_day=FIRST_DAY,
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
    )
    ticker.seconds += 1.0
    assert client.json(PLAN)["block_name"] == "Another name"


def test_a_date_has_a_document_of_its_own(client: Client) -> None:
    latest = client.get(PLAN)
    assert client.get(PLAN, params={"date": PLAN_DAY.isoformat()}).content == latest.content
    assert client.get(PLAN, params={"date": "2026-07-02"}).status_code == 404
    assert client.get(PLAN, params={"date": "yesterday"}).status_code == 422
    assert client.get(PLAN).content == latest.content


def test_csv_has_a_row_per_pulse(client: Client) -> None:
    plan = client.json(PLAN)
    client.get(PLAN)  # kept as JSON by now
    answer = client.get(PLAN, headers=CSV)
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert "Accept" in answer.headers["Vary"]
    rows = rows_of(answer.text)
    assert [(row["start_local"], row["start_epoch_s"], row["duration_min"]) for row in rows] == [
        (each["start_local"], str(each["start_epoch_s"]), str(each["duration_min"]))
        for each in plan["pulses"]
    ]
    assert {row["planned_min"] for row in rows} == {str(plan["planned_min"])}
    tag = answer.headers["ETag"]
    assert client.get(PLAN, headers={**CSV, "If-None-Match": tag}).status_code == 304


def test_a_farms_plans_are_those_of_its_blocks(client: Client) -> None:
    plans = client.json(PLANS, params={"date": PLAN_DAY.isoformat()})
    assert (plans["farm_id"], plans["day"]) == (FARM_ID, PLAN_DAY.isoformat())
    assert [each["block_id"] for each in plans["items"]] == [BLOCK_ID, BARE_BLOCK_ID]
    for each in plans["items"]:
        own = client.json(f"/v1/blocks/{each['block_id']}/plan")
        assert each == {name: own[name] for name in each}
    rows = rows_of(client.get(PLANS, headers=CSV).text)
    assert len(rows) == sum(len(each["pulses"]) for each in plans["items"])


def test_a_farm_without_plans_has_none_to_give(client: Client) -> None:
    answer = client.get("/v1/farms/later-farm/plans")
    assert (answer.status_code, answer.json()["type"]) == (404, "/problems/plan-not-found")
    assert client.get("/v1/farms/nobodys-farm/plans").status_code == 404
    assert client.get(PLANS, params={"date": "2020-01-01"}).status_code == 404


def test_a_name_that_a_spreadsheet_would_run_is_disarmed(own_service: Service) -> None:
    with own_service.unit_of_work(write=True) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=PLAN_DAY)
        unit.blocks.save_bundle(
            replace(
                bundle,
                blocks=tuple(replace(block, name="=cmd()|'a'!A1") for block in bundle.blocks),
            ),
            effective_day=FIRST_DAY,
            recorded_at=own_service.clock.now(),
        )
    rows = rows_of(Client(create_app(own_service)).get(PLANS, headers=CSV).text)
    assert {row["block_name"] for row in rows} == {"'=cmd()|'a'!A1"}
