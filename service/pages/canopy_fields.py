"""Fields for the canopy of a block: its size, the day it was measured on, and what it grows to."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

UNITS: Mapping[str, tuple[str, ...]] = {"canopy_height": ("ft", "m"), "full_height": ("ft", "m")}
QUANTITIES: Mapping[str, str] = {
    "canopy_height": "canopy_height_m",
    "full_height": "full_height_m",
}
"""Fields with a unit, and the number of a block that each is."""
SHARES: Mapping[str, str] = {
    "canopy_cover": "canopy_cover_fraction",
    "full_cover": "full_cover_fraction",
}
"""Fields that are a share of the ground."""
DAY = "canopy_measured_on"
FIELDS = ("canopy_cover", "canopy_height", DAY, "full_cover", "full_height")


def entered_day(form: Mapping[str, str]) -> dict[str, object]:
    """The day as a farm file writes it; nothing where none was entered."""
    return {DAY: form[DAY]} if form.get(DAY) else {}


def shown_day(table: Mapping[str, object]) -> dict[str, str]:
    """The day of a stored block."""
    day = table.get(DAY)
    return {DAY: str(day)} if day else {}


def change_day(table: dict[str, object], form: Mapping[str, str], shown: Mapping[str, str]) -> None:
    """Put the day that was entered into the stored table of a block, if it has changed.

    Sizes that were not given follow the crop again: they are not what was measured on that day.
    """
    if form.get(DAY, "") == shown.get(DAY, ""):
        return
    table.pop(DAY, None)
    table |= entered_day(form)
    origins = cast("dict[str, object]", table.setdefault("origins", {}))
    origins.pop("canopy_measured_year", None)
    for key, field in (*SHARES.items(), *QUANTITIES.items()):
        if origins.pop(field, None) is not None:
            table.pop(key, None)
