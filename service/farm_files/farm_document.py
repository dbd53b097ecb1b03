"""A farm as JSON: the tables of a farm file under the same keys, checked by the same rules.

Quantities are written as in a file, with their unit (``"10 ft"``); days and times are text.
``null`` counts as not given. Faults name their place by a JSON pointer (RFC 6901), counting from 0.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Any, cast

import orjson

from service.errors import FarmFileInvalid, Fault
from service.farm_files.block_keys import FIXED
from service.farm_files.change_text import read_change
from service.farm_files.farm_file import read_bundle, write_farm_file
from service.farm_files.farm_keys import DEFAULT_ISSUE_WALL_MIN, SupplyKeys
from service.farm_files.rule_text import read_against, read_water_limit
from service.farm_files.run_file import parse_runs
from service.farm_files.schema import document_schema
from service.farm_files.toml_table import TomlTable
from service.ports import FarmDefaults
from service.records.comparison import Against
from service.records.farms import FarmBundle
from service.records.feedback import RunFile
from service.records.water_use import WaterLimit
from service.records.what_if import Change, ChangeTexts

_ITEM = re.compile(r"\[(\d+)\]")


class JsonTable(TomlTable):
    """A table whose place is a JSON pointer."""

    def __init__(self, content: Mapping[str, object], place: str, faults: list[Fault]) -> None:
        given = {key: value for key, value in content.items() if value is not None}
        super().__init__(given, place, faults)

    def _at(self, name: str) -> str:
        return f"{self._place}/{_pointer(name)}"

    def _inside(self, key: str) -> str:
        return self._at(key)

    def _inside_item(self, key: str, index: int, item: Mapping[str, object]) -> str:
        return f"{self._at(key)}/{index - 1}"


class JsonFarmFormat:
    """The FarmFormat port: farms as JSON documents and as farm files."""

    def parse(self, document: Mapping[str, object], *, below: str = "") -> FarmBundle:
        """The farm that a document describes; raises FarmFileInvalid.

        Faults below the pointer ``below`` are reported relative to it.
        """
        faults: list[Fault] = []
        bundle = read_bundle(JsonTable(document, "", faults))
        if faults:
            raise FarmFileInvalid(
                "the farm cannot be stored",
                [
                    replace(each, where=each.where.removeprefix(below))
                    if each.where.startswith(f"{below}/")
                    else each
                    for each in faults
                ],
            )
        return bundle

    def schema(self, parts: Collection[str], *, refs: str) -> Mapping[str, Any]:
        """The JSON Schema of documents with these parts: ``properties``, and ``definitions`` that
        they refer to by the prefix ``refs``.
        """
        return document_schema(parts, refs=refs)

    def against(
        self, rule: str, *, days_a_week: int, water_price: str | None, nitrogen: str | None
    ) -> Against:
        """A rule of thumb to compare with, and what water and nitrogen count; InputInvalid."""
        return read_against(
            rule, days_a_week=days_a_week, water_price=water_price, nitrogen=nitrogen
        )

    def water_limit(self, text: str) -> WaterLimit:
        """A permit or budget: a volume, or a depth over the ground; InputInvalid."""
        return read_water_limit(text, where="limit")

    def change(self, texts: ChangeTexts) -> Change:
        """What is taken to be otherwise, from the quantities of a question; InputInvalid."""
        return read_change(texts)

    def runs(self, content: bytes, *, name: str) -> RunFile:
        """The runs of a file, which messages call ``name``; InputInvalid with every fault."""
        return parse_runs(content, name=name)

    def defaults(self) -> FarmDefaults:
        """Defaults for what a document leaves out."""
        return FarmDefaults(
            issue_wall_min=DEFAULT_ISSUE_WALL_MIN,
            windows=SupplyKeys.windows.default,
            block_numbers={
                key.field: key.fixed_default for key in FIXED if key.fixed_default is not None
            },
        )

    def document(self, bundle: FarmBundle) -> dict[str, object]:
        """The bundle as a document; parsing it gives the same bundle."""
        tables = tomllib.loads(write_farm_file(bundle))
        return cast(dict[str, object], orjson.loads(orjson.dumps(tables)))

    def text(self, bundle: FarmBundle) -> str:
        """The bundle as the text of a farm file."""
        return write_farm_file(bundle)


def _pointer(key: str) -> str:
    """A key of a fault, ``windows[2]``, as the end of a pointer, ``windows/1``."""
    name = _ITEM.sub(lambda match: f"\0{int(match[1]) - 1}", key)
    return name.replace("~", "~0").replace("/", "~1").replace("\0", "/")
