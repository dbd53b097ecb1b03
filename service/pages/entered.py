"""What was typed into the forms of a block: numbers, days and times of day."""

from __future__ import annotations

import math
from datetime import datetime

from service.errors import Fault, InputInvalid
from service.pages.plans import parsed_day
from service.pages.visit import Visit
from service.translations.catalogue import marked


def entered_number(visit: Visit, name: str) -> float:
    """A number; raises InputInvalid."""
    text = visit.form.get(name, "").replace(",", ".")
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputInvalid(
            "a number is missing", [Fault(name, repr(text)[:40], marked("a number such as 0.4"))]
        )
    return value


def entered_time(visit: Visit, day_name: str, time_name: str) -> datetime:
    """A day and a time of day, on the farm's clock; raises InputInvalid."""
    day = parsed_day(visit.form.get(day_name, ""))
    if day is None:
        raise InputInvalid(
            "a day is missing",
            [
                Fault(
                    day_name,
                    repr(visit.form.get(day_name, ""))[:40],
                    marked("a day such as 2026-07-14"),
                )
            ],
        )
    text = visit.form.get(time_name, "")
    try:
        clock = datetime.strptime(text[:5], "%H:%M").time()  # noqa: DTZ007 - a wall-clock time
    except ValueError:
        raise InputInvalid(
            "a time is missing",
            [Fault(time_name, repr(text)[:40], marked("a time such as 06:30 or 18:30"))],
        ) from None
    return datetime.combine(day, clock)
