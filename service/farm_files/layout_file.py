"""The pipes of a block, read from and written to a farm file's table ``[block.hydraulics]``.

Pressures may be given as such (psi, kPa, bar) or as head of water (m, ft).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from service.farm_files.keys import NumberKey, PointsKey
from service.farm_files.pipe_keys import (
    ALONG,
    HEAD,
    PRESSURE,
    HydraulicsKeys,
    ManifoldKeys,
    RegulatorKeys,
    SubmainKeys,
)
from service.farm_files.quantities import show, write_quantity
from service.farm_files.toml_table import TomlTable
from service.unit_sizes import KPA_PER_M_OF_HEAD, KPA_PER_PSI
from service.waterworks.block_layout import BlockLayout
from service.waterworks.lateral import FLAT

LOWEST_HEAD_M, HIGHEST_HEAD_M = 0.1, 200.0  # [m] least working pressure
_PRESSURE_UNITS = ("psi", "kpa", "bar", "bars")


@dataclass(frozen=True, slots=True)
class LayoutDefaults:
    """What the rest of the block says about its pipes."""

    emitter_spacing_m: float
    row_spacing_m: float
    emitters_per_plant_count: float | None = None
    """Where the block's emitters are counted by plants."""


def read_layout(table: TomlTable | None, defaults: LayoutDefaults) -> BlockLayout | None:
    """The layout that a table describes; None without one or after a fault, which is recorded."""
    if table is None:
        return None
    faults_before = table.fault_count()
    keys = HydraulicsKeys
    diameter_mm = table.number(keys.lateral_diameter)
    emitter_count = _emitter_count(table, defaults.emitter_spacing_m)
    supply_head_m = _head_m(table, keys.inlet_pressure)
    compensates = _compensating(table)
    row_profile = _profile(table, keys.row_profile, keys.row_slope)
    exponent = table.number(keys.emitter_exponent)
    nominal_head_m = _working_head_m(table, keys.nominal_pressure)
    variation = table.number(keys.manufacturer_variation)
    per_plant = defaults.emitters_per_plant_count
    if per_plant is None or table.has(keys.emitters_per_plant):
        per_plant = table.number(keys.emitters_per_plant)
    first_m = table.number(keys.first_emitter) if table.has(keys.first_emitter) else None
    connection_m = table.number(keys.connection_loss)
    law = table.choice(keys.friction)
    fields = {
        **_manifold(table.table(keys.manifold), defaults.row_spacing_m),
        **_submain(table.table(keys.submain)),
        **_regulator(table.table(keys.regulator)),
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
    """The layout as lines of ``[block.hydraulics]``; reading them back gives an equal layout."""
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


def _whole(table: TomlTable, key: NumberKey) -> int:
    number = table.number(key)
    if math.isnan(number):
        return 1
    if number != int(number):
        table.refuse(key, show(number), table.in_words(key.measure))
    return int(number)


def _emitter_count(table: TomlTable, spacing_m: float) -> int:
    """As given, or from the length of the drip line."""
    count, length = HydraulicsKeys.emitter_count, HydraulicsKeys.lateral_length
    has_length = table.has(length)
    if table.has(count) and has_length:
        table.refuse(length, f"given beside {count.name}", "one of the two")
        return 1
    if not has_length:
        return _whole(table, count)
    length_m = table.number(length)
    if math.isnan(length_m + spacing_m):
        return 1
    return max(1, round(length_m / spacing_m))


def _head_m(table: TomlTable, key: NumberKey) -> float:
    value = table.value(key)
    if value is None and key.default is not None:
        return key.default
    return _read_head_m(table, value, key.name)


def _read_head_m(table: TomlTable, value: object, place: str) -> float:
    if value is None:
        table.refuse(place, "nothing", table.in_words(HEAD))
        return math.nan
    is_pressure = isinstance(value, str) and value.strip().lower().endswith(_PRESSURE_UNITS)
    if is_pressure:
        return table.read(value, place, PRESSURE) / KPA_PER_M_OF_HEAD
    return table.read(value, place, HEAD)


def _working_head_m(table: TomlTable, key: NumberKey) -> float:
    """A working pressure: one that the solvers accept, and not 0."""
    head_m = _head_m(table, key)
    if not math.isnan(head_m) and not LOWEST_HEAD_M <= head_m <= HIGHEST_HEAD_M:
        allowed = f"{LOWEST_HEAD_M:g} to {HIGHEST_HEAD_M:g} m of water"
        if table.unit_system == "us":
            psi = [
                head * KPA_PER_M_OF_HEAD / KPA_PER_PSI for head in (LOWEST_HEAD_M, HIGHEST_HEAD_M)
            ]
            allowed = f"{psi[0]:.2g} to {psi[1]:.0f} psi"
        table.refuse(key, show(table.value(key)), allowed)
    return head_m


def _compensating(table: TomlTable) -> tuple[float | None, float | None]:
    key = HydraulicsKeys.compensates
    value = table.value(key)
    if value is None:
        return None, None
    if not isinstance(value, list) or len(value) != 2:
        table.refuse(key, show(value), "two pressures such as ['5 m', '40 m']")
        return None, None
    low, high = (_read_head_m(table, item, key.name) for item in value)
    if not low < high:
        table.refuse(key, show(value), "a lower pressure first, then a higher one")
    return low, high


def _profile(
    table: TomlTable, key: PointsKey, slope_key: NumberKey
) -> tuple[tuple[float, float], ...]:
    """Points along the ground, or one slope all the way."""
    value = table.value(key)
    if table.has(slope_key):
        if value is not None:
            table.refuse(slope_key, f"given beside {key.name}", "one of the two")
        slope = table.number(slope_key)
        return FLAT if math.isnan(slope) else ((0.0, 0.0), (100.0, 100.0 * slope))
    if value is None:
        return FLAT
    allowed = "points by rising distance, the first at 0, such as [['0 m', '0 m'], ['50 m', '1 m']]"
    if not isinstance(value, list) or not value:
        table.refuse(key, show(value), allowed)
        return FLAT
    points: list[tuple[float, float]] = []
    for index, item in enumerate(value, 1):
        place = f"{key.name}[{index}]"
        if not isinstance(item, list) or len(item) != 2:
            table.refuse(place, show(item), allowed)
            return FLAT
        along = table.read(item[0], place, ALONG)
        height = table.read(item[1], place, key.value)
        if math.isnan(along + height):
            return FLAT
        if along <= points[-1][0] if points else along != 0.0:
            table.refuse(place, show(item), allowed)
            return FLAT
        points.append((along, height))
    return tuple(points)


def _manifold(table: TomlTable | None, row_spacing_m: float) -> dict[str, Any]:
    if table is None:
        return {}
    found: dict[str, Any] = {
        "manifold_diameter_mm": table.number(ManifoldKeys.diameter),
        "takeoff_count": _whole(table, ManifoldKeys.rows),
        "takeoff_spacing_m": table.number(ManifoldKeys.row_gap, row_spacing_m),
        "laterals_per_takeoff_count": _whole(table, ManifoldKeys.sides),
        "manifold_profile": _profile(table, ManifoldKeys.profile, ManifoldKeys.slope),
    }
    table.close()
    return found


def _submain(table: TomlTable | None) -> dict[str, Any]:
    if table is None:
        return {}
    found: dict[str, Any] = {
        "submain_diameter_mm": table.number(SubmainKeys.diameter),
        "submain_length_m": table.number(SubmainKeys.length),
        "submain_rise_m": table.number(SubmainKeys.rise),
    }
    table.close()
    return found


def _regulator(table: TomlTable | None) -> dict[str, Any]:
    if table is None:
        return {}
    keys = RegulatorKeys
    lowest, highest = table.number(keys.lowest_flow), table.number(keys.highest_flow)
    if highest <= lowest:
        found_text = show(table.value(keys.highest_flow))
        table.refuse(keys.highest_flow, found_text, "above the lowest flow")
    set_head_m = _working_head_m(table, keys.set)
    highest_head_m = _head_m(table, keys.highest_pressure)
    if highest_head_m < set_head_m:
        found_text = show(table.value(keys.highest_pressure))
        table.refuse(keys.highest_pressure, found_text, "the pressure it is set to, or more")
    found: dict[str, Any] = {
        "regulator_set_head_m": set_head_m,
        "regulator_loss_head_m": _head_m(table, keys.loss),
        "regulator_lowest_flow_l_per_h": lowest,
        "regulator_highest_flow_l_per_h": highest,
        "regulator_highest_head_m": highest_head_m,
    }
    table.close()
    return found
