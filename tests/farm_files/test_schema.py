"""The one declaration of the keys: its schema, its template and its reader agree."""

from __future__ import annotations

import copy
import json
import re
import tomllib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema_rs
import orjson
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.civil_day import wall_text
from service.api.change_examples import BLOCK_TABLE, FARM_DOCUMENT
from service.errors import FarmFileInvalid, InputInvalid
from service.farm_files.farm_document import JsonFarmFormat
from service.farm_files.farm_file import read_farm_file, write_farm_file
from service.farm_files.farm_keys import FarmFileKeys
from service.farm_files.keys import (
    ChoiceKey,
    Key,
    NumberKey,
    NumbersKey,
    Table,
    TableKey,
    TablesKey,
    TimeKey,
)
from service.farm_files.quantities import Measure, read_quantity
from service.farm_files.schema import document_schema, editor_schema, main, schema_text
from tests.api.openapi_snapshot import SNAPSHOT

ROOT = Path(__file__).resolve().parents[2]
SCHEMA = ROOT / "examples" / "farm.schema.json"
TEMPLATE = ROOT / "examples" / "farm-template.toml"
FILES = (TEMPLATE, ROOT / "service" / "demo_farm" / "farm.toml")
REFS = "#/components/schemas/"
WRONG: list[Any] = [[[]]]
"""Values that no key accepts."""


def as_json(text: str) -> dict[str, Any]:
    found: dict[str, Any] = orjson.loads(orjson.dumps(tomllib.loads(text)))
    return found


def template() -> dict[str, Any]:
    return as_json(TEMPLATE.read_text("utf-8"))


def rich() -> dict[str, Any]:
    """A farm with the keys that the template can only name in comments."""
    farm = template()
    north, south = farm["block"]
    timer = {"starts": 4, "step": "30 s", "days": "interval", "set_on": "friday"}
    peak = {"days": ["monday", "friday"], "from": "16:00", "to": "20:00", "reason": "peak tariff"}
    farm["supply"][0] |= {"timer": timer, "weekly_no_water": [peak]}
    # What is on a channel of the template's controller is opened by nothing else.
    east, west = copy.deepcopy(south) | {"id": "east"}, copy.deepcopy(south) | {"id": "west"}
    farm["block"] += [
        east | {"control": "timer", "timer": timer},
        west | {"hand": {"visits": ["07:00-07:30", "18:00-20:00"]}},
    ]
    north |= {
        "root_share_of_wetted": 0.8,
        "canopy_cover": 0.5,
        "canopy_height": "4 ft",
        "wetted_fraction": 0.3,
        "curve_number": 80,
        "depletion_fraction": 0.5,
        "kc": {"initial": 0.3, "mid": 1, "end": 0.5, "off_season": 0.2, "height": "1.5 m"},
        "mulch": {"cover": 0.5, "rain_pass": 0.3},
        "soil": {
            "field_capacity": "30 %",
            "wilting_point": 0.14,
            "conductivity": "0.6 in/h",
            "grain": "fine",
        },
        "season": {
            "start": "01-01",
            "floor": "50 degF",
            "degree_days": ["100 degC day", "500 degC day", "1500 degC day", "2000 degC day"],
        },
        "origins": {"kc_mid": "a neighbour's trial"},
    }
    south["watering_season"] = {"from": "03-01", "to": "11-14"}
    del south["emitter_spacing"]
    south["plants"] = {"spacing": "1.2 m", "emitters": 2}
    south["kc_table"] = [["03-15", 0.3], ["06-01", 1.0]]
    pipes = north["hydraulics"]
    del pipes["emitter_count"], pipes["row_profile"]
    pipes |= {"lateral_length": "46 m", "row_slope": "-2 %", "compensates": ["5 m", "4 bar"]}
    pipes["manifold"] = {
        "diameter": "2 in",
        "rows": 20,
        "row_gap": "3 m",
        "profile": [["0 m", "0 m"], ["20 m", "1 m"]],
    }
    pipes["regulator"]["highest_pressure"] = "60 psi"
    return farm


@cache
def editors() -> jsonschema_rs.Draft7Validator:
    return jsonschema_rs.Draft7Validator(json.loads(SCHEMA.read_text("utf-8")))


def of_the_api(name: str) -> jsonschema_rs.Draft202012Validator:
    document = json.loads(SNAPSHOT.read_text("utf-8"))
    return jsonschema_rs.Draft202012Validator(
        {"$ref": f"{REFS}{name}", "components": document["components"]}
    )


def faults(document: dict[str, Any]) -> list[str]:
    try:
        JsonFarmFormat().parse(document)
    except FarmFileInvalid as error:
        return [fault.where for fault in error.faults if fault.found != "a key of that name"]
    return []


def tables_in(content: Any, table: type[Table], place: str = "") -> Iterator[tuple[str, Any, Any]]:
    """Every table of a document: its place, its content and its declaration."""
    yield place, content, table
    for key in table.declared():
        inside = content.get(key.name)
        if isinstance(key, TableKey) and inside is not None:
            (way,) = (
                each
                for each in key.tables
                if all(need.name in inside for need in each.declared() if need.is_needed)
            )
            yield from tables_in(inside, way, f"{place}/{key.name}")
        if isinstance(key, TablesKey):
            for index, item in enumerate(inside or ()):
                yield from tables_in(item, key.table, f"{place}/{key.name}/{index}")


def declared_tables(table: type[Table] = FarmFileKeys) -> Iterator[type[Table]]:
    yield table
    for key in table.declared():
        if isinstance(key, TableKey):
            for each in key.tables:
                yield from declared_tables(each)
        if isinstance(key, TablesKey):
            yield from declared_tables(key.table)


WAYS = {
    way: key.tables
    for table in declared_tables()
    for key in table.declared()
    if isinstance(key, TableKey)
    for way in key.tables
}
"""The ways to write the table that a table is one of."""
KEYS = [(table, key) for table in declared_tables() for key in table.declared()]


def named(value: object) -> str:
    return value.name if isinstance(value, Key) else str(getattr(value, "__name__", value))


# --- the schemas and the reader ------------------------------------------------------------------


def test_the_schema_of_the_editors_is_the_one_written_and_the_template_names_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert SCHEMA.read_text("utf-8") == schema_text(), (
        "the keys have changed; run `python -m service.farm_files.schema examples/farm.schema.json`"
    )
    assert TEMPLATE.read_text("utf-8").startswith(f"#:schema ./{SCHEMA.name}\n")
    main([str(tmp_path / "farm.schema.json")])
    main([])
    assert (tmp_path / "farm.schema.json").read_text("utf-8") == capsys.readouterr().out
    jsonschema_rs.meta.validate(editor_schema())


def hold_all(check: Callable[..., None], cases: Iterable[tuple[object, ...]]) -> None:
    """Check every case, and report all that fail together."""
    failed = []
    for case in cases:
        try:
            check(*case)
        except (AssertionError, pytest.fail.Exception) as error:
            failed.append(f"{'.'.join(map(named, case))}: {error}")
    assert not failed, "\n".join(failed)


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.name))
def test_the_examples_and_their_exports_keep_to_the_schemas(path: Path) -> None:
    text = path.read_text("utf-8")
    bundle = read_farm_file(path)
    for each in (text, write_farm_file(bundle)):
        assert [str(error) for error in editors().iter_errors(as_json(each))] == []
    answered = JsonFarmFormat().document(replace(bundle, people=(), counties=()))
    assert [str(error) for error in of_the_api("FarmDocumentOut").iter_errors(answered)] == []
    assert [str(error) for error in of_the_api("FarmDocumentIn").iter_errors(answered)] == []


def test_the_examples_of_the_api_keep_to_its_schemas() -> None:
    assert of_the_api("FarmDocumentIn").is_valid(FARM_DOCUMENT)
    assert of_the_api("BlockTableIn").is_valid(BLOCK_TABLE)


def test_the_document_of_the_api_holds_the_declared_tables() -> None:
    schemas = json.loads(SNAPSHOT.read_text("utf-8"))["components"]["schemas"]
    parts = schemas["FarmDocumentIn"]["properties"]
    definitions = document_schema(parts, refs=REFS)["definitions"]
    assert {name: schemas[name] for name in definitions} == definitions
    tables = {table.title() for table in declared_tables()} - {"FarmFileTable", "PersonTable"}
    assert tables <= set(definitions)
    for name in tables:
        assert schemas[name]["additionalProperties"] is False
        assert all(field["description"] for field in schemas[name]["properties"].values())


def test_a_rich_farm_is_read_and_keeps_to_the_schema() -> None:
    assert faults(rich()) == []
    assert editors().is_valid(rich())


def _check_every_declared_key_is_read_and_a_wrong_value_is_refused_by_schema_and_reader(
    table: type[Table], key: Key
) -> None:
    refused = False
    for farm in (template(), rich()):
        for place, _, found in list(tables_in(farm, FarmFileKeys)):
            if found is not table:
                continue
            wrong = copy.deepcopy(farm)
            content = {at: inside for at, inside, _ in tables_in(wrong, FarmFileKeys)}[place]
            content[key.name] = WRONG
            assert not editors().is_valid(wrong)
            where = f"{place}/{key.name}"
            refused |= any(f"{each}/".startswith(f"{where}/") for each in faults(wrong))
    assert refused


def test_every_declared_key_is_read_and_a_wrong_value_is_refused_by_schema_and_reader() -> None:
    hold_all(
        _check_every_declared_key_is_read_and_a_wrong_value_is_refused_by_schema_and_reader, KEYS
    )


def _check_a_key_that_is_needed_is_missed_by_schema_and_reader(
    table: type[Table], key: Key
) -> None:
    for farm in (template(), rich()):
        for place, inside, found in list(tables_in(farm, FarmFileKeys)):
            if found is not table or key.name not in inside:
                continue
            less = copy.deepcopy(farm)
            del {at: each for at, each, _ in tables_in(less, FarmFileKeys)}[place][key.name]
            if key.is_needed:
                assert not editors().is_valid(less)
                assert faults(less)
            else:
                assert editors().is_valid(less)


def test_a_key_that_is_needed_is_missed_by_schema_and_reader() -> None:
    hold_all(_check_a_key_that_is_needed_is_missed_by_schema_and_reader, KEYS)


def _check_a_key_that_is_not_declared_is_refused_by_schema_and_reader(table: type[Table]) -> None:
    for farm in (template(), rich()):
        for place, _, found in list(tables_in(farm, FarmFileKeys)):
            if found is table:
                more = copy.deepcopy(farm)
                {at: each for at, each, _ in tables_in(more, FarmFileKeys)}[place]["colour"] = 1
                assert not editors().is_valid(more)
                with pytest.raises(FarmFileInvalid) as caught:
                    JsonFarmFormat().parse(more)
                at = f"{place}/colour"
                (fault,) = (each for each in caught.value.faults if each.where == at)
                listed = fault.allowed.removeprefix("one of ").split(", ")
                ways = WAYS.get(table, (table,))
                assert set(listed) <= {key.name for way in ways for key in way.declared()}


def test_a_key_that_is_not_declared_is_refused_by_schema_and_reader() -> None:
    hold_all(
        _check_a_key_that_is_not_declared_is_refused_by_schema_and_reader,
        [(table,) for table in declared_tables()],
    )


# --- quantities ----------------------------------------------------------------------------------

MEASURES = {
    key.measure.unit: key.measure for _, key in KEYS if isinstance(key, NumberKey | NumbersKey)
}


def _key_schema(unit: str) -> jsonschema_rs.Draft7Validator:
    """The schema of some key with a measure in the unit."""
    schema = editor_schema()
    for table, key in KEYS:
        is_plain = isinstance(key, NumberKey) and not (key.takes_pressure or key.is_whole)
        if isinstance(key, NumberKey) and is_plain and key.measure.unit == unit:
            found = {"$ref": f"#/definitions/{table.title()}/properties/{key.name}"}
            return jsonschema_rs.Draft7Validator({**found, "definitions": schema["definitions"]})
    raise AssertionError(unit)


def _check_examples_can_be_used(table: type[Table], key: Key) -> None:
    shown = editor_schema()["definitions"].get(table.title(), {}).get("properties", {})
    is_pressure = isinstance(key, NumberKey) and key.takes_pressure  # a head of water, once read
    if isinstance(key, NumberKey | NumbersKey) and not is_pressure:
        examples = shown[key.name].get("examples", ())
        assert examples or isinstance(key, NumbersKey)
        for example in examples:
            read_quantity(example, key.measure, where=key.name)


def test_the_examples_of_a_quantity_are_within_its_bounds() -> None:
    hold_all(_check_examples_can_be_used, KEYS)


UNITS = sorted(set(MEASURES) - {"degC day"})
SPELLINGS = st.sampled_from(
    [
        *("m", "ft", "ft.", "Feet", "IN", "in", "cm", "mm", "MILES", "ha", "Acres", "m2", "m²"),
        *("ft^2", "L/h", "l/h", "gph", "GPM", "m³/h", "gal/min", "gallons per hour", "s", "sec"),
        *("Min", "h", "HOURS", "d", "mm/h", "in/h", "in / d", "mph", "psi", "%", "pct", "°C"),
        *("degC", "F", "K", "degC day", "°F·d", "x", "L/h/h"),
    ]
)


@given(
    number=st.sampled_from(["1", "-2.5", ".5", "3.", "1e2", "+7", "1,5", "x", ""]),
    blank=st.sampled_from(["", " ", "  "]),
    spelling=st.one_of(st.just(""), SPELLINGS),
    unit=st.sampled_from(UNITS),
)
def test_a_quantity_is_read_where_the_schema_takes_it_and_nowhere_else(
    number: str, blank: str, spelling: str, unit: str
) -> None:
    text = f"{number}{blank}{spelling}"
    anything = Measure(noun="a value", unit=unit, lowest=-1e12, highest=1e12, examples=("1",))
    try:
        read_quantity(text, anything, where="key")
        is_read = True
    except InputInvalid:
        is_read = False
    assert _key_schema(unit).is_valid(text) == is_read, text


# --- the template --------------------------------------------------------------------------------


def explained(name: str) -> str:
    """What the template says after a key: in its line and the comments that go on below, or in a
    sentence of its own."""
    lines = TEMPLATE.read_text("utf-8").splitlines()
    texts: list[str] = []
    for index, line in enumerate(lines):
        match = re.match(rf"(?:# )?{name} = [^#]*#(.*)", line)
        if match is not None:
            texts.append(match[1])
            for follower in lines[index + 1 :]:
                if not re.match(r" {20,}#", follower):
                    break
                texts[-1] += follower.strip().removeprefix("#")
    comments = " ".join(line.removeprefix("#").strip() for line in lines if line.startswith("#"))
    texts += re.findall(rf"\b{name} default[^;]*", comments)
    return "; ".join(texts)


def _check_the_template_shows_every_key(table: type[Table], key: Key) -> None:
    text = TEMPLATE.read_text("utf-8")
    shown = rf"(?m)(?:^|[\s{{,]){key.name} =|\[(?:\w+\.)?{key.name}\]"
    assert re.search(shown, text), f"{table.__name__}.{key.name}"


def test_the_template_shows_every_key() -> None:
    hold_all(_check_the_template_shows_every_key, KEYS)


DEFAULTS = [
    (table, key)
    for table, key in KEYS
    if (isinstance(key, NumberKey) and key.fixed_default is not None)
    or (isinstance(key, ChoiceKey | TimeKey) and key.default is not None)
]


def _check_the_template_states_the_actual_default(table: type[Table], key: Key) -> None:
    match = re.search(r"defaults?:? (?:to )?([^;.,)]+(?:\.\d+[^;.,)]*)?)", explained(key.name))
    assert match, f"{table.__name__}.{key.name}"
    stated = match[1].strip()
    if isinstance(key, TimeKey):
        assert stated == wall_text(key.default or 0)
    elif isinstance(key, ChoiceKey):
        assert stated == key.default
    elif isinstance(key, NumberKey) and stated != key.origin:
        assert read_quantity(stated, key.measure, where=key.name) == key.default


def test_the_template_states_the_actual_default() -> None:
    hold_all(_check_the_template_states_the_actual_default, DEFAULTS)
