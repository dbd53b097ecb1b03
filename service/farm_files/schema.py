"""The declared keys of a farm file as JSON Schema: for the API's document, and for editors.

    python -m service.farm_files.schema examples/farm.schema.json

writes the editors' file; without a name it is printed. A schema says what one key may hold. Rules
across keys (a supply that can feed its blocks, a zone that fits its place) are checked only by the
reader. Whatever the reader accepts conforms to the schema, except for digits of other scripts.

Only what JSON Schema draft 7, which editors know, and 2020-12, which OpenAPI 3.1 uses, have in
common is used. Quantities with a unit are texts, so their bounds are in ``x-minimum``,
``x-maximum`` and ``x-unit``.
"""

from __future__ import annotations

import inspect
import json
import re
import sys
from collections.abc import Collection
from dataclasses import dataclass, field
from functools import singledispatchmethod
from pathlib import Path
from typing import Any

from service.agronomy.civil_day import wall_text
from service.agronomy.records import WallWindow
from service.farm_files.farm_keys import FarmFileKeys
from service.farm_files.keys import (
    MOST_WINDOWS,
    NO_LIMIT,
    SLUG_PATTERN,
    ChoiceKey,
    ChoicesKey,
    DayKey,
    IdKey,
    IntegerKey,
    Key,
    MailKey,
    MomentKey,
    MonthDayKey,
    NotesKey,
    NumberKey,
    NumbersKey,
    PairKey,
    PatternKey,
    PointsKey,
    Table,
    TableKey,
    TablesKey,
    TextKey,
    TimeKey,
    WindowsKey,
    ZoneKey,
)
from service.farm_files.quantities import Measure, spelling_pattern, units_of

Schema = dict[str, Any]
DIALECT = "http://json-schema.org/draft-07/schema#"
_NUMBER = r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,3})?"
_WALL = "([01]?[0-9]|2[0-4]):[0-5][0-9]"
_DATE = "[0-9]{4}-[0-9]{2}-[0-9]{2}"
_MONTH_DAY: Schema = {
    "type": "string",
    "pattern": "^(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$",
    "examples": ["03-20"],
}
_IN_ONE_LINE = r"^[^\x00-\x1f\x7f]*[^\x00-\x20\x7f][^\x00-\x1f\x7f]*$"
_NULL: Schema = {"type": "null"}
_EXAMPLE = re.compile(r"'(?P<text>[^']*)'|(?P<number>-?[0-9.]+)")


def editor_schema() -> Schema:
    """The schema of a whole farm file."""
    book = _Book("#/definitions/", takes_null=False)
    whole = book.table(FarmFileKeys)
    return {
        "$schema": DIALECT,
        **whole,
        "title": "Rillwright farm file",
        "definitions": dict(sorted(book.definitions.items())),
    }


def document_schema(parts: Collection[str], *, refs: str) -> Schema:
    """The schema of a farm's JSON document with some of its parts; definitions are at ``refs``.

    ``null`` counts as not given wherever a key may be left out.
    """
    book = _Book(refs, takes_null=True)
    properties = {key.name: book.value(key) for key in FarmFileKeys.declared() if key.name in parts}
    return {"properties": properties, "definitions": dict(sorted(book.definitions.items()))}


def described(key: Key) -> str:
    """The meaning of a key, its bounds and its default, in sentences."""
    sentences = [key.about]
    if isinstance(key, NumberKey | NumbersKey):
        unit = f" {key.measure.unit}" if key.measure.unit else ""
        sentences.append(f"{key.measure.lowest:,.12g} to {key.measure.highest:,.12g}{unit}.")
    left_out = key.otherwise
    if isinstance(key, NumberKey) and not left_out and key.fixed_default is not None:
        left_out = _written(key.fixed_default, key.measure)
        if key.origin:
            left_out += f" ({key.origin})"
    if left_out:
        sentences.append(f"Left out: {left_out}.")
    return " ".join(sentences)


@dataclass(slots=True)
class _Book:
    """Schemas of keys, and the definitions that they refer to."""

    refs: str
    takes_null: bool
    definitions: dict[str, Schema] = field(default_factory=dict)

    def table(self, table: type[Table]) -> Schema:
        keys = table.declared()
        return {
            "title": table.title(),
            "description": " ".join(inspect.cleandoc(table.__doc__ or "").split()),
            "type": "object",
            "properties": {key.name: self.prop(key) for key in keys},
            "required": [key.name for key in keys if key.is_needed],
            "additionalProperties": False,
        }

    def prop(self, key: Key) -> Schema:
        """The schema of a key, with its description, bounds and default."""
        value = self.value(key)
        if self.takes_null and not key.is_needed and not isinstance(key, TablesKey):
            ways = value.pop("anyOf") if set(value) == {"anyOf"} else [value]
            value = {"anyOf": [*ways, _NULL]}
        elif "$ref" in value:
            value = {"allOf": [value]}  # draft 7 ignores whatever is next to a reference
        schema: Schema = {"description": described(key), **value}
        if isinstance(key, NumberKey):
            schema |= _facts(key.measure)
            if key.fixed_default is not None:
                default = key.fixed_default
                schema["default"] = _written(default, key.measure) if key.measure.unit else default
        return schema

    def ref(self, name: str, schema: Schema | None = None) -> Schema:
        if schema is not None:
            self.definitions.setdefault(name, schema)
        return {"$ref": f"{self.refs}{name}"}

    def measured(self, measure: Measure, *, is_whole: bool = False) -> Schema:
        """A quantity, or a number without a unit."""
        if measure.is_difference:
            bounds = {"minimum": measure.lowest, "maximum": measure.highest}
            return {"anyOf": [{"type": "number", **bounds}, self._dimension(measure.dimension)]}
        if not measure.takes_bare_numbers:
            return self._dimension(measure.dimension)
        scale = 100.0 if measure.unit else 1.0
        number = {
            "type": "integer" if is_whole else "number",
            "minimum": measure.lowest / scale,
            "maximum": measure.highest / scale,
        }
        text = {
            "title": "NumberText",
            "description": "A number as text; with % it is divided by a hundred.",
            "type": "string",
            "pattern": rf"^\s*{_NUMBER}\s*({spelling_pattern('share')})?\s*$",
        }
        return {"anyOf": [number, self.ref("NumberText", text)]}

    def _dimension(self, name: str) -> Schema:
        title = name.title().replace(" ", "")
        schema = {
            "title": title,
            "description": f"{name.capitalize()} as text: a number with its unit; decimals take a"
            f" point. Units: {', '.join(units_of(name))}, or longer spellings of them.",
            "type": "string",
            "pattern": rf"^\s*{_NUMBER}\s*({spelling_pattern(name)})\s*$",
        }
        return self.ref(title, schema)

    @singledispatchmethod
    def value(self, key: Key) -> Schema:
        """The schema of the value that a key takes."""
        raise TypeError(f"no schema is known for {type(key).__name__}")

    @value.register
    def _(self, key: NumberKey) -> Schema:
        return (
            self._dimension("head of water")
            if key.takes_pressure
            else self.measured(key.measure, is_whole=key.is_whole)
        )

    @value.register
    def _(self, key: IntegerKey) -> Schema:
        return {"type": "integer", "minimum": key.lowest, "maximum": key.highest}

    @value.register
    def _(self, key: TextKey) -> Schema:
        schema: Schema = {"type": "string", "maxLength": key.longest, "pattern": _IN_ONE_LINE}
        return {**schema, "examples": [key.example]} if key.example else schema

    @value.register
    def _(self, key: PatternKey) -> Schema:
        return {"type": "string", "pattern": f"^{key.pattern}$", "examples": [key.example]}

    @value.register
    def _(self, key: IdKey) -> Schema:
        return {"type": "string", "pattern": f"^{SLUG_PATTERN}$", "examples": [key.example]}

    @value.register
    def _(self, key: ChoiceKey) -> Schema:
        words: Schema = {"title": _title(key), "type": "string", "enum": list(key.choices)}
        if not key.is_spelt_freely:
            return words if key.default is None else {**words, "default": key.default}
        spelt = "|".join(_in_any_case(word).replace("-", "[ -]") for word in key.choices)
        return {"anyOf": [words, {"type": "string", "pattern": rf"^\s*({spelt})\s*$"}]}

    @value.register
    def _(self, key: ChoicesKey) -> Schema:
        words = {"title": _title(key), "type": "string", "enum": list(key.choices)}
        return {"type": "array", "items": words, "default": list(key.choices)}

    @value.register
    def _(self, key: MailKey) -> Schema:
        return {"type": "string", "pattern": r"^\S+@\S+$", "examples": ["ana@example.org"]}

    @value.register
    def _(self, key: ZoneKey) -> Schema:
        zone = {"type": "string", "pattern": r"^(UTC|[^\s/]+(/[^\s/]+)+)$"}
        return {**zone, "examples": ["America/New_York", "UTC"]}

    @value.register
    def _(self, key: TimeKey) -> Schema:
        # TOML has times of its own, which have seconds.
        seconds = "" if self.takes_null else "(:00)?"
        clock = "([01]?[0-9]|2[0-3]):[0-5][0-9]"
        schema: Schema = {
            "type": "string",
            "pattern": f"^({clock}|24:00){seconds}$" if key.is_end else f"^{clock}{seconds}$",
            "examples": ["05:30"],
        }
        return schema if key.default is None else {**schema, "default": wall_text(key.default)}

    @value.register
    def _(self, key: WindowsKey) -> Schema:
        span = {
            "type": "string",
            "pattern": rf"^\s*{_WALL}\s*-\s*{_WALL}\s*$",
            "examples": ["04:00-21:00", "20:00-24:00"],
        }
        schema: Schema = {"type": "array", "items": span, "minItems": 1, "maxItems": MOST_WINDOWS}
        return (
            {**schema, "default": [_span(each) for each in key.default]} if key.default else schema
        )

    @value.register
    def _(self, key: MonthDayKey) -> Schema:
        return dict(_MONTH_DAY)

    @value.register
    def _(self, key: DayKey) -> Schema:
        return {
            "type": "string",
            "pattern": rf"^{_DATE}([ T]00:00(:00)?)?$",
            "examples": ["2026-04-01"],
        }

    @value.register
    def _(self, key: MomentKey) -> Schema:
        return {
            "type": "string",
            "pattern": rf"^{_DATE}([ T][0-9]{{2}}:[0-9]{{2}}(:[0-9]{{2}}(\.[0-9]+)?)?)?$",
            "examples": ["2026-06-20", "2026-06-20T06:00:00"],
        }

    @value.register
    def _(self, key: NumbersKey) -> Schema:
        item = {**self.measured(key.measure), **_facts(key.measure)}
        return {"type": "array", "items": item, "minItems": key.count, "maxItems": key.count}

    @value.register
    def _(self, key: PairKey) -> Schema:
        head = self._dimension("head of water")
        return {"type": "array", "items": head, "minItems": 2, "maxItems": 2}

    @value.register
    def _(self, key: PointsKey) -> Schema:
        along = _MONTH_DAY if key.along is None else self.measured(key.along)
        ways = [along, self.measured(key.value)]
        either = ways[0] if ways[0] == ways[1] else {"anyOf": ways}
        point = {"type": "array", "items": either, "minItems": 2, "maxItems": 2}
        return {"type": "array", "items": point, **_counts(key.fewest, key.most)}

    @value.register
    def _(self, key: TableKey) -> Schema:
        ways = [self._table_ref(each) for each in key.tables]
        return ways[0] if len(ways) == 1 else {"anyOf": ways}

    @value.register
    def _(self, key: TablesKey) -> Schema:
        items = self._table_ref(key.table)
        return {"type": "array", "items": items, **_counts(key.fewest, key.most)}

    @value.register
    def _(self, key: NotesKey) -> Schema:
        title = f"{_title(key)}Table"
        text: Schema = {"type": "string", "maxLength": key.longest}
        note = {"anyOf": [text, _NULL]} if self.takes_null else text
        schema = {
            "title": title,
            "description": key.about,
            "type": "object",
            "properties": {name: dict(note) for name in key.names()},
            "additionalProperties": False,
        }
        return self.ref(title, schema)

    def _table_ref(self, table: type[Table]) -> Schema:
        return self.ref(table.title(), self.table(table))


def _title(key: Key) -> str:
    """What generated clients call the values of a key."""
    return key.name.title().replace("_", "")


def _counts(fewest: int, most: int) -> Schema:
    return {
        **({"minItems": fewest} if fewest else {}),
        **({"maxItems": most} if most != NO_LIMIT else {}),
    }


def _facts(measure: Measure) -> Schema:
    """Bounds and examples that a text schema cannot express."""
    bounds: Schema = {"x-minimum": measure.lowest, "x-maximum": measure.highest}
    facts = {**bounds, "x-unit": measure.unit} if measure.unit else {}
    return {**facts, "examples": [_example(each) for each in measure.examples]}


def _example(text: str) -> str | float:
    """An example of a measure, ``'10 ft'`` or ``0.16 inland``, as a value."""
    match = _EXAMPLE.match(text)
    if match is None:
        raise ValueError(f"no example of a value: {text}")
    if match["number"] is None:
        return match["text"]
    return float(match["number"]) if "." in match["number"] else int(match["number"])


def _written(number: float, measure: Measure) -> str:
    return f"{number:g} {measure.unit}".strip()


def _span(window: WallWindow) -> str:
    return f"{wall_text(window.opens_wall_min)}-{wall_text(window.closes_wall_min)}"


def _in_any_case(word: str) -> str:
    return re.sub("[a-z]", lambda match: f"[{match[0]}{match[0].upper()}]", word)


def schema_text() -> str:
    """The editors' schema as a file has it."""
    return json.dumps(editor_schema(), indent=1, ensure_ascii=False) + "\n"


def main(arguments: list[str]) -> None:
    """Write the editors' schema to the file named, or print it."""
    if arguments:
        Path(arguments[0]).write_text(schema_text(), encoding="utf-8")
    else:
        print(schema_text(), end="")


if __name__ == "__main__":
    main(sys.argv[1:])
