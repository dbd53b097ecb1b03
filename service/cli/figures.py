"""Numbers of whole seasons and files as CSV, for commands that print it instead of a table."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from typing import Annotated

import numpy as np
import typer

CsvOption = Annotated[bool, typer.Option("--csv", help="Print CSV instead, in SI units.")]


def csv_text(header: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    """CSV with a header line and no final line end."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(
        [str(cell).lower() if isinstance(cell, bool) else cell for cell in row] for row in rows
    )
    return buffer.getvalue().rstrip("\n")


def number_text(value: float, digits: int) -> str:
    """A number without trailing zeros; empty if unknown."""
    if not np.isfinite(value):
        return ""
    text = f"{float(value):.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text and digits > 2 else text


def refuse_both(as_csv: bool, as_json: bool) -> None:
    """Refuse two kinds of output at once."""
    if as_csv and as_json:
        message = "--csv and --json exclude each other"
        raise typer.BadParameter(message)
