"""Files of leaf, petiole and soil tests: a laboratory's report as TOML or CSV.

Values are written as printed, with their unit: ``N = "1.60 %"``, ``Zn = "<5 ppm"``, ``P = "22
mg/kg"``; pH has none. Ranges that the laboratory printed go under ``[ranges]`` in the same way:
``N = "1.7 to 2.1 %"``. A CSV file has a line for each nutrient (``nutrient``, ``value``, ``unit``,
and ``low`` and ``high`` where the laboratory gives them); what else the report says is then given
beside it.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import date
from pathlib import Path

from service.errors import Fault, InputInvalid
from service.farm_files.keys import ChoiceKey, DayKey, IntegerKey, Table, TableKey, TextKey
from service.farm_files.near_words import one_of
from service.farm_files.printed_value import printed_value
from service.farm_files.quantities import show
from service.farm_files.sample_file import LARGEST_FILE_BYTES, read_content
from service.farm_files.toml_table import TomlTable
from service.nutrition.readings import PLANT, SOIL, NutrientReading, plant_range
from service.nutrition.soil_ph import TEXTURES
from service.records.nutrition import EXTRACTANTS, PH_METHODS, TEST_KINDS, NutrientTest

TITLE = "this test cannot be used"
ALLOWED = "a number with its unit as the laboratory prints it, such as '1.60 %' or '22 ppm'"
MOST_LEAVES = 10_000
_NAMES: Mapping[str, str] = {
    "nitrogen": "N", "phosphorus": "P", "potassium": "K", "calcium": "Ca", "magnesium": "Mg",
    "sulfur": "S", "sulphur": "S", "boron": "B", "iron": "Fe", "manganese": "Mn", "zinc": "Zn",
    "copper": "Cu", "chloride": "Cl", "sodium": "Na", "aluminum": "Al", "aluminium": "Al",
    "nitrate": "NO3-N", "nitrate-n": "NO3-N", "om": "organic-matter",
    "organic matter": "organic-matter", "acidity": "exchangeable-acidity",
    "ac": "exchangeable-acidity",    "caco3": "calcium-carbonate",
    **{name.lower(): name for name in (*PLANT, *SOIL)},
}  # fmt: skip


class NutrientTestKeys(Table):
    """A laboratory's report on leaves, petioles or soil."""

    kind = ChoiceKey(about="What was sampled.", choices=tuple(TEST_KINDS), is_needed=True)
    taken = DayKey(about="Day on which the sample was taken.", otherwise="not known")
    crop = TextKey(about="The crop, where the block's may be one of several.", default="")
    tissue = TextKey(about="What was taken of the plant.", default="")
    stage = TextKey(about="Stage of growth: bloom, harvest, veraison, ...", default="")
    leaves = IntegerKey(about="How many leaves or petioles.", lowest=1, highest=MOST_LEAVES)
    cultivar = TextKey(about="The one cultivar of the sample.", default="")
    last_spray = DayKey(about="Day of the last spray on the leaves.", otherwise="none")
    washed = ChoiceKey(about="Whether the leaves were washed.", choices=("yes", "no"), default="no")
    laboratory = TextKey(about="Who analyzed it.", default="not named")
    number = TextKey(about="The laboratory's number.", default="")
    extractant = ChoiceKey(
        about="Extract of a soil's P, K and Mg.", choices=EXTRACTANTS, default="not-stated"
    )
    ph_method = ChoiceKey(
        about="What a soil's pH was measured in.", choices=PH_METHODS, default="water"
    )
    texture = ChoiceKey(about="Texture of the soil.", choices=("", *TEXTURES), default="")
    recommendation = TextKey(
        about="What the laboratory recommends, as printed.", default="", longest=1000
    )
    readings = TableKey(about="The values.", tables=(Table,), is_needed=True)
    ranges = TableKey(
        about="Ranges that the laboratory printed.", tables=(Table,), otherwise="none"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class NutrientFile:
    """A report as a file has it; None and empty: the file does not say."""

    kind: str = ""
    day: date | None = None
    crop: str = ""
    tissue: str = ""
    stage: str = ""
    leaf_count: int | None = None
    cultivar: str = ""
    last_spray_day: date | None = None
    is_washed: bool = False
    laboratory: str = "not named"
    laboratory_number: str = ""
    extractant: str = "not-stated"
    ph_method: str = "water"
    texture: str = ""
    recommendation: str = ""
    readings: tuple[NutrientReading, ...] = ()
    own_ranges: Mapping[str, tuple[float, float]] = field(default_factory=dict)


def nutrient_name(text: str) -> str:
    """The name of a nutrient as the service has it; raises InputInvalid."""
    found = _NAMES.get(text.strip().lower().replace("_", "-"))
    if found is None:
        raise InputInvalid(
            TITLE, [Fault(text, "a nutrient of that name", one_of(text, [*PLANT, *SOIL]))]
        )
    return found


def parse_nutrient(name: str, text: str) -> NutrientReading:
    """One value as a laboratory prints it; raises InputInvalid."""
    value, unit, is_below = printed_value(name, text, title=TITLE, allowed=ALLOWED)
    return NutrientReading(nutrient_name(name), value, unit, is_below_detection=is_below)


def read_nutrient_file(path: Path) -> NutrientFile:
    """The report in a file; raises InputInvalid with every fault."""
    if path.suffix.lower() == ".csv":
        return _read_csv(path)
    faults: list[Fault] = []
    root = TomlTable(read_content(path), f"{path.name}: ", faults)
    keys = NutrientTestKeys
    kind = root.choice(keys.kind) or ""
    found = NutrientFile(
        kind=kind,
        day=root.day(keys.taken),
        crop=root.text(keys.crop),
        tissue=root.text(keys.tissue),
        stage=root.text(keys.stage),
        leaf_count=root.integer(keys.leaves) if root.has(keys.leaves) else None,
        cultivar=root.text(keys.cultivar),
        last_spray_day=root.day(keys.last_spray),
        is_washed=root.choice(keys.washed) == "yes",
        laboratory=root.text(keys.laboratory),
        laboratory_number=root.text(keys.number),
        extractant=root.choice(keys.extractant) or "",
        ph_method=root.choice(keys.ph_method) or "",
        texture=root.choice(keys.texture) or "",
        recommendation=root.text(keys.recommendation),
        readings=_readings(root.table(keys.readings), faults),
        own_ranges=_ranges(root.table(keys.ranges), faults),
    )
    root.close()
    if not faults and not found.readings:
        faults.append(Fault(f"{path.name}: readings", "nothing", "a table [readings]"))
    if faults:
        raise InputInvalid(f"{path.name} cannot be used", faults)
    return found


def nutrient_test(block_id: str, file: NutrientFile) -> NutrientTest:
    """The test of a block that a report makes; raises InputInvalid for no day or no kind."""
    kind = next((each for each in TEST_KINDS if each == file.kind), None)
    faults = []
    if file.day is None:
        faults.append(Fault("taken", "nothing", "the day on which the sample was taken"))
    if kind is None:
        faults.append(Fault("kind", file.kind or "nothing", f"one of {', '.join(TEST_KINDS)}"))
    if kind is None or file.day is None:
        raise InputInvalid(TITLE, faults)
    same = {each.name: getattr(file, each.name) for each in fields(file)}
    return NutrientTest(**{**same, "block_id": block_id, "kind": kind})


def _readings(table: TomlTable | None, faults: list[Fault]) -> tuple[NutrientReading, ...]:
    found = []
    for name, value in _items(table):
        try:
            found.append(parse_nutrient(name, value if isinstance(value, str) else repr(value)))
        except InputInvalid as error:
            faults.extend(error.faults)
    return tuple(found)


def _ranges(table: TomlTable | None, faults: list[Fault]) -> dict[str, tuple[float, float]]:
    found = {}
    for name, value in _items(table):
        low, _, high = (value if isinstance(value, str) else "").partition(" to ")
        try:
            found[nutrient_name(name)] = _range(name, low, high)
        except InputInvalid as error:
            faults.extend(error.faults)
    return found


def _range(name: str, low: str, high: str) -> tuple[float, float]:
    """A range in the unit of ours; its unit may stand behind the second number alone."""
    top = parse_nutrient(name, high)
    bottom = parse_nutrient(name, low)
    if bottom.unit and bottom.unit != top.unit:
        allowed = f"both ends in one unit, such as {top.unit or bottom.unit}"
        raise InputInvalid(TITLE, [Fault(f"range of {name}", f"{low} to {high}", allowed)])
    return plant_range(top.nutrient, bottom.value, top.value, top.unit)


def _items(table: TomlTable | None) -> list[tuple[str, object]]:
    return [] if table is None else [(name, table.value(name)) for name in table.names()]


def _read_csv(path: Path) -> NutrientFile:
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            text = file.read(LARGEST_FILE_BYTES + 1)
    except (OSError, UnicodeDecodeError) as error:
        raise InputInvalid(
            f"{path.name} cannot be read", [Fault(path.name, str(error)[:120], "a CSV file, UTF-8")]
        ) from error
    rows = list(csv.DictReader(text.splitlines()))
    heads = {(each or "").strip().lower() for row in rows[:1] for each in row}
    if not {"nutrient", "value"} <= heads or len(text) > LARGEST_FILE_BYTES:
        raise InputInvalid(
            f"{path.name} cannot be used",
            [Fault(path.name, show(", ".join(sorted(heads))), "columns nutrient, value, unit")],
        )
    faults: list[Fault] = []
    readings, ranges = [], {}
    for number, raw in enumerate(rows, 2):
        row = {(key or "").strip().lower(): (value or "").strip() for key, value in raw.items()
               if isinstance(value, str)}  # fmt: skip
        if not row.get("value"):
            continue
        try:
            name, unit = row["nutrient"], row.get("unit", "")
            readings.append(parse_nutrient(name, f"{row['value']} {unit}"))
            if row.get("low") and row.get("high"):
                ranges[nutrient_name(name)] = _range(name, row["low"], f"{row['high']} {unit}")
        except InputInvalid as error:
            faults.extend(
                Fault(f"{path.name} line {number}: {each.where}", each.found, each.allowed)
                for each in error.faults
            )
    if faults:
        raise InputInvalid(f"{path.name} cannot be used", faults)
    return NutrientFile(readings=tuple(readings), own_ranges=ranges)
