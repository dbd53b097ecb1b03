"""The form of a block's pipes: what it shows of them, and the table of a farm file that it makes.

It asks for what every grower can measure or read off a label. Anything more in a farm file, such as
a submain or a ground profile, is left alone.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Mapping, Sequence
from typing import cast

from service.errors import Fault, InputInvalid
from service.pages.farm_forms import (
    Form,
    Opened,
    Table,
    entered_quantity,
    is_as_shown,
    shown_quantity,
    version_of,
)
from service.pages.number_fields import digits_of, entered_number
from service.records.farms import BlockDefinition

M_PER_MM = 0.001
FIELDS = (
    "row_length", "tube", "pressure", "stated_pressure", "exponent", "slope", "rows", "header",
    "regulator",
)  # fmt: skip
_KEYS = {
    "row_length": "lateral_length",
    "tube": "lateral_diameter",
    "pressure": "inlet_pressure",
    "stated_pressure": "nominal_pressure",
}
_FIELD_OF = {
    "emitter_count": "row_length",
    **{key: name for name, key in _KEYS.items()},
    "emitter_exponent": "exponent",
    "row_slope": "slope",
    "row_profile": "slope",
    "manifold/diameter": "header",
    "manifold/rows": "rows",
    "regulator/set": "regulator",
}
_BEFORE = re.compile(r"^.*hydraulics/")


def open_pipes(block: BlockDefinition, units: Mapping[str, Sequence[str]]) -> Opened:
    """The pipes as stored, empty where nobody has described them.

    There is no slope field if the ground profile was given point by point.
    """
    layout = block.layout
    if layout is None:
        return Opened({"slope": ""}, {}, version_of(None))
    quantities = {
        "row_length": layout.emitter_count * block.emitter_spacing_m,
        "tube": layout.lateral_diameter_mm * M_PER_MM,
        "pressure": layout.supply_head_m,
        "stated_pressure": layout.nominal_head_m,
    }
    if layout.manifold_diameter_mm is not None:
        quantities["header"] = layout.manifold_diameter_mm * M_PER_MM
    if layout.regulator_set_head_m is not None:
        quantities["regulator"] = layout.regulator_set_head_m
    form = {"exponent": digits_of(layout.flow_exponent)}
    for name, value in quantities.items():
        form[name], form[f"{name}_unit"] = shown_quantity(value, units[name])
    if layout.manifold_diameter_mm is not None:
        form["rows"] = str(layout.takeoff_count)
    slope_pct = _slope_pct(layout.row_profile)
    if slope_pct is not None:
        form["slope"] = digits_of(slope_pct) if slope_pct else ""
    return Opened(form, {}, version_of(repr(layout)))


def change_pipes(table: Table, form: Form, opened: Opened) -> Table:
    """The stored table of a block with what the form of its pipes says."""
    changed = copy.deepcopy(table)
    pipes = cast("Table", changed.setdefault("hydraulics", {}))
    for name, key in _KEYS.items():
        if not is_as_shown(form, opened.form, name):
            pipes.pop("emitter_count" if name == "row_length" else key, None)
            _put(pipes, key, entered_quantity(form, name))
    if form.get("exponent", "") != opened.form.get("exponent", ""):
        _put(pipes, "emitter_exponent", entered_number(form, "exponent"))
    if "slope" in opened.form and form.get("slope", "") != opened.form["slope"]:
        pipes.pop("row_profile", None)
        _put(pipes, "row_slope", entered_quantity({**form, "slope_unit": "%"}, "slope"))
    header = dict(cast("Table", pipes.get("manifold", {})))
    if not is_as_shown(form, opened.form, "header"):
        _put(header, "diameter", entered_quantity(form, "header"))
    if form.get("rows", "") != opened.form.get("rows", ""):
        _put(header, "rows", entered_number(form, "rows"))
    is_alone = not form.get("header") and not form.get("rows")
    _put(pipes, "manifold", None if is_alone else header)
    if not is_as_shown(form, opened.form, "regulator"):
        set_at = entered_quantity(form, "regulator")
        known = cast("Table", pipes.get("regulator", {}))
        _put(pipes, "regulator", None if set_at is None else {**known, "set": set_at})
    return changed


def faults_of(error: InputInvalid) -> dict[str, Fault]:
    """Faults by the field of the form that they belong to; what belongs to none is under ``""``."""
    found: dict[str, Fault] = {}
    for fault in error.faults:
        found.setdefault(_FIELD_OF.get(_BEFORE.sub("", fault.where), ""), fault)
    return found or {"": Fault("", "", error.message)}


def _put(table: Table, key: str, value: object) -> None:
    if value is None:
        table.pop(key, None)
    else:
        table[key] = value


def _slope_pct(profile: Sequence[tuple[float, float]]) -> float | None:
    """Of ground that rises or falls evenly from the row's inlet; None for any other."""
    if len(profile) > 2 or profile[0] != (0.0, 0.0):
        return None
    return 0.0 if len(profile) == 1 else 100.0 * profile[1][1] / profile[1][0]
