"""Rain, soil and pauses: each is stored with what follows from it, in one step."""

from __future__ import annotations

import json
from datetime import timedelta
from itertools import pairwise
from typing import Any

import pytest

from service.bootstrap import Service
from service.operations.evening.run_day import run_day
from tests.api.callers import Caller
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, RUN_AT, TODAY, FixedClock

PLAN = f"/v1/blocks/{BLOCK_ID}/plan"
SOIL = f"/v1/blocks/{BLOCK_ID}/soil-readings"
PAUSES = f"/v1/blocks/{BLOCK_ID}/pauses"
GAUGE = "/v1/gauges/home/readings"


def balance(caller: Caller, day: str = "2026-07-14") -> dict[str, Any]:
    """One day of the block's ledger."""
    path = f"/v1/blocks/{BLOCK_ID}/balance"
    found: dict[str, Any] = caller.get(path, params={"from": day, "to": day}).json()["items"][0]
    return found


def mass_error_mm(day: dict[str, Any]) -> float:
    """What a ledger day fails to account for."""
    booked = (
        day["actual_crop_et_mm"] - day["rain_entering_mm"] - day["early_net_mm"]
        - day["day_net_mm"] + day["rain_drainage_mm"] + day["irrigation_drainage_mm"]
        + day["resize_mm"] + day["correction_mm"]
    )  # fmt: skip
    error: float = day["depletion_end_mm"] - day["depletion_start_mm"] - booked
    return error


# --- rain ----------------------------------------------------------------------------------------


def test_a_gauge_reading_is_booked_and_tomorrows_plan_follows(caller: Caller) -> None:
    plan = caller.get(PLAN).json()
    answer = caller.post(GAUGE, {"rain_mm": 20.0, "read_at": "2026-07-14T07:00:00-04:00"})
    assert answer.status_code == 200, answer.text
    stored = answer.json()
    assert stored["booked"] == [{"day": "2026-07-13", "rain_mm": 20.0, "day_total_mm": 20.0}]
    assert stored["counts"]["created_count"] == 1
    assert balance(caller, "2026-07-13")["rain_mm"] == 20.0
    new_plan = caller.get(PLAN).json()
    assert new_plan["version"] == plan["version"] + 1
    assert new_plan["planned_min"] <= plan["planned_min"]


def test_an_unlikely_amount_must_be_confirmed(caller: Caller) -> None:
    body = {"rain_mm": 200.0, "read_at": "2026-07-14T07:00:00-04:00"}
    answer = caller.post(GAUGE, body)
    assert answer.status_code == 422
    assert [each.get("pointer") for each in answer.json()["errors"]] == ["/rain_mm"]
    assert caller.post(GAUGE, {**body, "confirm": True}).status_code == 200


def test_a_correction_must_say_why(caller: Caller) -> None:
    body = {"rain_mm": 2.0, "read_at": "2026-07-14T07:00:00-04:00"}
    assert caller.post(GAUGE, body).status_code == 200
    refused = caller.post(GAUGE, {**body, "rain_mm": 3.0})
    assert [each.get("pointer") for each in refused.json()["errors"]] == ["/note"]
    answer = caller.post(GAUGE, {**body, "rain_mm": 3.0, "note": "misread"})
    assert answer.json()["counts"]["changed_count"] == 1
    assert balance(caller, "2026-07-13")["rain_mm"] == 3.0


# --- soil ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("hour", "with_what"), [("06", "day-start"), ("18", "day-end")])
def test_a_soil_reading_moves_the_balance_by_its_weight(
    caller: Caller, hour: str, with_what: str
) -> None:
    before = balance(caller)
    answer = caller.post(
        SOIL,
        {"read_at": f"2026-07-14T{hour}:00:00-04:00", "depth_m": 0.2, "reach_m": 0.1,
         "volumetric_water": 0.23},
    )  # fmt: skip
    assert answer.status_code == 200, answer.text
    stored = answer.json()
    # Sandy loam of FAO-56 Table 19 holds 0.23 at field capacity: nothing is missing. The layer
    # 0.1 to 0.3 m is 0.2 m of 18 in (0.4572 m) of roots: w = 0.8 x 0.2 / 0.4572 = 0.34996; by hand.
    assert stored["compared_with"] == with_what
    assert stored["depletion_reading_mm"] == 0.0
    assert stored["weight_fraction"] == pytest.approx(0.34996, abs=1e-5)
    after = balance(caller)
    compared = before["depletion_start_mm" if with_what == "day-start" else "depletion_end_mm"]
    expected = max(-before["depletion_end_mm"], -0.34996 * compared)
    assert after["correction_mm"] == pytest.approx(expected, abs=1e-3)
    assert abs(mass_error_mm(after)) < 1e-5
    assert caller.get(PLAN).json()["version"] == 2


def test_a_dry_tensiometer_raises_the_depletion(caller: Caller) -> None:
    caller.post(
        "/v1/runs",
        {
            "items": [
                {
                    "block_id": BLOCK_ID,
                    "started_at": "2026-07-13T05:00:00-04:00",
                    "duration_min": 600,
                }
            ]
        },
    )
    before = balance(caller)
    answer = caller.post(
        SOIL, {"read_at": "2026-07-14T18:00:00-04:00", "depth_m": 0.2, "tension_kpa": 1500.0}
    )
    stored = answer.json()
    assert stored["volumetric_water"] == pytest.approx(0.11)  # wilting point, at 1500 kPa
    assert stored["depletion_reading_mm"] == pytest.approx(stored["taw_mm"])
    after = balance(caller)
    assert after["correction_mm"] > 0.0
    assert before["depletion_end_mm"] < after["depletion_end_mm"] <= stored["taw_mm"]


def test_an_estimate_of_the_whole_zone_answers_what_the_plan_assumed(caller: Caller) -> None:
    vines = BARE_BLOCK_ID
    assert caller.get(f"/v1/blocks/{vines}/plan").json()["taken_full_day"] == "2026-06-14"
    body = {"read_at": "2026-07-14T18:00:00-04:00", "available_fraction": 0.5}
    answer = caller.post(f"/v1/blocks/{vines}/soil-readings", body)
    assert answer.status_code == 200, answer.text
    stored = answer.json()
    assert (stored["kind"], stored["weight_fraction"]) == ("estimate", 1.0)
    assert stored["depletion_reading_mm"] == pytest.approx(stored["taw_mm"] / 2.0)
    plan = caller.get(f"/v1/blocks/{vines}/plan").json()
    assert plan["taken_full_day"] is None
    assert "start-depletion-assumed" not in {flag["name"] for flag in plan["flags"]}


@pytest.mark.parametrize(
    ("changes", "pointers"),
    [
        ({"depth_m": 0.2}, ["/depth_m"]),
        ({"volumetric_water": 0.2, "tension_kpa": 20.0}, ["/volumetric_water", "/tension_kpa"]),
        ({"available_fraction": None, "tension_kpa": 20.0}, ["/depth_m"]),
    ],
    ids=["estimate at a depth", "estimate and sensor", "sensor without depth"],
)
def test_a_reading_is_either_of_a_sensor_or_of_a_hand(
    caller: Caller, changes: dict[str, float | None], pointers: list[str]
) -> None:
    body = {"read_at": "2026-07-14T18:00:00-04:00", "available_fraction": 0.5, **changes}
    refused = caller.post(SOIL, body)
    assert refused.status_code == 422
    assert [each.get("pointer") for each in refused.json()["errors"]] == pointers


def test_a_corrected_balance_carries_over_and_stays_when_the_evening_runs_again(
    caller: Caller, own_service: Service
) -> None:
    caller.post(
        SOIL, {"read_at": "2026-07-10T06:00:00-04:00", "depth_m": 0.2, "volumetric_water": 0.2}
    )
    days = [balance(caller, f"2026-07-{day:02d}") for day in range(9, 15)]
    assert [abs(day["correction_mm"]) > 0 for day in days] == [False, True, *[False] * 4]
    for earlier, later in pairwise(days):
        assert later["depletion_start_mm"] == pytest.approx(earlier["depletion_end_mm"])
        assert abs(mass_error_mm(later)) < 1e-5
    run_day(
        TODAY,
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
        source_order=own_service.source_order,
    )
    assert [balance(caller, f"2026-07-{day:02d}") for day in range(9, 15)] == days


def test_another_reading_of_the_same_instant_takes_the_place_of_the_first(caller: Caller) -> None:
    body = {"read_at": "2026-07-14T06:00:00-04:00", "depth_m": 0.2, "volumetric_water": 0.15}
    caller.post(SOIL, body)
    first = balance(caller)
    counts = caller.post(SOIL, {**body, "volumetric_water": 0.23}).json()["counts"]
    assert counts["changed_count"] == 1
    assert balance(caller)["correction_mm"] != first["correction_mm"]
    assert caller.post(SOIL, {**body, "volumetric_water": 0.23}).json()["counts"] == {
        "created_count": 0, "changed_count": 0, "unchanged_count": 1, "new_plan_count": 0,
    }  # fmt: skip


@pytest.mark.parametrize(
    "change",
    [
        {"volumetric_water": None},
        {"tension_kpa": 20.0},
        {"depth_m": 3.0},
        {"depth_m": -0.2},
        {"volumetric_water": 0.9},
        {"read_at": "2026-07-20T06:00:00-04:00"},
    ],
)
def test_an_impossible_reading_is_refused(caller: Caller, change: dict[str, Any]) -> None:
    body = {"read_at": "2026-07-14T06:00:00-04:00", "depth_m": 0.2, "volumetric_water": 0.2}
    answer = caller.post(SOIL, {**body, **change})
    assert answer.status_code == 422, answer.text
    assert all("pointer" in each for each in answer.json()["errors"])


# --- pauses --------------------------------------------------------------------------------------


def pause_from(starts: str, ends: str) -> dict[str, str]:
    """A body."""
    return {"starts_local": starts, "ends_local": ends, "reason": "harvest"}


def test_a_pause_takes_tomorrows_water_and_gives_it_back_when_it_is_taken_back(
    caller: Caller,
) -> None:
    before = caller.get(PLAN).json()
    assert before["planned_min"] > 0
    answer = caller.post(PAUSES, pause_from("2026-07-15T00:00", "2026-07-16T00:00"))
    assert answer.status_code == 200, answer.text
    paused = caller.get(PLAN).json()
    assert (paused["planned_min"], paused["version"]) == (0, 2)
    pause_id = answer.json()["pause"]["pause_id"]
    assert [each["pause_id"] for each in caller.get(PAUSES).json()["items"]] == [pause_id]

    taken_back = caller.request("DELETE", f"{PAUSES}/{pause_id}")
    assert taken_back.json()["new_plan_count"] >= 1
    again = caller.get(PLAN).json()
    assert (again["pulses"], again["version"]) == (before["pulses"], 3)
    assert caller.request("DELETE", f"{PAUSES}/{pause_id}").json()["new_plan_count"] == 0
    assert caller.get(PAUSES).json()["items"] == []


def test_a_pause_needs_no_new_version_of_the_block(caller: Caller) -> None:
    tag = caller.get(f"/v1/blocks/{BLOCK_ID}").headers["ETag"]
    caller.post(PAUSES, pause_from("2026-07-15T00:00", "2026-07-16T00:00"))
    assert caller.get(f"/v1/blocks/{BLOCK_ID}").headers["ETag"] == tag


def test_a_pause_of_part_of_a_day_leaves_the_rest(caller: Caller) -> None:
    caller.post(PAUSES, pause_from("2026-07-15T06:00", "2026-07-15T19:00"))
    pulses = caller.get(PLAN).json()["pulses"]
    assert pulses
    for pulse in pulses:
        assert pulse["end_local"] <= "2026-07-15T06:00:00-04:00" or (
            pulse["start_local"] >= "2026-07-15T19:00:00-04:00"
        )


def test_a_pause_holds_what_is_left_of_a_day_under_way(
    caller: Caller, own_service: Service
) -> None:
    clock = own_service.clock
    assert isinstance(clock, FixedClock)
    before = caller.get(PLAN).json()["pulses"]
    assert len(before) > 1
    clock.instant = RUN_AT + timedelta(hours=11)  # 06:00 on the day planned; the first has run
    caller.post(PAUSES, pause_from("2026-07-15T06:00", "2026-07-16T00:00"))
    left = caller.get(PLAN).json()["pulses"]
    assert left == [pulse for pulse in before if pulse["start_local"] < "2026-07-15T06:20"]
    assert left


@pytest.mark.parametrize(
    "body",
    [
        pause_from("2026-07-16T00:00", "2026-07-15T00:00"),
        pause_from("2026-07-15T00:00", "2026-07-15T00:00"),
        pause_from("2026-07-15T00:00", "2028-07-15T00:00"),
        pause_from("2026-07-15T00:00:00Z", "2026-07-16T00:00:00Z"),
        {**pause_from("2026-07-15T00:00", "2026-07-16T00:00"), "reason": "a\r\nb"},
        {**pause_from("2026-07-15T00:00", "2026-07-16T00:00"), "reason": ""},
    ],
    ids=json.dumps,
)
def test_an_impossible_pause_is_refused(caller: Caller, body: dict[str, str]) -> None:
    answer = caller.post(PAUSES, body)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] in ("/starts_local", "/ends_local", "/reason")
