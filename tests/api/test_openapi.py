"""The OpenAPI document: agreed, complete, and with examples that keep to it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi import FastAPI
from pydantic import BaseModel

from service.agronomy.units import NOMENCLATURE
from service.api import examples
from service.api.block_examples import BLOCK_PAGE
from service.api.problem_types import PROBLEM_TYPES
from service.api.schemas.balances import BalanceOut
from service.api.schemas.blocks import BlockOut, BlockPageOut
from service.api.schemas.explanations import ExplanationOut
from service.api.schemas.plans import PlanOut
from service.api.schemas.status import StatusOut
from tests.api.conftest import Client
from tests.api.openapi_snapshot import SNAPSHOT, answers_of, openapi_text

UNIT_SUFFIX = re.compile(
    r"_(mm|m|m2|l|min|s|h|c|pct|fraction|ratio|count|deg|kpa|mj_m2|m_s|c_day|l_per_h|mm_per_h)$"
)
WITHOUT_UNIT = {"version", "status", "page_size"}


def _operations(document: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for path in document["paths"].values():
        yield from path.values()


@pytest.fixture(scope="module")
def document(app: FastAPI) -> dict[str, Any]:
    return app.openapi()


def test_the_document_is_the_one_agreed() -> None:
    assert openapi_text() == SNAPSHOT.read_text(encoding="utf-8"), (
        "the API has changed; if it was meant to, run `python -m tests.api.openapi_snapshot`"
    )


def test_the_document_is_served_as_openapi_3_1(client: Client) -> None:
    served = client.json("/openapi.json")
    assert served["openapi"].startswith("3.1.")
    assert served == json.loads(SNAPSHOT.read_text(encoding="utf-8"))


def test_every_operation_is_named_and_explained(document: dict[str, Any]) -> None:
    operations = list(_operations(document))
    names = [operation["operationId"] for operation in operations]
    assert len(set(names)) == len(names) > 0
    for operation in operations:
        assert operation["summary"] and operation["description"] and operation["tags"]
        for parameter in operation.get("parameters", ()):
            assert parameter["description"], parameter["name"]


VERBS = {
    "GET": "get list explain compare check assess estimate split plan follow export",
    "POST": "create report record add pause set rotate send resend",
    "PUT": "replace record use order",
    "DELETE": "retire cancel remove",
}


def test_operations_are_named_by_a_verb_and_what_it_is_done_to(document: dict[str, Any]) -> None:
    for path in document["paths"].values():
        for method, operation in path.items():
            name = operation["operationId"]
            verb, _, thing = name.partition("_")
            assert verb in VERBS[method.upper()].split(), name
            assert re.fullmatch(r"[a-z]+(_[a-z]+)*", thing), name
            assert not {"v1", "get", "post", "put", "delete"} & set(thing.split("_")), name


def _open_tables(place: Any, path: str = "") -> Iterator[str]:
    """Where something is an object of which the document says nothing more."""
    if isinstance(place, list):
        for index, each in enumerate(place):
            yield from _open_tables(each, f"{path}/{index}")
    elif isinstance(place, dict):
        is_object = place.get("type") == "object" and "properties" not in place
        if is_object and place.get("additionalProperties", True) is True:
            yield path
        for name, each in place.items():
            if name not in ("example", "examples", "default"):
                yield from _open_tables(each, f"{path}/{name}")


def test_everything_but_the_values_of_the_record_of_changes_is_typed(
    document: dict[str, Any],
) -> None:
    changed = "/components/schemas/ChangeOut/properties"
    assert list(_open_tables(document)) == [f"{changed}/before/anyOf/0", f"{changed}/after/anyOf/0"]


def test_texts_of_quantities_say_their_units_and_have_a_pattern(document: dict[str, Any]) -> None:
    schemas = document["components"]["schemas"]
    quantities = {
        each["$ref"].rpartition("/")[2]
        for name, table in schemas.items()
        if name.endswith("Table")
        for field in table["properties"].values()
        if "x-unit" in field
        for each in (*field.get("anyOf", ()), *field.get("allOf", ()))
        if "$ref" in each
    }
    assert {"Length", "Duration", "Flow", "Area"} <= quantities
    for name in quantities:
        assert schemas[name]["pattern"]
        assert name == "NumberText" or "Units: " in schemas[name]["description"], name


def test_every_answer_of_every_operation_has_an_example(document: dict[str, Any]) -> None:
    for operation in _operations(document):
        for status, answer in answers_of(document, operation).items():
            if status == "304":
                assert "content" not in answer
                continue
            for media in answer["content"].values():
                assert media.get("example") or media.get("examples"), (operation, status)


def test_every_operation_documents_its_problems(document: dict[str, Any]) -> None:
    for operation in _operations(document):
        answers = answers_of(document, operation)
        assert {"404", "422", "500", "503"} <= set(answers)
        for status in ("404", "422", "500", "503"):
            assert list(answers[status]["content"]) == ["application/problem+json"]
    assert "HTTPValidationError" not in document["components"]["schemas"]


@pytest.mark.parametrize(
    ("model", "example"),
    [
        (BlockPageOut, BLOCK_PAGE),
        (BlockOut, examples.BLOCK),
        (PlanOut, examples.PLAN),
        (ExplanationOut, examples.EXPLANATION),
        (BalanceOut, examples.BALANCE),
        (StatusOut, examples.STATUS),
    ],
)
def test_an_example_says_all_that_its_answer_says(
    model: type[BaseModel], example: dict[str, Any]
) -> None:
    # An example that lacks a field, or has one too many, does not come back the same.
    assert json.loads(model.model_validate(example).model_dump_json()) == example


def test_problem_examples_name_types_that_have_a_page(
    document: dict[str, Any], client: Client
) -> None:
    known = {kind.uri for kind in PROBLEM_TYPES}
    for operation in _operations(document):
        for answer in answers_of(document, operation).values():
            problem_types = answer.get("content", {}).get("application/problem+json", {})
            for example in problem_types.get("examples", {}).values():
                assert example["value"]["type"] in known
    for uri in known:
        assert client.get(uri).status_code == 200


def test_numbers_carry_units_of_the_nomenclature(document: dict[str, Any]) -> None:
    for schema_name, schema in document["components"]["schemas"].items():
        for name, field in schema.get("properties", {}).items():
            kinds = {field.get("type"), *(each.get("type") for each in field.get("anyOf", ()))}
            if not kinds & {"number", "integer"} or name in WITHOUT_UNIT:
                continue
            if UNIT_SUFFIX.search(name):
                assert name in NOMENCLATURE, f"{schema_name}.{name}"
            assert field["description"], f"{schema_name}.{name}"
