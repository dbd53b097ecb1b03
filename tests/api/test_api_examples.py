"""Every example of the OpenAPI document keeps to the schema that it stands beside."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from typing import Any

import jsonschema_rs
import pytest

from tests.api.openapi_snapshot import SNAPSHOT, answers_of

DOCUMENT: dict[str, Any] = json.loads(SNAPSHOT.read_text(encoding="utf-8"))
OPERATIONS = {
    operation["operationId"]: operation
    for path in DOCUMENT["paths"].values()
    for operation in path.values()
}


def _closed() -> dict[str, Any]:
    """The components, with no member allowed that is not described."""
    components: dict[str, Any] = copy.deepcopy(DOCUMENT["components"])
    for schema in components["schemas"].values():
        if "properties" in schema:
            schema.setdefault("additionalProperties", False)
    return components


COMPONENTS = _closed()


def _examples_in(place: dict[str, Any]) -> Iterator[Any]:
    """The examples of a parameter or of content."""
    if "example" in place:
        yield place["example"]
    examples = place.get("examples", {})
    yield from (
        (each["value"] for each in examples.values()) if isinstance(examples, dict) else examples
    )


def _faults(schema: dict[str, Any], example: Any) -> list[str]:
    validator = jsonschema_rs.Draft202012Validator(
        {**schema, "components": COMPONENTS}, validate_formats=True
    )
    return [f"{error.instance_path}: {error.message}" for error in validator.iter_errors(example)]


@pytest.mark.parametrize("name", OPERATIONS)
def test_examples_of_an_operation_keep_to_its_schemas(name: str) -> None:
    operation = OPERATIONS[name]
    checked = 0
    for parameter in operation.get("parameters", ()):
        schema = parameter["schema"]
        for example in (*_examples_in(parameter), *schema.get("examples", ())):
            assert _faults(schema, example) == [], parameter["name"]
    contents = [operation.get("requestBody", {}), *answers_of(DOCUMENT, operation).values()]
    for media in (each for content in contents for each in content.get("content", {}).values()):
        for example in _examples_in(media):
            assert _faults(media["schema"], example) == []
            checked += 1
    assert checked > 0


def test_examples_and_defaults_of_members_keep_to_their_schemas() -> None:
    checked = 0
    for name, schema in COMPONENTS["schemas"].items():
        for member, described in schema.get("properties", {}).items():
            defaults = [described["default"]] if "default" in described else []
            for example in (*described.get("examples", ()), *defaults):
                assert _faults(described, example) == [], f"{name}.{member}"
                checked += 1
    assert checked > 100


def test_nulls_of_examples_are_shown() -> None:
    # What an answer always has, known or not, must not look as if it could be left out.
    shown = OPERATIONS["get_block"]["responses"]["200"]["content"]["application/json"]["example"]
    assert None in shown.values()
