"""The pipes of a block as a farm file tells them, in the table ``[block.hydraulics]``, and back.

Pressures may be given as such (psi, kPa, bar) or as head of water (m, ft).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from service.farm_files.quantities import Measure, show, write_quantity
from service.farm_files.toml_table import TomlTable
from service.waterworks.block_layout import AVERAGE_VARIATION_RATIO, BlockLayout
from service.waterworks.lateral import FLAT, FrictionLaw

LOWEST_HEAD_M, HIGHEST_HEAD_M = 0.1, 200.0  # [m] of a pressure that something works at
KPA_PER_M = 9.80665  # [kPa/m] head of water of 1000 kg/m3
_PRESSURE_UNITS = ("psi", "kpa", "bar", "bars")
_FRICTION_LAWS = tuple(law.value for law in FrictionLaw)


def _length(unit: str, lowest: float, highest: float, *examples: str) -> Measure:
    return Measure(noun="a length", unit=unit, lowest=lowest, highest=highest, examples=examples)


def _number(noun: str, lowest: float, highest: float, *examples: str) -> Measure:
    return Measure(noun=noun, unit="", lowest=lowest, highest=highest, examples=examples)


_DIAMETER = _length("mm", 1.0, 1000.0, "'16 mm'", "'0.62 in'")
_SEGMENT = _length("m", 0.0, 10_000.0, "'2 m'", "'6 ft'")
_ROW = _length("m", 0.01, 5_000.0, "'90 m'", "'300 ft'")
_ALONG = _length("m", 0.0, 10_000.0, "'0 m'", "'150 ft'")
_GROUND = _length("m", -500.0, 9_000.0, "'0 m'", "'-3 ft'")
_RISE = _length("m", -200.0, 200.0, "'2 m'", "'-6 ft'")
_CONNECTION = _length("m", 0.0, 3.0, "'0.1 m'", "'4 in'")
_COUNT = _number("a whole number", 1.0, 10_000.0, "100", "20")
_SIDES = _number("1 or 2", 1.0, 2.0, "1", "2")
_EXPONENT = _number("an exponent", 0.0, 1.0, "0.5", "0 for a compensating emitter")
_VARIATION = _number("a share", 0.0, 0.5, "0.05", "'5 %'")
_PER_PLANT = _number("emitters", 1.0, 100.0, "1", "4")
_SLOPE = _number("a share, up positive,", -0.5, 0.5, "'-2 %'", "0.01")
_FLOW = Measure(
    noun="a flow", unit="L/h", lowest=0.0, highest=2e6, examples=("'0.5 gpm'", "'110 L/h'")
)
_HEAD = _length("m", 0.0, 200.0, "'15 psi'", "'10 m' of water")
_PRESSURE = Measure(
    noun="a pressure", unit="kPa", lowest=0.0, highest=2000.0, examples=("'15 psi'", "'1 bar'")
)


@dataclass(frozen=True, slots=True)
class LayoutDefaults:
    """What the rest of the block says about its pipes."""

    emitter_spacing_m: float
    row_spacing_m: float


def read_layout(table: TomlTable | None, defaults: LayoutDefaults) -> BlockLayout | None:
    """The layout that a table describes; None without one or after a fault, which is noted."""
    if table is None:
        return None
    faults_before = table.fault_count()
    diameter_mm = table.number("lateral_diameter", _DIAMETER)
    emitter_count = _emitter_count(table, defaults.emitter_spacing_m)
    supply_head_m = _head_m(table, "inlet_pressure", None)
    compensates = _compensating(table)
    row_profile = _profile(table, "row_profile", "row_slope")
    exponent = table.number("emitter_exponent", _EXPONENT, 0.5)
    nominal_head_m = _working_head_m(table, "nominal_pressure", 10.0)
    variation = table.number("manufacturer_variation", _VARIATION, AVERAGE_VARIATION_RATIO)
    per_plant = table.number("emitters_per_plant", _PER_PLANT, 1.0)
    first_m = table.number("first_emitter", _SEGMENT) if table.has("first_emitter") else None
    connection_m = table.number("connection_loss", _CONNECTION, 0.0)
    law = table.choice("friction", _FRICTION_LAWS, _FRICTION_LAWS[0])
    fields = {
        **_manifold(table.table("manifold"), defaults.row_spacing_m),
        **_submain(table.table("submain")),
        **_regulator(table.table("regulator")),
    }
    table.close()
    if table.fault_count() > faults_before or law is None:
        return None
    return BlockLayout(
        lateral_diameter_mm=diameter_mm,
        emitter_count=emitter_count,
        supply_head_m=supply_head_m,
        flow_exponent=exponent,
        nominal_head_m=nominal_head_m,
        compensates_from_head_m=compensates[0],
        compensates_to_head_m=compensates[1],
        manufacturer_variation_ratio=variation,
        emitters_per_plant_count=per_plant,
        first_segment_m=first_m,
        connection_length_m=connection_m,
        friction_law=law,
        row_profile=row_profile,
        **fields,
    )


def layout_lines(layout: BlockLayout) -> list[str]:
    """The layout as lines of ``[block.hydraulics]``; reading them gives an equal one."""
    lines = [
        f'lateral_diameter = "{write_quantity(layout.lateral_diameter_mm, "mm")}"',
        f"emitter_count = {layout.emitter_count}",
        f'inlet_pressure = "{write_quantity(layout.supply_head_m, "m")}"',
        f"emitter_exponent = {layout.flow_exponent!r}",
        f'nominal_pressure = "{write_quantity(layout.nominal_head_m, "m")}"',
        f"manufacturer_variation = {layout.manufacturer_variation_ratio!r}",
        f"emitters_per_plant = {layout.emitters_per_plant_count!r}",
        f'connection_loss = "{write_quantity(layout.connection_length_m, "m")}"',
        f'friction = "{layout.friction_law}"',
        f"row_profile = {_profile_text(layout.row_profile)}",
    ]
    if layout.first_segment_m is not None:
        lines.append(f'first_emitter = "{write_quantity(layout.first_segment_m, "m")}"')
    if layout.compensates_from_head_m is not None and layout.compensates_to_head_m is not None:
        ends = (layout.compensates_from_head_m, layout.compensates_to_head_m)
        lines.append(
            f"compensates = [{', '.join(chr(34) + write_quantity(e, 'm') + chr(34) for e in ends)}]"
        )
    if layout.manifold_diameter_mm is not None:
        lines.append(
            f'manifold = {{ diameter = "{write_quantity(layout.manifold_diameter_mm, "mm")}",'
            f" rows = {layout.takeoff_count},"
            f' row_gap = "{write_quantity(layout.takeoff_spacing_m, "m")}",'
            f" sides = {layout.laterals_per_takeoff_count},"
            f" profile = {_profile_text(layout.manifold_profile)} }}"
        )
    if layout.submain_diameter_mm is not None:
        lines.append(
            f'submain = {{ diameter = "{write_quantity(layout.submain_diameter_mm, "mm")}",'
            f' length = "{write_quantity(layout.submain_length_m, "m")}",'
            f' rise = "{write_quantity(layout.submain_rise_m, "m")}" }}'
        )
    if layout.regulator_set_head_m is not None:
        parts = [
            f'set = "{write_quantity(layout.regulator_set_head_m, "m")}"',
            f'loss = "{write_quantity(layout.regulator_loss_head_m, "m")}"',
            f'lowest_flow = "{write_quantity(layout.regulator_lowest_flow_l_per_h, "L/h")}"',
        ]
        if math.isfinite(layout.regulator_highest_flow_l_per_h):
            flow = write_quantity(layout.regulator_highest_flow_l_per_h, "L/h")
            parts.append(f'highest_flow = "{flow}"')
        if math.isfinite(layout.regulator_highest_head_m):
            head = write_quantity(layout.regulator_highest_head_m, "m")
            parts.append(f'highest_pressure = "{head}"')
        lines.append(f"regulator = {{ {', '.join(parts)} }}")
    return lines


def _profile_text(profile: tuple[tuple[float, float], ...]) -> str:
    points = (
        f'["{write_quantity(along, "m")}", "{write_quantity(height, "m")}"]'
        for along, height in profile
    )
    return f"[{', '.join(points)}]"


def _whole(table: TomlTable, key: str, measure: Measure, default: float | None = None) -> int:
    number = table.number(key, measure, default)
    if math.isnan(number):
        return 1
    if number != int(number):
        table.refuse(key, show(number), str(measure))
    return int(number)


def _emitter_count(table: TomlTable, spacing_m: float) -> int:
    """As given, or from the length of the drip line."""
    has_length = table.has("lateral_length")
    if table.has("emitter_count") and has_length:
        table.refuse("lateral_length", "given beside emitter_count", "one of the two")
        return 1
    if not has_length:
        return _whole(table, "emitter_count", _COUNT)
    length_m = table.number("lateral_length", _ROW)
    if math.isnan(length_m + spacing_m):
        return 1
    return max(1, round(length_m / spacing_m))


def _head_m(table: TomlTable, key: str, default: float | None) -> float:
    return _read_head_m(table, table.value(key), key, default)


def _read_head_m(table: TomlTable, value: object, key: str, default: float | None) -> float:
    if value is None:
        if default is not None:
            return default
        table.refuse(key, "nothing", str(_HEAD))
        return math.nan
    is_pressure = isinstance(value, str) and value.strip().lower().endswith(_PRESSURE_UNITS)
    if is_pressure:
        return table.read(value, key, _PRESSURE) / KPA_PER_M
    return table.read(value, key, _HEAD)


def _working_head_m(table: TomlTable, key: str, default: float | None) -> float:
    """A pressure that something works at: what the solvers take, and not 0."""
    head_m = _head_m(table, key, default)
    if not math.isnan(head_m) and not LOWEST_HEAD_M <= head_m <= HIGHEST_HEAD_M:
        allowed = f"{LOWEST_HEAD_M:g} to {HIGHEST_HEAD_M:g} m of water"
        table.refuse(key, show(table.value(key)), allowed)
    return head_m


def _compensating(table: TomlTable) -> tuple[float | None, float | None]:
    value = table.value("compensates")
    if value is None:
        return None, None
    if not isinstance(value, list) or len(value) != 2:
        table.refuse("compensates", show(value), "two pressures such as ['5 m', '40 m']")
        return None, None
    low, high = (_read_head_m(table, item, "compensates", None) for item in value)
    if not low < high:
        table.refuse("compensates", show(value), "a lower pressure first, then a higher one")
    return low, high


def _profile(table: TomlTable, key: str, slope_key: str) -> tuple[tuple[float, float], ...]:
    """Points along the ground, or one slope all the way."""
    value = table.value(key)
    if table.has(slope_key):
        if value is not None:
            table.refuse(slope_key, f"given beside {key}", "one of the two")
        slope = table.number(slope_key, _SLOPE)
        return FLAT if math.isnan(slope) else ((0.0, 0.0), (100.0, 100.0 * slope))
    if value is None:
        return FLAT
    allowed = "points by rising distance, the first at 0, such as [['0 m', '0 m'], ['50 m', '1 m']]"
    if not isinstance(value, list) or not value:
        table.refuse(key, show(value), allowed)
        return FLAT
    points: list[tuple[float, float]] = []
    for place, item in enumerate(value, 1):
        if not isinstance(item, list) or len(item) != 2:
            table.refuse(f"{key}[{place}]", show(item), allowed)
            return FLAT
        along = table.read(item[0], f"{key}[{place}]", _ALONG)
        height = table.read(item[1], f"{key}[{place}]", _GROUND)
        if math.isnan(along + height):
            return FLAT
        if along <= points[-1][0] if points else along != 0.0:
            table.refuse(f"{key}[{place}]", show(item), allowed)
            return FLAT
        points.append((along, height))
    return tuple(points)


def _manifold(table: TomlTable | None, row_spacing_m: float) -> dict[str, Any]:
    if table is None:
        return {}
    found: dict[str, Any] = {
        "manifold_diameter_mm": table.number("diameter", _DIAMETER),
        "takeoff_count": _whole(table, "rows", _COUNT),
        "takeoff_spacing_m": table.number("row_gap", _ROW, row_spacing_m),
        "laterals_per_takeoff_count": _whole(table, "sides", _SIDES, 1.0),
        "manifold_profile": _profile(table, "profile", "slope"),
    }
    table.close()
    return found


def _submain(table: TomlTable | None) -> dict[str, Any]:
    if table is None:
        return {}
    found: dict[str, Any] = {
        "submain_diameter_mm": table.number("diameter", _DIAMETER),
        "submain_length_m": table.number("length", _SEGMENT),
        "submain_rise_m": table.number("rise", _RISE, 0.0),
    }
    table.close()
    return found


def _regulator(table: TomlTable | None) -> dict[str, Any]:
    if table is None:
        return {}
    lowest = table.number("lowest_flow", _FLOW, 0.0)
    highest = table.number("highest_flow", _FLOW, math.inf)
    if highest <= lowest:
        table.refuse("highest_flow", show(table.value("highest_flow")), "above the lowest flow")
    set_head_m = _working_head_m(table, "set", None)
    highest_head_m = _head_m(table, "highest_pressure", math.inf)
    if highest_head_m < set_head_m:
        found_text = show(table.value("highest_pressure"))
        table.refuse("highest_pressure", found_text, "the pressure it is set to, or more")
    found: dict[str, Any] = {
        "regulator_set_head_m": set_head_m,
        "regulator_loss_head_m": _head_m(table, "loss", 0.0),
        "regulator_lowest_flow_l_per_h": lowest,
        "regulator_highest_flow_l_per_h": highest,
        "regulator_highest_head_m": highest_head_m,
    }
    table.close()
    return found
