"""Leaf, petiole and soil tests over the API, and the season's plan that follows."""

from __future__ import annotations

import json
from typing import Any

import pytest
from pydantic import BaseModel

from service.api import nutrition_examples as examples
from service.api.schemas import nutrition as schemas
from service.bootstrap import Service
from service.operations.access.manage_keys import Right
from tests.api.callers import Caller, caller_of
from tests.api.invented_farm import BLOCK_ID, FARM_ID, TODAY

TESTS = f"/v1/blocks/{BLOCK_ID}/nutrient-tests"
PLAN = f"/v1/blocks/{BLOCK_ID}/nutrient-plan"
SOIL = {
    "day": "2026-03-01",
    "kind": "soil",
    "extractant": "mehlich-3",
    "texture": "sandy-loam",
    "readings": [
        {"nutrient": "pH", "value": 5.8},
        {"nutrient": "P", "value": 22.0, "unit": "ppm"},
        {"nutrient": "K", "value": 70.0, "unit": "ppm"},
        {"nutrient": "cec", "value": 7.0, "unit": "meq/100 g"},
    ],
}


def _errors(answer: Any) -> list[str]:
    assert answer.status_code == 422, answer.text
    return [each.get("pointer") or each.get("parameter") for each in answer.json()["errors"]]


def test_a_test_is_stored_once_and_listed_with_its_classes(caller: Caller) -> None:
    first = caller.post(TESTS, examples.BODY)
    assert first.status_code == 200, first.text
    assert first.json()["is_new"]
    again = caller.post(TESTS, examples.BODY).json()
    assert not again["is_new"] and not again["is_changed"]
    (found,) = caller.get(TESTS).json()["items"]
    assert found == first.json()["test"]
    nitrogen = next(each for each in found["cards"] if each["nutrient"] == "N")
    assert nitrogen["leaf_class"] in ("deficient", "low")
    assert nitrogen["low"] > nitrogen["value"] and nitrogen["source"] and nitrogen["basis"]
    assert next(e for e in found["cards"] if e["nutrient"] == "Zn")["word"] == "not tested"


def test_a_sample_out_of_its_window_has_no_class_and_says_why(caller: Caller) -> None:
    found = caller.post(TESTS, {**examples.BODY, "day": "2026-05-01"}).json()["test"]
    assert not found["is_classed"]
    assert any("outside of the window" in note for note in found["notes"])
    assert {each["leaf_class"] for each in found["cards"]} == {"unknown"}


def test_the_laboratorys_own_range_comes_first_in_its_own_unit(caller: Caller) -> None:
    own = [{"nutrient": "N", "low": 15.0, "high": 20.0, "unit": "g/kg"}]
    found = caller.post(TESTS, {**examples.BODY, "own_ranges": own}).json()["test"]
    nitrogen = next(each for each in found["cards"] if each["nutrient"] == "N")
    assert (nitrogen["low"], nitrogen["high"], nitrogen["basis"]) == (1.5, 2.0, "laboratory")
    assert nitrogen["leaf_class"] == "sufficient"


def test_faults_are_reported_where_they_are_in_the_body(caller: Caller) -> None:
    readings = examples.BODY["readings"]
    twice: dict[str, Any] = {
        **examples.BODY,
        "readings": [
            readings[0], {"nutrient": "K", "value": 45.0, "unit": "%"},
            {"nutrient": "Xy", "value": 1.0, "unit": "%"},
        ],
    }  # fmt: skip
    assert _errors(caller.post(TESTS, twice)) == ["/readings/1/value", "/readings/2/value"]
    wrong = {**examples.BODY, "crop": "banana"}
    assert _errors(caller.post(TESTS, wrong)) == ["/crop"]
    coming = {**examples.BODY, "day": "2030-08-01"}
    assert _errors(caller.post(TESTS, coming)) == ["/day"]
    ranges = [{"nutrient": "N", "low": 2.0, "high": 1.0, "unit": "%"}]
    falling = {**examples.BODY, "own_ranges": ranges}
    assert _errors(caller.post(TESTS, falling)) == ["/own_ranges/0"]
    assert caller.get(TESTS).json()["items"] == []


def test_the_plan_rests_on_the_tests_and_names_its_gaps(caller: Caller) -> None:
    for body in (examples.BODY, SOIL):
        assert caller.post(TESTS, body).status_code == 200
    found = caller.get(f"{PLAN}?base_kg_per_ha=55&age_years=6&season=2027").json()
    assert (found["leaf_day"], found["soil_day"]) == ("2025-08-01", "2026-03-01")
    steps = [each["kg_per_ha"] for each in found["nitrogen_lines"]]
    assert sum(steps[:-1]) == pytest.approx(steps[-1]) == pytest.approx(found["nitrogen_kg_per_ha"])
    assert sum(each["kg_per_ha"] for each in found["parts"]) == pytest.approx(steps[-1], abs=1e-3)
    assert max(each["day"] for each in found["parts"]) <= found["last_nitrogen_day"]
    assert found["soil_ph"]["sulfur_parts"] and found["soil_ph"]["notes"]
    assert any("nitrate" in gap for gap in found["gaps"])
    assert any("laboratory's own" in note for note in found["notes"])


def test_a_legal_cap_takes_away_from_the_seasons_end(caller: Caller) -> None:
    caller.post(TESTS, examples.BODY)
    asked = f"{PLAN}?base_kg_per_ha=55&age_years=6&season=2027"
    whole = caller.get(asked).json()
    capped = caller.get(f"{asked}&legal_cap_kg_per_ha=25").json()
    assert capped["nitrogen_kg_per_ha"] == 25.0
    assert sum(each["kg_per_ha"] for each in capped["parts"]) == pytest.approx(25.0)
    assert capped["parts"][0] == whole["parts"][0]
    assert len(capped["parts"]) < len(whole["parts"])
    assert any("from its last part backwards" in note for note in capped["notes"])


def test_a_plan_that_cannot_be_made_says_which_parameter(caller: Caller) -> None:
    assert _errors(caller.get(PLAN)) == ["crop"]
    caller.post(TESTS, examples.BODY)
    assert _errors(caller.get(f"{PLAN}?soil_ph_target=7")) == ["soil_ph_target"]
    assert _errors(caller.get(f"{PLAN}?product=chalk")) == ["product"]
    assert _errors(caller.get(f"{PLAN}?acidified_ph=6")) == ["acidified_ph"]


def test_who_only_reads_plans_may_not_store_a_test(own_service: Service) -> None:
    reader = caller_of(own_service, FARM_ID, str(Right.PLAN_READ))
    assert reader.get(TESTS).status_code == 200
    assert reader.post(TESTS, examples.BODY).status_code == 403
    stranger = caller_of(own_service, "other-farm")
    assert stranger.get(TESTS).status_code == 404
    assert stranger.get(PLAN).status_code == 404


@pytest.mark.parametrize(
    ("model", "example"),
    [
        (schemas.NutrientTestOut, examples.TEST),
        (schemas.NutrientTestStoredOut, examples.STORED),
        (schemas.NutrientPlanOut, examples.PLAN),
    ],
)
def test_an_example_says_all_that_its_answer_says(
    model: type[BaseModel], example: dict[str, Any]
) -> None:
    assert json.loads(model.model_validate(example).model_dump_json()) == example


def test_the_next_sample_is_due_in_the_crops_window(caller: Caller) -> None:
    caller.post(TESTS, examples.BODY)
    found = caller.get(PLAN).json()
    assert found["next_leaf_closes"] >= TODAY.isoformat()
    assert found["next_leaf_opens"] < found["next_leaf_closes"]
