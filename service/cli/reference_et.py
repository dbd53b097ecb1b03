"""Reference ET of a weather file, without a database."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import numpy as np
import typer

from service.cli import shown
from service.cli.figures import CsvOption, csv_text, number_text, refuse_both
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    UnitSystem,
    note,
    out,
    plain_table,
    print_json,
    print_text,
)
from service.farm_files.weather_file import WeatherFile, read_weather_file
from service.operations.review.compute_reference_et import (
    SHOWN_FIELDS,
    ReferenceEt,
    compute_reference_et,
    flag_words,
)
from service.unit_sizes import MM_PER_INCH

US_ENDINGS = ("_f", "_in", "_mph")
"""Of the columns of a file in US units."""


def et0(
    weather_file: Annotated[Path, typer.Argument(help="CSV with one line per day.")],
    latitude: Annotated[float, typer.Option(min=-90.0, max=90.0, help="Degrees, north positive.")],
    longitude: Annotated[
        float, typer.Option(min=-180.0, max=180.0, help="Degrees, east positive; only recorded.")
    ],
    elevation: Annotated[
        float, typer.Option(min=-430.0, max=6000.0, help="Elevation, meters above sea level.")
    ],
    wind_height: Annotated[
        float,
        typer.Option(min=0.5, max=200.0, help=("Height of the anemometer above ground, meters.")),
    ],
    krs: Annotated[
        float,
        typer.Option(min=0.1, max=0.25, help="FAO-56 Eq. 50: 0.16 inland, 0.19 by the sea."),
    ] = 0.16,
    units: UnitsOption = None,
    as_csv: CsvOption = False,
    as_json: JsonOption = False,
) -> None:
    """Compute reference ET (FAO-56 Penman-Monteith) of a weather file; needs no database."""
    refuse_both(as_csv, as_json)
    content = read_weather_file(weather_file)
    result = compute_reference_et(
        content.days,
        content.fields,
        latitude_deg=latitude,
        elevation_m=elevation,
        wind_height_m=wind_height,
        krs_per_sqrt_c=krs,
    )
    for text in content.notes:
        note(f"note: {text}")
    if as_json:
        print_json(
            {
                "latitude_deg": latitude,
                "longitude_deg": longitude,
                "elevation_m": elevation,
                "days": [_et0_document(result, day) for day in range(result.days.size)],
            }
        )
    elif as_csv:
        print_text(
            csv_text(
                ("date", "et0_mm", "flags", *SHOWN_FIELDS),
                (_et0_row(result, day) for day in range(result.days.size)),
            )
        )
    else:
        _show_et0(result, units or _units_of(content))


def _units_of(content: WeatherFile) -> UnitSystem:
    """Those of most columns of the file: it belongs to no farm that could have its own."""
    us_count = sum(name.lower().endswith(US_ENDINGS) for name in content.columns_found)
    return UnitSystem.US if 2 * us_count > len(content.columns_found) else UnitSystem.SI


def _et0_row(result: ReferenceEt, day: int) -> list[object]:
    return [
        result.days[day],
        number_text(result.et0_mm[day], 4),
        ";".join(flag_words(result, day)),
        *(number_text(result.values[name][day], 4) for name in SHOWN_FIELDS),
    ]


def _et0_document(result: ReferenceEt, day: int) -> dict[str, object]:
    return {
        "date": result.days[day].item(),
        "et0_mm": round(float(result.et0_mm[day]), 4),
        "flags": flag_words(result, day),
        **{name: round(float(result.values[name][day]), 4) for name in SHOWN_FIELDS},
    }


def _show_et0(result: ReferenceEt, units: UnitSystem) -> None:
    per_unit = MM_PER_INCH if units is UnitSystem.US else 1.0
    digits = 3 if units is UnitSystem.US else 2
    unit = shown.depth_unit(units)
    table = plain_table("Date", f"ET0, {unit}", "Flags", right=(1,))
    for day in range(result.days.size):
        table.add_row(
            str(result.days[day]),
            f"{result.et0_mm[day] / per_unit:.{digits}f}"
            if np.isfinite(result.et0_mm[day])
            else "-",
            ", ".join(flag_words(result, day)),
        )
    out.print(table)
    known = result.et0_mm[np.isfinite(result.et0_mm)]
    if known.size:
        out.print(
            f"{known.size} of {result.days.size} days computed: {shown.depth(known.sum(), units)},"
            f" {known.mean() / per_unit:.{digits}f} {unit} a day"
        )
