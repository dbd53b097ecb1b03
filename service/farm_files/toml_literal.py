"""One value as TOML writes it."""

from __future__ import annotations

from datetime import date, datetime


def toml_literal(value: str | float | date) -> str:
    """The value as text; a number always as a float."""
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return f'"{escaped}"'
    if isinstance(value, datetime | date):
        return value.isoformat()
    return repr(float(value))
