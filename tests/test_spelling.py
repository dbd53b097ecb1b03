"""English that users read is spelled the American way."""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.main import get_command

from service.cli import app
from service.translations import wording
from service.translations.catalogue import read_catalogue
from tests.api.openapi_snapshot import SNAPSHOT
from tests.spelling import BRITISH, british

ROOT = Path(__file__).resolve().parent.parent
PAPERS = ("README.md", "examples/README.md", "examples/farm-template.toml", "deploy")
ONLY_RECOGNIZED = {
    "service/farm_files/quantities.py",
    "service/farm_files/station_columns.py",
    "service/farm_files/weather_columns.py",
}
"""Modules that list how units are written by others."""
NAME = re.compile(r"[\w/-]*fertiliser[\w/#-]*")
"""A route, a key or an anchor, which stays as it was given."""


def prose(text: str) -> str:
    """A text without the names in it: what is in backquotes, addresses, words with a hyphen."""
    without = re.sub(r"`[^`]*`", " ", text)
    return NAME.sub(lambda found: "" if re.search(r"[/_#-]", found[0]) else found[0], without)


def texts_of(source: str) -> Iterator[str]:
    """The strings of a module that are prose: with a space, and no docstring."""
    tree = ast.parse(source)
    notes = {id(each.value) for each in ast.walk(tree) if isinstance(each, ast.Expr)}
    for each in ast.walk(tree):
        if not isinstance(each, ast.Constant) or id(each) in notes:
            continue
        if isinstance(each.value, str) and " " in each.value:
            yield each.value


def test_no_string_of_the_service_is_spelled_the_british_way() -> None:
    found = {}
    for path in sorted((ROOT / "service").rglob("*.py")):
        name, source = path.relative_to(ROOT).as_posix(), path.read_text("utf-8")
        if name in ONLY_RECOGNIZED or BRITISH.search(source) is None:
            continue
        words = {word for text in texts_of(source) for word in british(prose(text))}
        if words:
            found[name] = words
    assert found == {}


def test_no_text_of_the_catalog_is_spelled_the_british_way() -> None:
    texts = [str(each.id) for each in read_catalogue("en") if each.id]
    assert len(texts) > 1000
    assert {word for text in texts for word in british(prose(text))} == set()


def test_no_help_of_a_command_is_spelled_the_british_way() -> None:
    commands = get_command(app).commands.values()  # type: ignore[attr-defined]  # it is a group
    for command in commands:
        texts = [command.help or "", *(getattr(each, "help", "") or "" for each in command.params)]
        assert [word for text in texts for word in british(prose(text))] == [], command.name


def test_the_document_of_the_api_is_spelled_the_american_way() -> None:
    said: list[str] = []

    def gather(node: object, key: str = "") -> None:
        if isinstance(node, dict):
            for name, value in node.items():
                gather(value, name)
        elif isinstance(node, list):
            for value in node:
                gather(value, key)
        elif isinstance(node, str) and " " in node and key != "title":  # titles are names
            said.append(node)

    gather(json.loads(SNAPSHOT.read_text("utf-8")))
    assert len(said) > 1000
    assert {word for text in said for word in british(prose(text))} == set()


@pytest.mark.parametrize("name", PAPERS)
def test_no_paper_is_spelled_the_british_way(name: str) -> None:
    path = ROOT / name
    files = sorted(path.glob("*.md")) if path.is_dir() else [path]
    assert files
    for file in files:
        assert british(prose(file.read_text("utf-8"))) == [], file.name


def test_readers_of_either_unit_system_read_the_same_spelling() -> None:
    for units in ("us", "si"):
        assert wording("en", units).gettext("Fertilizer in the water") == "Fertilizer in the water"


def test_what_people_typed_stays_as_they_typed_it() -> None:
    words, typed = wording("en", "us"), "Grey Litre fertiliser"
    assert words.gettext("{first} to {last}", first=typed, last="x") == f"{typed} to x"
    assert words.gettext(typed) == typed


def test_british_prose_is_noticed_and_names_are_not() -> None:
    assert british(prose("Litres of fertiliser, analysed")) == ["litres", "fertiliser", "analysed"]
    assert british(prose("see `fertilisers` and /v1/blocks/x/fertiliser-split")) == []
    (text,) = texts_of('"""Grey."""\nX = "the colour of it"\nY = "fertiliser"\n')
    assert british(text) == ["colour"]
