"""One name, one unit, one meaning: the code and the table of names agree, both ways.

Checked are the parameters of public functions, the fields of classes (records, settings, schemas)
and the columns of the database. A name that ends in ``_day`` or ``_year`` counts only where its
annotation says that it is a number; a date has no unit.
"""

from __future__ import annotations

import ast
import math
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import pint

from service import unit_sizes
from service.agronomy import (
    crop_units,
    forecast_units,
    learning_units,
    nutrition_units,
    quantity,
    risk_units,
    season_units,
    service_units,
    units,
    water_units,
    weather_units,
)
from service.agronomy.quantity import Quantity
from service.agronomy.units import NOMENCLATURE, STANDARD_TERMS, SUFFIX_UNITS
from service.database.tables import metadata
from service.farm_files.block_keys import ALL_NUMBERS
from service.farm_files.keys import NumberKey
from service.records.farms import BLOCK_NUMBERS
from service.records.ledger import LEDGER_NUMBERS
from service.records.weather import WEATHER_FIELDS

ROOT = Path(__file__).resolve().parent.parent
TABLE = (
    units,
    crop_units,
    forecast_units,
    learning_units,
    water_units,
    weather_units,
    nutrition_units,
    risk_units,
    season_units,
    service_units,
    quantity,
)
"""The files that make up the table."""
CALENDAR = {"day", "days", "year", "years"}
NUMBERS = ("int", "float", "Ints", "Floats", "ArrayLike", "np.float64", "np.int64")


def ending_of(name: str) -> str | None:
    """The longest ending of a name that denotes a unit; None for a name without one."""
    words = name.split("_")
    for first in range(1, len(words)):
        ending = "_".join(words[first:])
        # Flags "by day" and windows "of day" are no number of days.
        if ending in SUFFIX_UNITS and words[first - 1] not in ("by", "of"):
            return ending
    return None


def is_number(annotation: ast.expr | None) -> bool:
    if annotation is None:
        return False
    names = {ast.unparse(node) for node in ast.walk(annotation)}
    return "Callable" not in names and not names.isdisjoint(NUMBERS)


def functions_and_classes(body: list[ast.stmt]) -> Iterator[ast.stmt]:
    """The definitions that other modules may use: at the top of a module, or in a public class."""
    for node in body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            yield node
            if isinstance(node, ast.ClassDef):
                yield from functions_and_classes(node.body)


def names_in(tree: ast.Module) -> Iterator[tuple[str, ast.expr | None]]:
    for node in functions_and_classes(tree.body):
        if isinstance(node, ast.ClassDef):
            for field in node.body:
                if isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name):
                    yield field.target.id, field.annotation
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            if node.name.startswith("_"):
                continue
            arguments = node.args
            for argument in arguments.posonlyargs + arguments.args + arguments.kwonlyargs:
                yield argument.arg, argument.annotation


def with_unit(names: Iterator[tuple[str, ast.expr | None]]) -> Iterator[str]:
    for name, annotation in names:
        ending = ending_of(name)
        if name in STANDARD_TERMS or (
            ending is not None and (ending not in CALENDAR or is_number(annotation))
        ):
            yield name


@cache
def used_names() -> dict[str, str]:
    """Every name with a unit that the code uses in public, and a place where it does."""
    found: dict[str, str] = {}
    for path in sorted((ROOT / "service").rglob("*.py")):
        for name in with_unit(names_in(ast.parse(path.read_text(encoding="utf-8")))):
            found.setdefault(name, path.relative_to(ROOT).as_posix())
    for table in metadata.tables.values():
        for column in table.columns:
            ending = ending_of(column.name)
            if ending is not None and ending not in CALENDAR:
                found.setdefault(column.name, f"column {table.name}.{column.name}")
    for name in (*BLOCK_NUMBERS, *LEDGER_NUMBERS, *WEATHER_FIELDS):
        if "_is_" not in name:  # a fact, stored as 0 or 1
            found.setdefault(name, "a list of stored numbers")
    return found


def table_nodes() -> Iterator[ast.AST]:
    """The code of the files that make up the table."""
    for module in TABLE:
        yield from ast.walk(ast.parse(Path(str(module.__file__)).read_text(encoding="utf-8")))


def test_every_name_with_a_unit_is_in_the_table() -> None:
    missing = [
        f"{name} ({place})" for name, place in used_names().items() if name not in NOMENCLATURE
    ]
    assert not missing, "add to service/agronomy/units.py: " + ", ".join(missing)


def test_every_name_of_the_table_is_used() -> None:
    assert sorted(set(NOMENCLATURE) - set(used_names())) == []


def test_the_table_depends_on_nothing_else_of_the_service() -> None:
    imported = [node.module for node in table_nodes() if isinstance(node, ast.ImportFrom)]
    own = {module.__name__ for module in TABLE}
    assert [
        name
        for name in imported
        if name is None or (name.startswith("service") and name not in own)
    ] == []


def test_no_name_stands_twice_in_the_table() -> None:
    names = [
        node.args[0].value
        for node in table_nodes()
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id == Quantity.__name__
        and isinstance(node.args[0], ast.Constant)
    ]
    assert sorted(NOMENCLATURE) == sorted(str(name) for name in names)


def faults_of(quantity: Quantity) -> Iterator[str]:
    """What is wrong with a line of the table: its unit, its range, its meaning."""
    ending = ending_of(quantity.name)
    if quantity.name not in STANDARD_TERMS and SUFFIX_UNITS.get(ending or "") != quantity.unit:
        yield f"{quantity.name}: the ending {ending} does not denote {quantity.unit!r}"
    if not quantity.minimum < quantity.maximum:
        yield f"{quantity.name}: no range from {quantity.minimum} to {quantity.maximum}"
    if not quantity.meaning or quantity.meaning.endswith("."):
        yield f"{quantity.name}: {quantity.meaning!r} is no meaning, or ends in a full stop"


def faults_of_key(key: NumberKey) -> Iterator[str]:
    """Where a number of a farm file leaves the table."""
    quantity, measure = NOMENCLATURE.get(key.field), key.measure
    if quantity is None:
        yield f"{key.field}: not in the table"
        return
    if measure.unit not in ("", quantity.unit):
        yield f"{key.field}: in {measure.unit}, in the table {quantity.unit}"
    if not quantity.minimum <= measure.lowest < measure.highest <= quantity.maximum:
        yield (
            f"{key.field}: takes {measure.lowest} to {measure.highest},"
            f" the table {quantity.minimum} to {quantity.maximum}"
        )


def test_every_name_ends_in_its_unit_and_has_a_range_and_a_meaning() -> None:
    faults = [fault for quantity in NOMENCLATURE.values() for fault in faults_of(quantity)]
    assert not faults, "\n".join(faults)


def test_a_farm_file_takes_no_number_outside_the_table() -> None:
    faults = [fault for key in ALL_NUMBERS for fault in faults_of_key(key)]
    assert not faults, "\n".join(faults)


def test_a_line_of_the_table_that_is_wrong_is_noticed() -> None:
    wrong = Quantity("invented_depth_mm", "m", 5.0, 5.0, "A depth.")
    assert len(list(faults_of(wrong))) == 3
    assert list(faults_of(replace(wrong, unit="mm", maximum=6.0, meaning="a depth"))) == []


def test_the_scan_sees_parameters_fields_and_methods_but_no_dates() -> None:
    source = """
class Row:
    invented_depth_mm: float
    last_day: date
    planting_year: int
    def method(self, invented_flow_l_per_h): ...
def public(invented_length_m, *, invented_time_min=1): ...
def _private(hidden_m): ...
"""
    assert list(with_unit(names_in(ast.parse(source)))) == [
        "invented_depth_mm",
        "planting_year",
        "invented_flow_l_per_h",
        "invented_length_m",
        "invented_time_min",
    ]


def test_the_longest_ending_counts() -> None:
    assert ending_of("flow_l_per_h") == "l_per_h"
    assert ending_of("degree_day_sum_c_day") == "c_day"
    assert ending_of("psychrometric_constant_kpa_per_c") == "kpa_per_c"
    assert ending_of("crop_key") is None
    assert ending_of("flags_by_day") is None
    assert ending_of("count") is None


def test_an_acre_inch_is_27154_gallons() -> None:
    # CV39. 1 ac = 43,560 ft2, 1 ft2 = 144 in2, 1 gal = 231 in3: NIST Handbook 44, Appendix C.
    assert math.isclose(unit_sizes.GALLONS_PER_ACRE_INCH, 27154.29, abs_tol=0.005)
    # 102.79 m3, the same depth (25.4 mm) on the same area (4046.856 m2).
    assert math.isclose(unit_sizes.L_PER_ACRE_INCH / 1000, 102.79, abs_tol=0.005)
    assert math.isclose(
        unit_sizes.L_PER_ACRE_INCH, unit_sizes.MM_PER_INCH * unit_sizes.M2_PER_ACRE, rel_tol=1e-12
    )


def test_the_conversions_agree_with_the_units_that_farm_files_read() -> None:
    # pint holds its own definitions; the acre is spelt out, since its acre is the survey one.
    one: pint.UnitRegistry[float] = pint.UnitRegistry(cache_folder=None)
    for factor, customary, metric in (
        (unit_sizes.FL_OZ_PER_GALLON, "gallon", "fluid_ounce"),
        (unit_sizes.L_PER_M3, "meter**3", "liter"),
        (unit_sizes.M2_PER_SQUARE_FOOT, "foot**2", "meter**2"),
        (unit_sizes.KG_PER_POUND, "pound", "kilogram"),
        (unit_sizes.KG_PER_HA_PER_LB_PER_AC, "pound/(foot**2*43560)", "kilogram/hectare"),
        (unit_sizes.KPA_PER_BAR, "bar", "kilopascal"),
        (unit_sizes.M_PER_INCH, "inch", "meter"),
        (unit_sizes.MM_PER_INCH, "inch", "millimeter"),
        (unit_sizes.M_PER_FOOT, "foot", "meter"),
        (unit_sizes.M_PER_MILE, "mile", "meter"),
        (unit_sizes.M_S_PER_MPH, "mile/hour", "meter/second"),
        (unit_sizes.CUBIC_INCHES_PER_GALLON, "gallon", "inch**3"),
        (unit_sizes.L_PER_GALLON, "gallon", "liter"),
        (unit_sizes.L_PER_H_PER_GPH, "gallon/hour", "liter/hour"),
        (unit_sizes.L_PER_H_PER_GPM, "gallon/minute", "liter/hour"),
        (unit_sizes.M2_PER_ACRE, "foot**2*43560", "meter**2"),
        (unit_sizes.M2_PER_HECTARE, "hectare", "meter**2"),
        (unit_sizes.KM_PER_DAY_PER_M_S, "meter/second", "kilometer/day"),
        (unit_sizes.MJ_M2_DAY_PER_W_M2, "watt/meter**2*day", "megajoule/meter**2"),
        (unit_sizes.MJ_M2_PER_LANGLEY, "langley", "megajoule/meter**2"),
    ):
        assert math.isclose(one(customary).to(metric).magnitude, factor, rel_tol=1e-12), customary
    gravity_m_s2 = one("standard_gravity").to("meter/second**2").magnitude
    assert math.isclose(gravity_m_s2, unit_sizes.KPA_PER_M_OF_HEAD, rel_tol=1e-12)  # 1 Mg/m3
    assert math.isclose(one("psi").to("kPa").magnitude, unit_sizes.KPA_PER_PSI, rel_tol=1e-7)
