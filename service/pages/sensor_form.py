"""A reading of a soil sensor on the page of a block: water by volume, or tension, at a depth."""

from __future__ import annotations

import math
from datetime import datetime

from service.database.session import UnitOfWork
from service.errors import Fault, InputInvalid
from service.operations.feedback.read_soil import (
    DEEPEST_M,
    LARGEST_TENSION_KPA,
    LARGEST_WATER,
    BelowRootZone,
    read_soil,
)
from service.operations.feedback.record_observations import SENSOR_REACH_M
from service.pages.entered import entered_number
from service.pages.visit import Visit
from service.unit_sizes import MM_PER_INCH

PERCENT, CENTIBAR = "%", "cb"
_M_PER = {"in": MM_PER_INCH / 1000.0, "cm": 0.01}
_ALLOWED = {PERCENT: (1.0, 100.0 * LARGEST_WATER), CENTIBAR: (0.0, LARGEST_TENSION_KPA)}
"""A centibar is a kilopascal. Less than one percent was meant as a fraction."""
FAULT_FIELDS = {
    "/volumetric_water": "value",
    "/tension_kpa": "value",
    "/depth_m": "depth",
    "/read_at": "time",
}
"""Which field of the form a fault of the operation belongs to."""


def store_sensed(visit: Visit, unit: UnitOfWork, block_id: str, read_at: datetime) -> int:
    """Store what the form says; returns the number of new plans."""
    value = entered_number(visit, "value")
    kind = CENTIBAR if visit.form.get("value_unit") == CENTIBAR else PERCENT
    least, most = _ALLOWED[kind]
    if not least <= value <= most:
        raise InputInvalid(
            "the reading cannot be stored",
            [Fault("value", f"{value:g} {kind}", f"a number from {least:g} to {most:g} {kind}")],
        )
    typed, depth_m = _depth(visit)
    try:
        done = read_soil(
            unit,
            block_id,
            read_at=read_at,
            top_depth_m=max(0.0, depth_m - SENSOR_REACH_M),
            bottom_depth_m=depth_m + SENSOR_REACH_M,
            volumetric_water=value / 100.0 if kind == PERCENT else None,
            tension_kpa=value if kind == CENTIBAR else None,
            note="",
            reporter=visit.reporter,
            replanning=visit.service.replanning,
        )
    except BelowRootZone as error:
        allowed = f"a depth inside the managed root zone, {_in_own_unit(visit, error.root_depth_m)}"
        raise InputInvalid(error.message, [Fault("depth", typed, allowed)]) from error
    return done.new_version_count


def _depth(visit: Visit) -> tuple[str, float]:
    """How deep the sensor is, as it was typed, and in m; raises InputInvalid beyond any soil."""
    unit, m_per_unit = _unit(visit)
    depth = entered_number(visit, "depth")
    found, depth_m = f"{depth:g} {unit}", depth * m_per_unit
    if not 0.0 <= depth_m <= DEEPEST_M - SENSOR_REACH_M:
        allowed = f"0 to {_in_own_unit(visit, DEEPEST_M - SENSOR_REACH_M)}"
        raise InputInvalid("the reading cannot be stored", [Fault("depth", found, allowed)])
    return found, depth_m


def _in_own_unit(visit: Visit, depth_m: float) -> str:
    """A depth in the unit that the form names, cut to tenths so that it is still allowed."""
    unit, m_per_unit = _unit(visit)
    return f"{math.floor(10.0 * depth_m / m_per_unit + 1e-6) / 10.0:g} {visit.words.unit(unit)}"


def _unit(visit: Visit) -> tuple[str, float]:
    unit = visit.form.get("depth_unit", "")
    return (unit, _M_PER[unit]) if unit in _M_PER else ("cm", _M_PER["cm"])
