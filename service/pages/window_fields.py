"""Fields for the windows of a supply or a block: pairs of times, as many as are needed."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from service.agronomy.records import WallWindow

WINDOW_ROWS = 2
"""Pairs of times that a form offers, more where more are stored."""
_ROW = re.compile(r"(?:opens|closes)_([1-9][0-9]?)")


def window_rows(form: Mapping[str, str]) -> range:
    """The rows that a form is shown with."""
    return range(1, max(WINDOW_ROWS, *_filled(form), 0) + 1)


def entered_windows(form: Mapping[str, str]) -> list[str]:
    """Windows that were entered, as a farm file writes them."""
    rows = ((form.get(f"opens_{row}", ""), form.get(f"closes_{row}", "")) for row in _filled(form))
    # A field for a time knows no 24:00; a day that closes at 0:00 closes at its end.
    return [
        f"{opens[:5]}-{'24:00' if closes[:5] == '00:00' else closes[:5]}" for opens, closes in rows
    ]


def _filled(form: Mapping[str, str]) -> list[int]:
    """The rows of windows in which something was entered."""
    rows = (_ROW.fullmatch(name) for name, value in form.items() if value)
    return sorted({int(match[1]) for match in rows if match})


def shown_windows(windows: Sequence[WallWindow]) -> dict[str, str]:
    """Windows as the fields of a form hold them."""
    shown = {}
    for row, window in enumerate(windows, 1):
        shown[f"opens_{row}"] = clock_text(window.opens_wall_min)
        shown[f"closes_{row}"] = clock_text(window.closes_wall_min)
    return shown


def clock_text(wall_min: int) -> str:
    """A time of day as a field holds it; the end of a day is 00:00."""
    return f"{wall_min // 60 % 24:02d}:{wall_min % 60:02d}"
