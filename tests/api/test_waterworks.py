"""Pipes, water and fertiliser over the API, on an invented farm."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import timedelta
from threading import Lock
from typing import Any

import pytest
from pydantic import BaseModel
from sqlalchemy.engine import URL

from service.api import dosing_examples
from service.api import waterworks_examples as examples
from service.api.app import create_app
from service.api.parts_examples import PARTS
from service.api.schemas import dosing, parts
from service.api.schemas import waterworks as schemas
from service.api.schemas.flow_check import FlowCheckOut
from service.bootstrap import Service
from service.farm_files.farm_file import parse_farm
from service.operations.access.manage_keys import make_key
from service.operations.evening.run_day import run_day
from service.operations.farms.manage_farms import load_bundle
from service.operations.feedback.report_runs import RunReport, report_runs
from service.operations.waterworks import assess_supply
from tests.api.conftest import Client
from tests.api.invented_farm import BARE_BLOCK_ID, PLAN_DAY, TODAY, copied_service
from tests.invented_summers import import_last_summer

PIPED_FARM = """
[farm]
id = "piped-farm"
name = "Piped Farm (invented)"
zone = "America/New_York"

[[supply]]
id = "well"
flow = "60 gpm"

[[block]]
id = "rows"
site = "home"
name = "Grapes on known pipes"
crop = "grape-wine"
area = "0.276 ha"
row_spacing = "3 m"
emitter_spacing = "0.46 m"
emitter_flow = "2 L/h"
soil = { texture = "loam" }
initial_depletion = "60 mm"
balance_start = 2026-07-10

[block.hydraulics]
lateral_diameter = "16 mm"
emitter_count = 100
inlet_pressure = "30 psi"
manufacturer_variation = 0.03
manifold = { diameter = "63 mm", rows = 20 }
regulator = { set = "10 m", loss = "2 m", lowest_flow = "500 L/h", highest_flow = "6000 L/h" }
"""
BLOCK = "piped-farm.rows"
SUPPLY = "piped-farm.well"
CAUGHT = [205, 198, 192, 210, 180, 200, 195, 188, 202, 170, 196, 208, 190, 204, 185, 199]
SAMPLE: dict[str, Any] = {
    "laboratory": "Invented laboratory",
    "temperature_c": 20.0,
    "readings": [
        {"quantity": "ph", "value": 7.8},
        {"quantity": "ec", "value": 520.0, "unit": "uS/cm"},
        {"quantity": "alkalinity", "value": 120.0, "unit": "mg/L as CaCO3"},
        {"quantity": "calcium", "value": 48.0, "unit": "mg/L"},
        {"quantity": "magnesium", "value": 12.0, "unit": "mg/L"},
        {"quantity": "sodium", "value": 40.0, "unit": "mg/L"},
        {"quantity": "chloride", "value": 60.0, "unit": "mg/L"},
        {"quantity": "sulfate", "value": 50.0, "unit": "mg/L"},
        {"quantity": "iron", "value": 0.05, "unit": "mg/L", "is_below_detection": True},
    ],
}
ORDER: dict[str, Any] = {
    "products": [{"product_key": "urea", "mass_kg": 3.0}],
    "stock_l": 30.0,
    "temperature_c": 15.0,
    "injector_lowest_l_per_h": 5.0,
    "injector_highest_l_per_h": 120.0,
}


@pytest.fixture(scope="module")
def piped_service(
    planned_database: URL, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Service]:
    """The invented farm, and another one whose pipes are known; tests touch different parts."""
    with copied_service(planned_database, tmp_path_factory.mktemp("piped")) as made:
        text = PIPED_FARM.replace("[[supply]]", _SITE + "[[supply]]", 1)
        load_bundle(
            parse_farm(text, name="piped.toml"),
            effective_day=TODAY,
            unit_of_work=made.unit_of_work,
            clock=made.clock,
        )
        yield made


_SITE = """
[[site]]
id = "home"
latitude = 35.91
longitude = -79.22
elevation = "510 ft"

"""


@pytest.fixture(scope="module")
def piped(piped_service: Service) -> Client:
    """A client of its application."""
    return Client(create_app(piped_service, host="127.0.0.1"))


@pytest.mark.parametrize(
    ("model", "example"),
    [
        (schemas.HydraulicsOut, examples.HYDRAULICS),
        (schemas.CatchTestIn, examples.CATCH),
        (schemas.CatchTestOut, examples.CATCH_TEST),
        (FlowCheckOut, examples.FLOW_CHECK),
        (schemas.WaterSampleOut, examples.WATER_SAMPLE),
        (schemas.WaterReportOut, examples.WATER_REPORT),
        (dosing.AcidEstimateOut, dosing_examples.ACID),
        (dosing.ChlorineEstimateOut, dosing_examples.CHLORINE),
        (parts.PartsOut, PARTS),
        (dosing.PumpingOut, dosing_examples.PUMPING),
        (schemas.CapacityOut, examples.CAPACITY),
        (schemas.FertiliserListOut, examples.FERTILISERS),
        (schemas.FertigationOut, examples.FERTIGATION),
    ],
)
def test_an_example_says_all_that_its_answer_says(
    model: type[BaseModel], example: dict[str, Any]
) -> None:
    # An example that lacks a field, or has one too many, does not come back the same.
    assert json.loads(model.model_validate(example).model_dump_json()) == example


def _put(client: Client, path: str, body: dict[str, Any]) -> Any:
    answer = client.request("PUT", path, json=body)
    assert answer.status_code == 200, answer.text
    return answer.json()


def _plan(service: Service) -> None:
    run_day(
        TODAY,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
        farm_ids=["piped-farm"],
    )


def test_the_pipes_of_a_block_are_solved(piped: Client) -> None:
    found = piped.json(f"/v1/blocks/{BLOCK}/hydraulics")
    assert found["inlet_head_m"] == 10.0  # behind the regulator
    assert 3_800.0 < found["inlet_flow_l_per_h"] < 4_000.0  # a little below 20 x 100 x 2 L/h
    assert len(found["takeoff_head_m"]) == 20
    assert found["dry_emitter_count"] == 0
    assert found["regulator_findings"] == []
    assert found["last_travel_min"] > found["fill_time_min"] > 0.0


def test_pipes_that_nobody_described_are_not_found(piped: Client) -> None:
    answer = piped.get(f"/v1/blocks/{BARE_BLOCK_ID}/hydraulics")
    assert answer.status_code == 404


def test_a_field_test_is_stored_and_used_by_the_plan_when_turned_on(piped: Client) -> None:
    path = f"/v1/blocks/{BLOCK}/catch-tests/2026-07-13"
    stored = _put(piped, path, {"caught_ml": CAUGHT})
    # Low quarter 1.8075 over mean 1.95125 of the same set, by hand.
    assert stored["emission_uniformity_pct"] == pytest.approx(92.633, abs=0.001)
    assert stored["plan_uniformity_pct"] == 90.0
    used = _put(piped, path, {"caught_ml": CAUGHT, "is_used": True})
    assert used["plan_uniformity_pct"] == pytest.approx(92.63, abs=0.001)
    assert used["plan_origin"].startswith("catch test of 2026-07-13")
    block = piped.json(f"/v1/blocks/{BLOCK}")
    assert block["emission_uniformity_pct"] == pytest.approx(92.63, abs=0.001)
    assert len(piped.json(f"/v1/blocks/{BLOCK}/catch-tests")["items"]) == 1


def test_fifteen_volumes_are_too_few(piped: Client) -> None:
    answer = piped.request(
        "PUT", f"/v1/blocks/{BLOCK}/catch-tests/2026-07-13", json={"caught_ml": CAUGHT[1:]}
    )
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/caught_ml"


def test_a_water_analysis_is_stored_and_reported(piped: Client) -> None:
    path = f"/v1/supplies/{SUPPLY}/water-samples/2026-05-01"
    first = _put(piped, path, SAMPLE)
    assert _put(piped, path, SAMPLE) == first
    assert len(piped.json(f"/v1/supplies/{SUPPLY}/water-samples")["items"]) == 1
    report = piped.json(f"/v1/blocks/{BLOCK}/water-report")
    assert report["day"] == "2026-05-01"
    assert abs(report["charge_difference_pct"]) < 10.0
    assert report["saturation"]["word"] in ("dissolves", "neutral", "scales")
    # Grape, FAO-56 Table 23: threshold 1.5, slope 9.6; NEH 623 drip form, from memory.
    assert report["salinity"]["drip_leaching_requirement_fraction"] == pytest.approx(
        0.52 / (2.0 * (1.5 + 100.0 / 9.6)), abs=1e-6
    )
    assert all(each["source"] and each["advice"] for each in report["restrictions"])
    assert report["cautions"]


def test_leaching_is_used_by_the_plan_when_turned_on(piped: Client) -> None:
    _put(piped, f"/v1/supplies/{SUPPLY}/water-samples/2026-05-01", SAMPLE)
    used = _put(piped, f"/v1/blocks/{BLOCK}/leaching", {})
    assert used["plan_leaching_fraction"] == pytest.approx(0.0218, abs=0.0001)
    assert piped.json(f"/v1/blocks/{BLOCK}")["origins"]["leaching_fraction"].startswith(
        "water report of 2026-05-01"
    )


def test_an_acid_estimate_never_comes_without_its_cautions(piped: Client) -> None:
    _put(piped, f"/v1/supplies/{SUPPLY}/water-samples/2026-05-01", SAMPLE)
    found = piped.json(
        f"/v1/blocks/{BLOCK}/acid-estimate?target_ph=6.5&acid=sulfuric&strength_pct=93"
    )
    assert found["dose_mmol_per_l"] == pytest.approx(0.47, abs=0.02)
    assert {"never-with-chlorine", "acid-into-water", "backflow-prevention"} <= {
        each["key"] for each in found["cautions"]
    }
    assert found["injector_l_per_h"] > 0.0
    # One flow everywhere: that of the pipes page, the acid and the flow check.
    pipes = piped.json(f"/v1/blocks/{BLOCK}/hydraulics")
    assert found["flow_l_per_h"] == pipes["counted_flow_l_per_h"]
    assert found["flow_origin"] == pipes["counted_flow_origin"]
    assert [each["dose_change_pct"] for each in found["ph_by_dose"]] == [
        -10.0, -5.0, -2.0, 0.0, 2.0, 5.0, 10.0,
    ]  # fmt: skip
    assert [each["nutrient"] for each in found["loads"]] == ["sulfur"] * len(found["loads"])
    assert next(iter(found)) == "cautions"
    assert found["limit"]["lowest_ph"] == 5.5 and found["injection"] is None


def test_an_injection_and_a_season_of_acid_are_worked_out(piped: Client) -> None:
    _put(piped, f"/v1/supplies/{SUPPLY}/water-samples/2026-05-01", SAMPLE)
    path = f"/v1/blocks/{BLOCK}/acid-estimate?target_ph=6.5&acid=sulfuric&strength_pct=93"
    found = piped.json(
        f"{path}&material=plastic&material=brass&injection_min=40&injection_count=6"
        "&tank_l_per_h=30&price=2.5&price_per=L"
    )
    one, season = found["injection"], found["season"]
    assert one["tank_l"] == pytest.approx(20.0)
    assert one["clean_water_l"] == pytest.approx(20.0 - one["acid"]["product_l"])
    assert one["flush_min"] > 0.0 and len(one["steps"]) == 6
    assert season["block_cost"] == pytest.approx(2.5 * 6.0 * one["acid"]["product_l"], rel=1e-4)
    keys = [each["key"] for each in found["limit"]["parts"]]
    assert keys == ["crop", "duration", "plastic", "brass"]
    refused = piped.get(f"{path}&material=gold")
    assert refused.status_code == 422 and "galvanized-steel" in refused.text


@pytest.mark.parametrize(
    ("query", "word"),
    [
        ("target_ph=8.5&acid=sulfuric&strength_pct=93", "cannot raise"),
        ("target_ph=6.5&acid=sulfuric&strength_pct=93&with_chlorine=true", "chlorine gas"),
        ("target_ph=4.5&acid=sulfuric&strength_pct=93", "a titration of this water"),
    ],
)
def test_an_unsafe_dose_is_refused_with_its_reason(piped: Client, query: str, word: str) -> None:
    _put(piped, f"/v1/supplies/{SUPPLY}/water-samples/2026-05-01", SAMPLE)
    answer = piped.get(f"/v1/blocks/{BLOCK}/acid-estimate?{query}")
    assert answer.status_code == 422
    assert word in answer.text


def test_a_chlorine_estimate_never_comes_without_its_cautions(piped: Client) -> None:
    _put(piped, f"/v1/supplies/{SUPPLY}/water-samples/2026-05-01", SAMPLE)
    path = f"/v1/blocks/{BLOCK}/chlorine-estimate?free_mg_per_l=2&product_g_per_l=125"
    found = piped.json(path)
    assert {
        "never-with-chlorine", "backflow-prevention", "chlorine-practice",
    } <= {each["key"] for each in found["cautions"]}  # fmt: skip
    assert found["injector_l_per_h"] > 0.0
    refused = piped.get(f"{path}&with_acid=true")
    assert refused.status_code == 422 and "chlorine gas" in refused.text


def test_pumping_asks_for_a_plan_and_gives_power_and_energy(
    piped: Client, piped_service: Service
) -> None:
    _plan(piped_service)
    found = piped.json(f"/v1/blocks/{BLOCK}/pumping?head_m=30&energy_price=0.1")
    assert found["power_kw"] > 0.0
    assert found["cost"] == pytest.approx(0.1 * found["energy_kwh"], abs=1e-5)
    assert piped.get("/v1/blocks/hill-farm.none/pumping?head_m=30").status_code == 404


def test_a_flow_check_without_runs_says_so(piped: Client) -> None:
    found = piped.json(f"/v1/blocks/{BARE_BLOCK_ID}/flow-check")
    assert found["verdict"] == "too-few-runs"
    assert found["run_count"] == 0


def test_a_leak_in_reported_runs_is_found(piped: Client, piped_service: Service) -> None:
    expected_l = piped.json(f"/v1/blocks/{BLOCK}/hydraulics")["inlet_flow_l_per_h"]
    begins = piped_service.clock.now().replace(hour=9) - timedelta(days=60)
    runs = [
        RunReport(
            BLOCK,
            begins + timedelta(days=place),
            60.0,
            expected_l * (1.0 + 0.01 * ((7 * place) % 5 - 2)) * (1.25 if place >= 40 else 1.0),
        )
        for place in range(60)
    ]
    assert all(run.started_at.date() < TODAY for run in runs)
    with piped_service.unit_of_work(write=True) as unit:
        report_runs(
            unit, runs, farm_id=None, reporter="invented", replanning=piped_service.replanning
        )
    found = piped.json(f"/v1/blocks/{BLOCK}/flow-check")
    assert found["verdict"] == "jump-up"
    assert found["jumps"][0]["change_fraction"] == pytest.approx(0.25, abs=0.02)
    assert found["jumps"][0]["day"] == (TODAY - timedelta(days=20)).isoformat()
    assert found["is_alarm"]
    assert found["alarm_days"][0] == (TODAY - timedelta(days=18)).isoformat()
    assert found["delays"][0]["sudden_run_count"] <= 5
    assert found["cautions"]


def test_an_injection_is_ordered_fitted_into_the_plan_and_shown_with_cautions(
    piped: Client, piped_service: Service
) -> None:
    path = f"/v1/blocks/{BLOCK}/fertigations/{PLAN_DAY}"
    ordered = _put(piped, path, ORDER)
    assert ordered["cautions"]
    assert piped.json(f"/v1/blocks/{BLOCK}/fertigations")["items"] == [ordered]
    _plan(piped_service)
    plan = piped.json(f"/v1/blocks/{BLOCK}/plan")
    injection = plan["injection"]
    assert injection["is_possible"], injection
    assert injection["cautions"]
    # What goes in is what was planned: 3 kg of urea hold 46.6 % of nitrogen.
    assert injection["nutrient_kg"]["nitrogen"] == pytest.approx(3.0 * 0.46646, rel=1e-3)
    for span in injection["spans"]:
        assert any(
            pulse["start_local"] < span["start_local"] < span["end_local"] < pulse["end_local"]
            for pulse in plan["pulses"]
        )


def test_a_day_that_has_begun_takes_no_order(piped: Client) -> None:
    answer = piped.request("PUT", f"/v1/blocks/{BLOCK}/fertigations/{TODAY}", json=ORDER)
    assert answer.status_code == 409
    assert answer.json()["errors"] == [
        {"parameter": "day", "detail": f"allowed: {PLAN_DAY} or a later day"}
    ]


def test_an_unknown_product_is_reported_by_place_in_the_order(piped: Client) -> None:
    body = {**ORDER, "products": [{"product_key": "gravel", "mass_kg": 1.0}]}
    answer = piped.request("PUT", f"/v1/blocks/{BLOCK}/fertigations/{PLAN_DAY}", json=body)
    assert answer.status_code == 422
    assert [each["pointer"] for each in answer.json()["errors"]] == ["/products"]


def test_more_product_than_dissolves_is_refused(piped: Client) -> None:
    body = {**ORDER, "products": [{"product_key": "potassium-sulfate", "mass_kg": 10.0}]}
    answer = piped.request("PUT", f"/v1/blocks/{BLOCK}/fertigations/{PLAN_DAY}", json=body)
    assert answer.status_code == 422
    assert "g/L" in answer.text
    assert [each["pointer"] for each in answer.json()["errors"]] == ["/products/0/mass_kg"]


def test_late_nitrogen_is_refused_by_its_field_until_it_is_confirmed(piped: Client) -> None:
    path = f"/v1/blocks/{BLOCK}/fertigations/2026-08-20"
    body = {**ORDER, "last_nitrogen_day": "2026-07-31"}
    answer = piped.request("PUT", path, json=body)
    assert answer.status_code == 422
    (error,) = answer.json()["errors"]
    assert error["pointer"] == "/last_nitrogen_day" and "up to 2026-07-31" in error["detail"]
    ordered = _put(piped, path, {**body, "is_late_nitrogen_confirmed": True})
    assert ordered["last_nitrogen_day"] == "2026-07-31"
    assert "nitrogen-too-late" in [each["key"] for each in ordered["advisories"]]
    assert piped.request("DELETE", path).status_code == 200


def test_an_order_can_be_taken_back(piped: Client) -> None:
    path = f"/v1/blocks/{BLOCK}/fertigations/{PLAN_DAY}"
    _put(piped, path, ORDER)
    assert piped.request("DELETE", path).json() == {"items": []}
    assert piped.request("DELETE", path).status_code == 404


def test_a_plan_without_an_order_has_no_injection(client: Client) -> None:
    assert client.json(f"/v1/blocks/{BARE_BLOCK_ID}/plan")["injection"] is None


def test_products_are_listed_with_their_nutrients(piped: Client) -> None:
    items = piped.json(f"/v1/blocks/{BLOCK}/fertilisers")["items"]
    urea = next(each for each in items if each["key"] == "urea")
    assert urea["nitrogen_fraction"] == pytest.approx(0.4665, abs=0.0002)


# --- capacity ------------------------------------------------------------------------------------


def test_the_capacity_of_a_supply_is_assessed_for_the_summers_on_record(
    own_service: Service,
) -> None:
    import_last_summer(own_service)
    client = Client(create_app(own_service, host="127.0.0.1"))
    found = client.json("/v1/supplies/test-farm.well/capacity", params={"years": 1})
    assert found["supply_id"] == "test-farm.well"
    assert sorted(found["block_ids"]) == ["test-farm.north", "test-farm.south"]
    assert [each["first_day"] for each in found["summers"]] == ["2025-04-01"]
    kept = {each["name"]: each["kept_share"] for each in found["changes"]}
    assert kept["now"] in (0.0, 1.0)
    assert kept["pump-2"] >= kept["now"]
    assert found["peaks"] and found["design_peak"]["shade_use_mm"] > 10.0
    assert found["cautions"]


def test_capacity_without_a_whole_summer_or_out_of_bounds_is_refused(piped: Client) -> None:
    path = f"/v1/supplies/{SUPPLY}/capacity"
    assert piped.get(path).status_code == 422
    assert piped.get(path, params={"years": 16}).status_code == 422
    assert piped.get("/v1/supplies/piped-farm.lake/capacity").status_code == 404


def test_two_assessments_at_once_are_not_computed(
    piped: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    # As if another request held the turn.
    held = Lock()
    held.acquire()
    monkeypatch.setattr(assess_supply, "_one_at_a_time", held)
    answer = piped.get(f"/v1/supplies/{SUPPLY}/capacity")
    assert (answer.status_code, answer.json()["type"]) == (503, "/problems/busy")
    assert int(answer.headers["Retry-After"]) > 0


def test_the_capacity_of_another_farms_supply_is_as_if_it_were_not_there(
    own_service: Service,
) -> None:
    key, token = make_key(
        "Neighbour",
        farm_id="later-farm",
        scopes=["plan:read"],
        expires_at=None,
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
    )
    client = Client(create_app(own_service))
    answer = client.get(
        "/v1/supplies/test-farm.well/capacity", headers={"Authorization": f"Bearer {token}"}
    )
    assert key.farm_id == "later-farm"
    assert answer.status_code == 404
