"""Reported runs of a farm: listed page by page, undone, and many from a file."""

from __future__ import annotations

import io
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import httpx
import openpyxl
import pytest

from service.bootstrap import Service
from service.delivery.table_file import XLSX_TYPE
from tests.api.callers import Caller, caller_of
from tests.api.invented_farm import BLOCK_ID, FARM_ID

RUNS = f"/v1/farms/{FARM_ID}/runs"
FILES = "/v1/run-files"
FIRST = datetime.fromisoformat("2026-07-10T05:00:00-04:00")


def report(caller: Caller, *starts: datetime) -> None:
    items = [
        {"block_id": BLOCK_ID, "started_at": each.isoformat(), "duration_min": 20}
        for each in starts
    ]
    assert caller.post("/v1/runs", {"items": items}).status_code == 200


def send(caller: Caller, text: str, query: str = "") -> httpx.Response:
    headers = {"Content-Type": "text/csv", "Idempotency-Key": f'"{uuid4()}"'}
    return caller.request("POST", f"{FILES}{query}", content=text.encode(), headers=headers)


def places(answer: httpx.Response) -> list[str]:
    assert answer.status_code == 422, answer.text
    return [each.get("pointer", each.get("parameter", "")) for each in answer.json()["errors"]]


def test_runs_come_page_by_page_the_latest_first(caller: Caller) -> None:
    starts = [FIRST + timedelta(days=number) for number in range(3)]
    report(caller, *starts)
    first: dict[str, Any] = caller.get(f"{RUNS}?page_size=2").json()
    rest = caller.get(first["next"]).json()
    found = [each["started_at"] for each in (*first["items"], *rest["items"])]
    assert [datetime.fromisoformat(each) for each in found] == starts[::-1]
    assert rest["next"] is None
    of_day = caller.get(f"{RUNS}?from=2026-07-11&to=2026-07-11&block={BLOCK_ID}").json()
    assert [each["day"] for each in of_day["items"]] == ["2026-07-11"]


def test_a_table_names_the_next_page_in_its_link(caller: Caller) -> None:
    report(caller, FIRST, FIRST + timedelta(days=1))
    answer = caller.get(f"{RUNS}?page_size=1", headers={"Accept": "text/csv"})
    assert answer.text.count("\n") == 2 and 'rel="next"' in answer.headers["Link"]
    last = caller.get(RUNS, headers={"Accept": "text/csv"})
    assert "Link" not in last.headers


def test_a_spreadsheet_holds_the_page_and_names_the_next_one(caller: Caller) -> None:
    starts = [FIRST, FIRST + timedelta(days=1)]
    report(caller, *starts)
    wanted = {"Accept": XLSX_TYPE}
    answer = caller.get(f"{RUNS}?page_size=1", headers=wanted)
    following = answer.headers["Link"].partition("<")[2].partition(">")[0]
    rest = caller.get(following, headers=wanted)
    assert "Link" not in rest.headers
    days = [
        openpyxl.load_workbook(io.BytesIO(each.content)).worksheets[0]["A2"].value.date()
        for each in (answer, rest)
    ]
    assert days == [each.date() for each in starts[::-1]]


@pytest.mark.parametrize("cursor", ["x", "OTk5OTk5OTk5OTk5OTk5OTk5LjE"])
def test_a_cursor_of_nowhere_is_refused(caller: Caller, cursor: str) -> None:
    assert places(caller.get(f"{RUNS}?cursor={cursor}")) == ["cursor"]


@pytest.mark.parametrize(
    "path",
    [
        f"/v1/blocks/{BLOCK_ID}/balance",
        f"/v1/farms/{FARM_ID}/water-used",
        f"/v1/farms/{FARM_ID}/plans",
    ],
)
def test_a_table_comes_as_a_spreadsheet_with_a_tag(caller: Caller, path: str) -> None:
    wanted = {"Accept": XLSX_TYPE}
    answer = caller.get(path, headers=wanted)
    assert answer.headers["content-type"] == XLSX_TYPE
    sheet = openpyxl.load_workbook(io.BytesIO(answer.content)).worksheets[0]
    assert sheet.max_row > 1
    same = caller.get(path, headers={**wanted, "If-None-Match": answer.headers["ETag"]})
    assert same.status_code == 304


def test_an_undone_run_is_gone_and_copies_are_told(caller: Caller) -> None:
    report(caller, FIRST)
    path = f"/v1/blocks/{BLOCK_ID}/runs/2026-07-10T09:00:00Z"
    answer = caller.request("DELETE", path)
    assert answer.status_code == 200, answer.text
    assert caller.get(RUNS).json()["items"] == []
    (told,) = caller.get("/v1/runs").json()["items"]
    assert (told["is_undone"], told["duration_min"]) == (True, 0.0)
    assert caller.request("DELETE", path).json()["new_plan_count"] == 0
    unknown = path.replace("09:00", "09:01")
    assert caller.request("DELETE", unknown).status_code == 404


def test_a_file_of_runs_is_stored_once(caller: Caller) -> None:
    table = f"block,start,duration_min\n{BLOCK_ID},2026-07-10T05:00,40\n"
    done = send(caller, table)
    assert done.status_code == 200, done.text
    assert done.json()["counts"]["created_count"] == 1
    assert send(caller, table).json()["counts"]["unchanged_count"] == 1
    (run,) = caller.get(RUNS).json()["items"]
    assert run["started_local"] == "2026-07-10T05:00:00-04:00"


def test_faults_of_a_file_are_named_by_line_and_column(caller: Caller) -> None:
    assert places(send(caller, "start,minutes\n1,2\n"))[:1] == [""]
    table = f"block,start,duration_min\n{BLOCK_ID},yesterday,40\nnowhere,2026-07-10T05:00,x\n"
    assert places(send(caller, table)) == ["/lines/2/start", "/lines/3/duration_min"]
    assert caller.get(RUNS).json()["items"] == []


def test_a_key_for_the_region_names_the_farm(own_service: Service) -> None:
    region = caller_of(own_service, farm_id=None)
    table = "start,duration_min\n2026-07-10T05:00,40\n"
    assert places(send(region, table, f"?block={BLOCK_ID}")) == [""]
    assert send(region, table, f"?farm={FARM_ID}&block={BLOCK_ID}").status_code == 200
