"""One week of the counties as rows, for the page and for its file."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from service.agronomy.county_need import Basis
from service.operations.review.compare_counties import CountyComparison

MARKS = {Basis.MEASURED: "", Basis.FORECAST: " ~", Basis.STAND_IN: " *", Basis.UNKNOWN: ""}
"""Behind a figure: what it rests on."""
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\0")


@dataclass(frozen=True, slots=True)
class CountyRow:
    """One county in one week."""

    code: str
    name: str
    site_id: str
    rank: int
    reference_et_mm: float
    crop_et_mm: float
    rain_mm: float
    net_mm: float
    gross_mm: float
    running_h: float
    percent_of_normal: float
    normal_need_mm: float
    forecast_day_count: int
    """Days that are not measured."""
    measured_days_count: int
    forecast_days_count: int
    stand_in_days_count: int
    basis: Basis
    observed_until: date | None
    rain_until: date | None

    @property
    def mark(self) -> str:
        """Behind a rank that does not rest on measured weather alone."""
        return MARKS[self.basis]


def county_rows(found: CountyComparison) -> list[CountyRow]:
    """The counties of one week, in the order of their codes."""
    need = found.need
    return [
        CountyRow(
            code=county.county_code,
            name=county.name,
            site_id=county.site_id,
            rank=int(need.rank[place]),
            reference_et_mm=float(need.reference_et_mm[place]),
            crop_et_mm=float(need.crop_et_mm[place]),
            rain_mm=float(found.rain_mm[place]),
            net_mm=float(need.net_need_mm[place]),
            gross_mm=float(need.gross_need_mm[place]),
            running_h=float(need.running_h[place]),
            percent_of_normal=float(need.percent_of_normal[place]),
            normal_need_mm=float(need.normal_need_mm[place]),
            forecast_day_count=int(found.forecast_day_count[place]),
            measured_days_count=int(found.days.measured_days_count[place]),
            forecast_days_count=int(found.days.forecast_days_count[place]),
            stand_in_days_count=int(found.days.stand_in_days_count[place]),
            basis=found.days.of(place),
            observed_until=found.observed_until[place],
            rain_until=found.freshness[place].measured_until.get("rain"),
        )
        for place, county in enumerate(found.counties)
    ]


def county_csv(rows: Sequence[CountyRow], *, week: str) -> bytes:
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
                week, _safe(row.code), _safe(row.name), row.rank or "",
                *(
                    "" if math.isnan(value) else round(value, 3)
                    for value in (
                        row.reference_et_mm, row.percent_of_normal, row.crop_et_mm, row.rain_mm,
                        row.net_mm, row.gross_mm, row.running_h,
                    )
                ),
                row.forecast_day_count,
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
