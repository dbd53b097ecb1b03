"""One week of the counties: the marks of the page, and its file."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence

from service.agronomy.county_need import Basis
from service.records.counties import CountyWeek

MARKS = {Basis.MEASURED: "", Basis.FORECAST: " ~", Basis.STAND_IN: " *", Basis.UNKNOWN: ""}
"""Behind a figure: what it rests on."""
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\0")


def marked(text: object, row: CountyWeek) -> str:
    """A figure of a county with the mark of what it rests on."""
    return f"{text}{MARKS[row.basis]}"


def county_csv(rows: Sequence[CountyWeek], *, week: str) -> bytes:
    """The table of a week as CSV, in SI units."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(
        [
            "week", "county_code", "name", "rank", "reference_et_mm", "percent_of_normal",
            "crop_et_mm", "rain_mm", "net_need_mm", "gross_need_mm", "running_h",
            "forecast_day_count", "observed_until", "rests_on", "days_measured", "days_forecast",
            "days_stand_in", "normal_net_need_mm", "rain_observed_until",
        ]
    )  # fmt: skip
    for row in rows:
        writer.writerow(
            [
                week, _safe(row.county_code), _safe(row.name), row.rank or "",
                *(
                    "" if math.isnan(value) else round(value, 3)
                    for value in (
                        row.reference_et_mm, row.percent_of_normal, row.crop_et_mm, row.rain_mm,
                        row.net_need_mm, row.gross_need_mm, row.running_h,
                    )
                ),
                row.unmeasured_days_count,
                row.observed_until or "",
                row.basis.value,
                row.measured_days_count,
                row.forecast_days_count,
                row.stand_in_days_count,
                "" if math.isnan(row.normal_need_mm) else round(row.normal_need_mm, 3),
                row.rain_until or "",
            ]
        )  # fmt: skip
    return buffer.getvalue().encode()


def _safe(text: str) -> str:
    """Text that no spreadsheet will run as a formula."""
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text
