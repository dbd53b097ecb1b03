"""Fields for the hours of every week in which a supply gives no water."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import cast

from service.delivery.timer_words import weekday_words
from service.farm_files.block_part_keys import WEEKDAYS
from service.pages.farm_forms import Opened, Table
from service.pages.window_fields import clock_text
from service.records.farms import SupplyDefinition
from service.translations import Wording

Form = Mapping[str, str]
KEY = "weekly_no_water"
"""The key of a supply's table, and the field that a fault stands beside."""
_FIELD = re.compile(r"weekly_([1-9][0-9]?)_[a-z]+")
_ALL_DAY = ("00:00", "24:00")


def weekly_rows(form: Form) -> range:
    """The rows that a form is shown with: those in use and one more."""
    return range(1, max(_used(form), default=0) + 2)


def weekdays_of(words: Wording) -> list[tuple[str, str]]:
    """The days that a row offers, Monday first, in a few letters."""
    return [(key[:3], weekday_words(day, words)) for day, key in enumerate(WEEKDAYS, 1)]


def with_weekly(table: Table, form: Form) -> Table:
    """A supply's table with the hours that were entered; without the key where there are none."""
    rest = {key: value for key, value in table.items() if key != KEY}
    return {**rest, KEY: entered} if (entered := _entered(form)) else rest


def opened_with_weekly(opened: Opened, supply: SupplyDefinition) -> Opened:
    """The form of a stored supply with its hours."""
    shown = {}
    for row, hours in enumerate(supply.weekly_no_water, 1):
        shown[f"weekly_{row}_from"] = clock_text(hours.starts_wall_min)
        shown[f"weekly_{row}_to"] = clock_text(hours.ends_wall_min)
        shown[f"weekly_{row}_reason"] = hours.reason
        shown |= {f"weekly_{row}_{WEEKDAYS[day - 1][:3]}": "yes" for day in hours.weekdays}
    return replace(opened, form={**opened.form, **shown})


def change_weekly(document: Table, supply_id: str, form: Form, opened: Opened) -> Table:
    """The document of a farm with the hours that were entered, where they differ from the form's
    own.
    """
    if _entered(form) == _entered(opened.form):
        return document
    supplies = cast("list[Table]", document["supply"])
    changed = [
        with_weekly(table, form) if table["id"] == supply_id else table for table in supplies
    ]
    return {**document, "supply": changed}


def _entered(form: Form) -> list[Table]:
    """The hours as a farm file writes them; a row without a time is the whole day."""
    found: list[Table] = []
    for row in _used(form):
        days = [day for day in WEEKDAYS if form.get(f"weekly_{row}_{day[:3]}")]
        begins, ends = (form.get(f"weekly_{row}_{end}", "")[:5] for end in ("from", "to"))
        if not begins and not ends:
            begins, ends = _ALL_DAY
        # A field for a time knows no 24:00; what ends at 0:00 ends with the day.
        hours: Table = {"days": days, "from": begins, "to": "24:00" if ends == "00:00" else ends}
        reason = form.get(f"weekly_{row}_reason")
        found.append({**hours, "reason": reason} if reason else hours)
    return found


def _used(form: Form) -> list[int]:
    """The rows in which something was entered."""
    rows = (_FIELD.fullmatch(name) for name, value in form.items() if value)
    return sorted({int(match[1]) for match in rows if match})
