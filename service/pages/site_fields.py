"""The field for the dewpoint of a farm's site: how far below the night minimum it lies."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from service.pages.number_fields import digits_of, entered_number
from service.records.farms import MonthlyNormals, SiteDefinition
from service.unit_sizes import FAHRENHEIT_PER_CELSIUS

FIELD, KEY = "tdew_offset", "tdew_offset_c"
"""The key for the whole year, and that of the months among the normals."""
UNITS: Mapping[str, tuple[str, ...]] = {FIELD: ("°F", "°C")}
_PER_CELSIUS = {"°F": FAHRENHEIT_PER_CELSIUS}


def entered_offset(form: Mapping[str, str]) -> dict[str, object]:
    """The offset as a farm file writes it, with its unit; nothing where none was entered."""
    number = entered_number(form, FIELD)
    if number is None:
        return {}
    unit = form.get(f"{FIELD}_unit", "")
    return {FIELD: number if isinstance(number, str) else f"{number} {unit}".strip()}


def shown_offset(site: SiteDefinition, unit: str) -> dict[str, str]:
    """The offset of a stored site in a unit; nothing where it has none, or one for each month."""
    months = (site.normals or MonthlyNormals()).tdew_offset_c
    shown = {f"{FIELD}_unit": unit}
    if months and len(set(months)) == 1:
        shown[FIELD] = digits_of(months[0] * _PER_CELSIUS.get(unit, 1.0), 3)
    return shown


def change_offset(table: dict[str, object], form: Mapping[str, str]) -> None:
    """Put the offset that was entered into the stored table of a site; an empty one takes it out.

    Offsets by month give way to it.
    """
    normals = dict(cast("Mapping[str, object]", table.get("normals") or {}))
    normals.pop(KEY, None)
    table.pop(FIELD, None)
    table["normals"] = normals or None
    table |= entered_offset(form)
