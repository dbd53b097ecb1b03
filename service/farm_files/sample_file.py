"""Files about pipes and water: a laboratory's report, a drip line on its own.

Values are written as the laboratory prints them, with their unit: ``iron = "<0.05 mg/L"``,
``alkalinity = "120 mg/L CaCO3"``; pH has none. Every fault is listed, none stops the reading.
"""

from __future__ import annotations

import math
import re
import tomllib
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from service.errors import Fault, InputInvalid
from service.farm_files.block_keys import BlockKeys
from service.farm_files.keys import DayKey, NumberKey, Table, TableKey, TextKey, length, plain
from service.farm_files.layout_file import LayoutDefaults, read_layout
from service.farm_files.near_words import one_of
from service.farm_files.printed_value import printed_value
from service.farm_files.quantities import Measure, show
from service.farm_files.toml_table import TomlTable
from service.waterworks.acid import TitrationPoint, titration_points
from service.waterworks.block_layout import BlockLayout
from service.waterworks.water_analysis import QUANTITIES, Reading

LARGEST_FILE_BYTES = 1_000_000
COMMON_TEMPERATURE_C = 20.0
TEMPERATURE = Measure(
    noun="a temperature", unit="degC", lowest=0.0, highest=40.0, examples=("'15 degC'", "'59 degF'")
)
_ALLOWED_READING = "a number with its unit as the laboratory prints it, such as '120 mg/L CaCO3'"


class TitrationKeys(Table):
    """Acid added to a beaker of water, and the pH that it reached."""

    acid_normality = NumberKey(
        about="Normality of the acid.",
        measure=plain("equivalents per liter", 1e-4, 20.0, "0.02", "0.1"),
        is_needed=True,
    )
    sample = NumberKey(
        about="Volume of water in the beaker.",
        measure=Measure(
            noun="a volume",
            unit="l",
            lowest=0.001,
            highest=100.0,
            examples=("'0.1 L'", "'100 ml'"),
        ),
        is_needed=True,
    )


class SampleKeys(Table):
    """A laboratory's report; its readings are keyed by the names of the quantities."""

    laboratory = TextKey(about="Who analyzed the water.", default="not named")
    taken = DayKey(about="Day on which it was taken.", otherwise="not known")
    temperature = NumberKey(
        about="Temperature of the water.", measure=TEMPERATURE, default=COMMON_TEMPERATURE_C
    )
    readings = TableKey(about="The readings.", tables=(Table,), is_needed=True)
    titration = TableKey(about="Its titration.", tables=(TitrationKeys,), otherwise="none")


class LineKeys(Table):
    """A drip line on its own, in addition to the keys of ``[block.hydraulics]``."""

    name = TextKey(about="Name for people.", otherwise="the name of the file")
    emitter_flow = NumberKey(
        about="Flow of one emitter.", measure=BlockKeys.emitter_flow.measure, is_needed=True
    )
    emitter_spacing = NumberKey(
        about="Distance between emitters.",
        measure=length(0.05, 30.0, "'18 in'", "'0.5 m'"),
        is_needed=True,
    )
    row_spacing = NumberKey(
        about="Distance between rows.",
        measure=length(0.05, 30.0, "'18 in'", "'0.5 m'"),
        default=3.0,
    )


_AS_WRITTEN = ("pH", "EC")
_AS_NITROGEN = re.compile(r"(.*?)\s*\(?(?:as\s+)?(?:NO3-)?N\)?", re.IGNORECASE)
"""A unit of nitrate by its nitrogen: ``mg/L as N``, ``mg/L NO3-N``."""


@dataclass(frozen=True, slots=True)
class SampleFile:
    """A laboratory's report as a file has it."""

    laboratory: str
    day: date | None
    readings: tuple[Reading, ...]
    temperature_c: float
    titration: tuple[TitrationPoint, ...]


@dataclass(frozen=True, slots=True)
class LineFile:
    """A drip line, or a block of them, that belongs to no farm."""

    name: str
    layout: BlockLayout
    emitter_flow_l_per_h: float
    emitter_spacing_m: float


def parse_reading(quantity: str, text: str) -> Reading:
    """One value as a laboratory prints it; raises InputInvalid."""
    title = "this water analysis cannot be used"
    quantity = quantity.lower()
    if quantity not in QUANTITIES:
        raise InputInvalid(
            title, [Fault(quantity, "a quantity of that name", one_of(quantity, list(QUANTITIES)))]
        )
    value, unit, is_below = printed_value(quantity, text, title=title, allowed=_ALLOWED_READING)
    of_nitrogen = _AS_NITROGEN.fullmatch(unit)
    if quantity == "nitrate" and of_nitrogen:
        quantity, unit = "nitrate-nitrogen", of_nitrogen[1]
    return Reading(quantity, value, unit, is_below_detection=is_below)


def read_sample_file(path: Path) -> SampleFile:
    """The report in a file; raises InputInvalid with every fault."""
    faults: list[Fault] = []
    root = TomlTable(read_content(path), f"{path.name}: ", faults)
    laboratory = root.text(SampleKeys.laboratory)
    day = root.day(SampleKeys.taken)
    temperature_c = root.number(SampleKeys.temperature)
    readings = _readings(root.table(SampleKeys.readings), faults)
    titration = _titration(root.table(SampleKeys.titration), faults)
    root.close()
    if not faults and not readings:
        faults.append(Fault(f"{path.name}: readings", "nothing", "a table [readings]"))
    if faults:
        raise InputInvalid(f"{path.name} cannot be used", faults)
    return SampleFile(laboratory, day, readings, temperature_c, titration)


def read_line_file(path: Path) -> LineFile:
    """The drip line in a file: the keys of ``[block.hydraulics]``, emitter flow and spacing."""
    faults: list[Fault] = []
    content = read_content(path)
    own = {key.name: content.pop(key.name) for key in LineKeys.declared() if key.name in content}
    head = TomlTable(own, f"{path.name}: ", faults)
    name = head.text(LineKeys.name, path.stem)
    flow = head.number(LineKeys.emitter_flow)
    spacing_m = head.number(LineKeys.emitter_spacing)
    row_spacing_m = head.number(LineKeys.row_spacing)
    layout = read_layout(
        TomlTable(content, f"{path.name}: ", faults), LayoutDefaults(spacing_m, row_spacing_m)
    )
    if faults or layout is None:
        raise InputInvalid(f"{path.name} cannot be used", faults)
    return LineFile(name, layout, flow, spacing_m)


def read_content(path: Path) -> dict[str, object]:
    """The tables of a small TOML file; raises InputInvalid."""
    allowed = "a TOML file, UTF-8, up to 1 MB"
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST_FILE_BYTES + 1)
        if len(content) > LARGEST_FILE_BYTES:
            raise InputInvalid(
                f"{path.name} cannot be read", [Fault(path.name, "more than 1 MB", allowed)]
            )
        return tomllib.loads(content.decode("utf-8-sig"))
    except (OSError, ValueError, RecursionError) as error:
        found = getattr(error, "strerror", None) or str(error) or type(error).__name__
        raise InputInvalid(
            f"{path.name} cannot be read", [Fault(path.name, str(found)[:120], allowed)]
        ) from error


def _readings(table: TomlTable | None, faults: list[Fault]) -> tuple[Reading, ...]:
    if table is None:
        return ()
    found = []
    for quantity in (*QUANTITIES, *_AS_WRITTEN):
        if not table.has(quantity):
            continue
        value = table.value(quantity)
        try:
            found.append(parse_reading(quantity, value if isinstance(value, str) else repr(value)))
        except InputInvalid as error:
            faults.extend(
                Fault(table.where(each.where), each.found, each.allowed) for each in error.faults
            )
    table.close()
    return tuple(found)


def _titration(table: TomlTable | None, faults: list[Fault]) -> tuple[TitrationPoint, ...]:
    """Acid added to a beaker, in mL, with the pH that it reached."""
    if table is None:
        return ()
    normality = table.number(TitrationKeys.acid_normality)
    sample_l = table.number(TitrationKeys.sample)
    points = table.value("points")
    table.close()
    allowed = "pairs of acid in mL and pH, such as [[0, 7.8], [5, 6.5]]"
    pairs: list[tuple[float, float]] = []
    for item in points if isinstance(points, list) else []:
        if (
            isinstance(item, list)
            and len(item) == 2
            and all(isinstance(each, int | float) and not isinstance(each, bool) for each in item)
        ):
            pairs.append((float(item[0]), float(item[1])))
        else:
            table.refuse("points", show(item), allowed)
    if not pairs:
        table.refuse("points", show(points), allowed)
        return ()
    if math.isnan(normality + sample_l):
        return ()
    try:
        return titration_points(
            [added for added, _ in pairs],
            [ph for _, ph in pairs],
            acid_normality_eq_per_l=normality,
            sample_ml=1000.0 * sample_l,
        )
    except InputInvalid as error:
        faults.extend(error.faults)
        return ()
