"""Fields for a farm's site: where it is, and how far its dewpoint lies below the night minimum.

A place is given by its coordinates, or by the county whose weather site it is near enough to.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import cast

from service.errors import Fault, InputInvalid
from service.operations.weather.read_sites import CountySite
from service.pages import coordinates
from service.pages.number_fields import digits_of, entered_number
from service.records.farms import MonthlyNormals, SiteDefinition
from service.unit_sizes import FAHRENHEIT_PER_CELSIUS

FIELD, KEY = "tdew_offset", "tdew_offset_c"
"""The key for the whole year, and that of the months among the normals."""
UNITS: Mapping[str, tuple[str, ...]] = {FIELD: ("°F", "°C")}
_PER_CELSIUS = {"°F": FAHRENHEIT_PER_CELSIUS}

COUNTY, PLACE = "county", coordinates.FIELD


def with_county(form: Mapping[str, str], counties: Sequence[CountySite]) -> Mapping[str, str]:
    """The form with the place of the county that was chosen, as far as none was entered."""
    chosen = next((each for each in counties if each.county_code == form.get(COUNTY)), None)
    if chosen is None or form.get(PLACE):
        return form
    site = chosen.site
    filled = {**form, PLACE: coordinates.shown_coordinates(site.latitude_deg, site.longitude_deg)}
    if not form.get("elevation"):
        filled |= {"elevation": digits_of(site.elevation_m), "elevation_unit": "m"}
    return filled


def entered_place(form: Mapping[str, str]) -> dict[str, object]:
    """Latitude and longitude as a farm file writes them; what cannot be read as it is, for the
    reader to refuse."""
    text = form.get(PLACE, "")
    try:
        latitude, longitude = coordinates.read_coordinates(text)
    except InputInvalid:
        return {"latitude": text or None, "longitude": text or None}
    return {"latitude": latitude, "longitude": longitude}


def shown_place(site: SiteDefinition) -> dict[str, str]:
    """The place of a stored site."""
    return {PLACE: coordinates.shown_coordinates(site.latitude_deg, site.longitude_deg)}


def place_faults(faults: Mapping[str, Fault], form: Mapping[str, str]) -> Mapping[str, Fault]:
    """Faults with those of the coordinates in the words of their field, if they cannot be read."""
    if PLACE not in faults or PLACE not in form:
        return faults
    try:
        coordinates.read_coordinates(form.get(PLACE, ""))
    except InputInvalid as error:
        return {**faults, PLACE: error.faults[0]}
    return faults


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
