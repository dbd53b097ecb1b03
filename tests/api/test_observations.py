"""Observations of meters and sensors: many in a request, each answered by itself."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import httpx
import pytest

from service.bootstrap import Service
from tests.api.callers import Caller, caller_of
from tests.api.invented_farm import BLOCK_ID, FARM_ID, YOUNG_BLOCK_ID

PATH = "/v1/observations"
TENSION = {
    "block_id": BLOCK_ID,
    "observed_property": "tension_kpa",
    "at": "2026-07-14T12:00:00Z",
    "result": 30.0,
    "depth_m": 0.2,
}
METER = {
    "block_id": BLOCK_ID,
    "observed_property": "water_volume_l",
    "at": "2026-07-13T10:00:00Z",
    "until": "2026-07-13T10:40:00Z",
    "result": 0.0,
}


def send(caller: Caller, *items: Any, once: str | None = None) -> Any:
    """The content of the answer to some observations."""
    answer = caller.post(PATH, {"items": list(items)}, once=once)
    assert answer.status_code == 200, answer.text
    return answer.json()


def send_table(caller: Caller, text: str | bytes) -> httpx.Response:
    """The answer to a table."""
    headers = {"Content-Type": "text/csv", "Idempotency-Key": f'"{uuid4()}"'}
    return caller.request("POST", PATH, content=text, headers=headers)


def plan_of(caller: Caller) -> dict[str, Any]:
    """Tomorrow's plan of the block."""
    plan: dict[str, Any] = caller.get(f"/v1/blocks/{BLOCK_ID}/plan").json()
    return plan


def test_each_line_is_answered_and_the_good_ones_are_stored(caller: Caller) -> None:
    version = plan_of(caller)["version"]
    done = send(
        caller,
        TENSION,
        {**TENSION, "result": 5000.0, "at": "2026-07-13T12:00:00Z"},
        METER,
        {**METER, "until": METER["at"]},
        {**TENSION, "block_id": YOUNG_BLOCK_ID},
        {**TENSION, "result": "30"},
        {**TENSION, "unit": "kPa"},
        "hush",
        {**TENSION, "depth_m": 3.5},
        {**TENSION, "at": "2027-07-14T12:00:00Z"},
    )
    assert [line["status"] for line in done["lines"]] == [
        *("stored", "refused", "stored"),
        *["refused"] * 7,
    ]
    where = [
        [error.get("pointer") for error in line["errors"]]
        for line in done["lines"]
        if line["status"] == "refused"
    ]
    assert where == [
        *(["/result"], ["/until"], ["/block_id"], ["/result"], ["/unit"], [""]),
        *(["/depth_m"], ["/at"]),
    ]
    assert (done["stored_count"], done["refused_count"]) == (2, 8)
    assert done["counts"]["created_count"] == 2
    assert done["counts"]["new_plan_count"] >= 1
    assert plan_of(caller)["version"] == version + 1
    assert "hush" not in str(done)
    assert done["lines"][0] == {"line": 1, "status": "stored"}


def test_the_same_again_changes_nothing_and_another_result_corrects(caller: Caller) -> None:
    first = send(caller, TENSION, METER, once="one")
    assert send(caller, TENSION, METER, once="one") == first
    again = send(caller, TENSION, METER)["counts"]
    assert (again["created_count"], again["changed_count"], again["new_plan_count"]) == (0, 0, 0)
    assert again["unchanged_count"] == 2
    other = send(caller, {**TENSION, "result": 55.0}, METER)["counts"]
    assert (other["created_count"], other["changed_count"], other["unchanged_count"]) == (0, 1, 1)


def test_of_two_results_for_one_time_in_a_request_the_last_counts(caller: Caller) -> None:
    send(caller, TENSION, {**TENSION, "result": 55.0})
    assert send(caller, {**TENSION, "result": 55.0})["counts"]["unchanged_count"] == 1


def test_one_by_one_or_all_at_once_the_plan_is_the_same(own_service: Service) -> None:
    caller = caller_of(own_service, FARM_ID)
    readings = [
        {**TENSION, "at": f"2026-07-{day}T12:00:00Z", "result": 10.0 + day} for day in (12, 13, 14)
    ]
    send(caller, *readings)
    together = plan_of(caller)
    for each in readings:
        body = {"read_at": each["at"], "tension_kpa": each["result"], "depth_m": each["depth_m"]}
        stored = caller.post(f"/v1/blocks/{BLOCK_ID}/soil-readings", body).json()
        assert stored["counts"]["unchanged_count"] == 1, stored
    assert plan_of(caller) == together


def test_a_table_says_the_same_as_json(caller: Caller) -> None:
    answer = send_table(
        caller,
        "block_id,observed_property,at,until,result,depth_m\r\n"
        f"{BLOCK_ID},tension_kpa,2026-07-14T12:00:00Z,,30.0,0.2\r\n"
        f"{BLOCK_ID},water_volume_l,2026-07-13T10:00:00Z,2026-07-13T10:40:00Z,0,\r\n"
        f"{BLOCK_ID},tension_kpa,yesterday,,30.0,0.2\r\n"
        f"{BLOCK_ID},tension_kpa,2026-07-14T11:00:00Z,,wet,0.2\r\n"
        f"{BLOCK_ID},tension_kpa\r\n",
    )
    assert answer.status_code == 200, answer.text
    assert [line["status"] for line in answer.json()["lines"]] == ["stored"] * 2 + ["refused"] * 3
    assert send(caller, TENSION, METER)["counts"]["unchanged_count"] == 2


@pytest.mark.parametrize(
    "text",
    [
        "",
        "block_id,observed_property,at,result\r\n",
        "block_id,at,result,soil\r\na.b,x,1,2\r\n",
        "block_id,result,result\r\na.b,1,2\r\n",
        b"block_id,result\r\n\xff,1\r\n",
        'block_id,result\r\n"a.b,1\r\n',
    ],
)
def test_what_is_no_table_of_observations_is_refused_whole(
    caller: Caller, text: str | bytes
) -> None:
    assert send_table(caller, text).status_code == 422


@pytest.mark.parametrize("body", [[], {}, {"items": {}}, {"items": []}, {"items": [1], "x": 1}])
def test_a_body_without_observations_is_refused_whole(caller: Caller, body: Any) -> None:
    assert caller.post(PATH, body).status_code == 422


def test_more_than_may_be_sent_at_once_is_refused_whole(caller: Caller) -> None:
    answer = caller.post(PATH, {"items": [{}] * 10_001})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/items"


def test_ten_thousand_come_in_one_request(caller: Caller) -> None:
    begin = datetime(2026, 7, 1, tzinfo=UTC)
    items = [
        {**TENSION, "at": (begin + timedelta(minutes=n)).isoformat(), "result": 20.0 + n % 30}
        for n in range(10_000)
    ]
    done = send(caller, *items)
    assert (done["stored_count"], done["counts"]["created_count"]) == (10_000, 10_000)
    assert len(done["lines"]) == 10_000
