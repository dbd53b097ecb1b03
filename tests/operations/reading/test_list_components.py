"""The list of what is installed: complete, true, and a bill of materials by the schema."""

from __future__ import annotations

import json
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from jsonschema_rs import Draft7Validator, Registry

from service import __version__
from service.errors import NotFound
from service.operations.reading.list_components import (
    Component,
    cyclonedx_document,
    list_components,
)

SCHEMAS = files("cyclonedx.schema") / "_res"


def schema(name: str) -> Any:
    """A schema of the CycloneDX project, as its Python library brings it."""
    return json.loads((SCHEMAS / f"{name}.SNAPSHOT.schema.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def components() -> list[Component]:
    return list_components()


def test_it_holds_the_service_and_what_its_packages_need(components: list[Component]) -> None:
    assert (components[0].name, components[0].version) == ("rillwright", __version__)
    names = [each.name for each in components[1:]]
    assert names == sorted(set(names))
    # Starlette comes with FastAPI, psycopg-binary with an extra of psycopg; no test needs to run.
    assert {"fastapi", "starlette", "psycopg", "psycopg-binary"} <= set(names)
    assert not {"pytest", "mypy", "ruff"} & set(names)
    assert all(each.version == version(each.name) for each in components)
    assert all(set(each.requires) < {"rillwright", *names} for each in components)


def test_licenses_are_those_that_the_packages_state(components: list[Component]) -> None:
    stated = {each.name: (each.license, each.is_spdx) for each in components}
    assert stated["rillwright"] == ("Apache-2.0 AND Bitstream-Vera AND OFL-1.1", True)
    assert stated["psycopg"] == ("LGPL-3.0-only", True)
    assert stated["jinja2"] == ("BSD License", False)  # a classifier, which names no SPDX id
    assert stated["pyet"] == ("MIT License", False)  # the field holds the license's whole text
    assert sum(text == "" for text, _ in stated.values()) <= 2


def test_the_bill_of_materials_holds_against_the_schema(components: list[Component]) -> None:
    document = cyclonedx_document(components)
    registry = Registry(
        [
            ("http://cyclonedx.org/schema/spdx.SNAPSHOT.schema.json", schema("spdx")),
            ("http://cyclonedx.org/schema/jsf-0.82.SNAPSHOT.schema.json", schema("jsf-0.82")),
        ]
    )
    rules = Draft7Validator(schema("bom-1.6"), registry=registry)
    assert [error.message for error in rules.iter_errors(document)] == []
    assert not rules.is_valid({**document, "components": [{"name": "without a type"}]})


def test_every_reference_of_the_bill_is_one_of_its_components(components: list[Component]) -> None:
    document: Any = cyclonedx_document(components)
    own = document["metadata"]["component"]["bom-ref"]
    refs = {own, *(each["bom-ref"] for each in document["components"])}
    assert {each["ref"] for each in document["dependencies"]} == refs
    assert all(set(each["dependsOn"]) <= refs for each in document["dependencies"])
    assert document == cyclonedx_document(list_components())


def test_a_package_that_is_missing_is_named_with_who_needs_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = tmp_path / "wanting-1.0.dist-info"
    found.mkdir()
    (found / "METADATA").write_text(
        "Metadata-Version: 2.1\nName: wanting\nVersion: 1.0\n"
        "Requires-Dist: nowhere-to-be-found\n"
        'Requires-Dist: of-another-system; sys_platform == "no-such"\n'
    )
    monkeypatch.syspath_prepend(str(tmp_path))
    with pytest.raises(NotFound, match="nowhere-to-be-found, needed by wanting"):
        list_components("wanting")


def test_an_extra_is_listed_where_it_is_installed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = tmp_path / "extended-1.0.dist-info"
    found.mkdir()
    (found / "METADATA").write_text(
        "Metadata-Version: 2.1\nName: extended\nVersion: 1.0\nProvides-Extra: tools\n"
        "Requires-Dist: packaging\n"
        'Requires-Dist: mcp; extra == "tools"\n'
    )
    monkeypatch.syspath_prepend(str(tmp_path))
    with_it = list_components("extended")
    assert with_it[0].requires == ("mcp", "packaging")
    assert {"mcp", "httpx2"} <= {each.name for each in with_it}
    monkeypatch.setattr(f"{list_components.__module__}.EXTRAS", {"tools": "nowhere-to-be-found"})
    assert [each.name for each in list_components("extended")] == ["extended", "packaging"]
