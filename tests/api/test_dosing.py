"""A season's need split over days and products, and what products hold, over the API."""

from __future__ import annotations

import json
from collections.abc import Iterator

import pytest

from service.api import dosing_examples
from service.api.app import create_app
from service.api.schemas.dosing import GivenAcidOut
from service.api.schemas.fertiliser_split import SplitOut
from service.operations.waterworks.order_fertigation import save_product
from service.waterworks.fertiliser import labelled_product
from tests.api.conftest import Client
from tests.api.invented_farm import BLOCK_ID, invented_service

PATH = f"/v1/blocks/{BLOCK_ID}/fertiliser-split"
SPLIT = (
    "?nitrogen_kg_per_ha=40&potassium_kg_per_ha=20&product=ammonium-sulfate"
    "&product=potassium-sulfate&day=2026-05-01&day=2026-04-01"
)


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Client]:
    """The invented farm with a blend of its own that holds manganese."""
    with invented_service(tmp_path_factory.mktemp("dosing")) as service:
        blend = labelled_product(
            "blend", "Invented blend", ammonium_nitrogen_pct=20.0,
            micronutrient_pct={"manganese": 1.5},
        )  # fmt: skip
        save_product("test-farm", blend, unit_of_work=service.unit_of_work, clock=service.clock)
        yield Client(create_app(service, host="127.0.0.1"))


def test_a_split_has_its_cautions_first_and_accounts_for_every_nutrient(client: Client) -> None:
    found = client.json(PATH + SPLIT)
    assert next(iter(found)) == "cautions" and len(found["cautions"]) >= 4
    assert [each["day"] for each in found["days"]] == ["2026-04-01", "2026-05-01"]
    for day in found["days"]:
        sulfate, potash = day["products"]
        # Ammonium sulfate is 21.2 % nitrogen, potassium sulfate 44.9 % potassium, from formulas.
        assert sulfate["mass_kg_per_ha"] == pytest.approx(20.0 / 0.212, rel=1e-3)
        assert potash["mass_kg_per_ha"] == pytest.approx(10.0 / 0.449, rel=1e-3)
        assert sulfate["mass_kg"] == pytest.approx(sulfate["mass_kg_per_ha"] * found["area_ha"])
        assert {each["nutrient"] for each in day["accounts"]} == {
            "nitrogen", "potassium", "sulfur",
        }  # fmt: skip
    sulfur = next(each for each in found["accounts"] if each["nutrient"] == "sulfur")
    assert sulfur["asked_kg_per_ha"] == 0.0 and sulfur["given_kg_per_ha"] > 40.0
    assert "nutrient-unasked" in [each["key"] for each in found["advisories"]]
    assert [each["key"] for each in found["products"]] == ["ammonium-sulfate", "potassium-sulfate"]


def test_manganese_of_a_blend_is_shown_and_held_against_its_limits(client: Client) -> None:
    found = client.json(f"{PATH}?nitrogen_kg_per_ha=45&product=blend&day=2026-04-01")
    assert found["products"][0]["manganese_fraction"] == pytest.approx(0.015)
    texts = [each["text"] for each in found["advisories"]]
    assert any("of manganese in the season" in text and "lb/ac" in text for text in texts)
    listed = client.json(f"/v1/blocks/{BLOCK_ID}/fertilisers")["items"]
    blend = next(each for each in listed if each["key"] == "blend")
    assert blend["manganese_fraction"] == pytest.approx(0.015)
    assert blend["ammonium_nitrogen_fraction"] == pytest.approx(0.2)


@pytest.mark.parametrize(
    ("query", "word"),
    [
        ("?nitrogen_kg_per_ha=40&product=gold&day=2026-04-01", "enter it by its label"),
        ("?nitrogen_kg_per_ha=900&product=urea&day=2026-04-01", "(45 lb/ac) in one event"),
        ("?nitrogen_kg_per_ha=40&product=urea&day=2026-04-01&day=2026-04-01", "each day once"),
        ("?nitrogen_kg_per_ha=40&product=urea", "day"),
        ("?nitrogen_kg_per_ha=-1&product=urea&day=2026-04-01", "nitrogen_kg_per_ha"),
    ],
)
def test_a_split_that_cannot_be_is_refused_with_its_reason(
    client: Client, query: str, word: str
) -> None:
    answer = client.get(PATH + query)
    assert answer.status_code == 422 and word in answer.text


def test_the_example_says_all_that_the_answer_says() -> None:
    example = dosing_examples.SPLIT
    assert json.loads(SplitOut.model_validate(example).model_dump_json()) == example


def test_acid_that_was_given_is_stored_listed_and_deleted(client: Client) -> None:
    path = f"/v1/blocks/{BLOCK_ID}/acid-treatments"
    body = {"acid": "sulfuric", "strength_pct": 93.0, "product_l": 7.5}
    answer = client.request("PUT", f"{path}/2026-06-02", json=body)
    assert answer.status_code == 200, answer.text
    found = client.json(path)
    assert found == answer.json() and [each["day"] for each in found["items"]] == ["2026-06-02"]
    assert found["product_kg"] == pytest.approx(7.5 * 1.8279)
    assert found["brought"][0]["nutrient"] == "sulfur" and found["carbonate_kg_per_ha"] > 0.0
    late = client.request("PUT", f"{path}/2030-01-01", json=body)
    assert late.status_code == 422 and "a day up to" in late.text
    assert client.request("DELETE", f"{path}/2026-06-02").json()["items"] == []
    assert client.request("DELETE", f"{path}/2026-06-02").status_code == 404


def test_the_example_of_given_acid_says_all_that_the_answer_says() -> None:
    example = dosing_examples.GIVEN_ACID
    assert json.loads(GivenAcidOut.model_validate(example).model_dump_json()) == example
