"""A table as a file that a command writes: CSV or a spreadsheet, by the ending of its name."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from service.cli import shown
from service.cli.terminal import UnitSystem, out
from service.delivery.table_file import csv_file, xlsx_file
from service.errors import Fault, InputInvalid
from service.records.export import ExportTable
from service.records.farms import FarmDefinition
from service.translations import Wording, wording

_WRITTEN = {".csv": csv_file, ".xlsx": xlsx_file}


def _table_path(text: str) -> Path:
    path = Path(text)
    if path.suffix.lower() not in _WRITTEN:
        message = f"{text!r} ends neither with .csv nor with .xlsx"
        raise typer.BadParameter(message)
    return path


SaveOption = Annotated[
    Path | None,
    typer.Option(
        "--save",
        parser=_table_path,
        metavar="FILE",
        help="Write a table instead: FILE.csv or FILE.xlsx, in the units shown.",
    ),
]


def save_table(path: Path, table: ExportTable) -> None:
    """Write the file, all of it or nothing; raises InputInvalid where that is not possible."""
    content = _WRITTEN[path.suffix.lower()](table)
    unfinished = path.with_name(f".{path.name}.part")
    try:
        unfinished.write_bytes(content)
        unfinished.replace(path)
    except OSError as error:
        unfinished.unlink(missing_ok=True)
        fault = Fault("--save", error.strerror or str(error), "a file that can be written")
        raise InputInvalid(f"{path} cannot be written", [fault]) from error
    out.print(f"{path}: {shown.count(len(table.rows), 'row')}", soft_wrap=True)


def words_of(farm: FarmDefinition, units: UnitSystem | None) -> Wording:
    """English in the units that are asked for, else those of the farm."""
    return wording("en", farm.unit_system if units is None else units.value)
