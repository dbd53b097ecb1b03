"""One week of the counties as a file."""

from __future__ import annotations

import math
from collections.abc import Sequence

from service.delivery.table_file import csv_bytes
from service.records.counties import CountyWeek
from service.translations.wording import US
from service.unit_sizes import MM_PER_INCH


def county_csv(rows: Sequence[CountyWeek], *, week: str, reference: str, unit_system: str) -> bytes:
    """The table of a week as CSV: depths in inches or millimeters, as the names of columns say."""
    is_us = unit_system == US
    # So many decimals that rounding them again gives what the page shows.
    unit, size_mm, decimals = ("in", MM_PER_INCH, 5) if is_us else ("mm", 1.0, 3)

    def depth(depth_mm: float) -> float | None:
        return None if math.isnan(depth_mm) else round(depth_mm / size_mm, decimals)

    header = [
        "week", "reference", "county_code", "name", "rank", f"reference_et_{unit}",
        "percent_of_normal", f"crop_et_{unit}", f"rain_{unit}", f"net_need_{unit}",
        f"gross_need_{unit}", "running_h", "forecast_day_count", "observed_until", "rests_on",
        "days_measured", "days_forecast", "days_stand_in", f"normal_net_need_{unit}",
        "rain_observed_until", f"net_need_p10_{unit}", f"net_need_p90_{unit}",
    ]  # fmt: skip
    cells = (
        [
            week, reference, row.county_code, row.name, row.rank or None,
            depth(row.reference_et_mm), _rounded(row.percent_of_normal),
            depth(row.crop_et_mm), depth(row.rain_mm), depth(row.net_need_mm),
            depth(row.gross_need_mm), _rounded(row.running_h), row.unmeasured_days_count,
            row.observed_until, row.basis.value, row.measured_days_count,
            row.forecast_days_count, row.stand_in_days_count, depth(row.normal_need_mm),
            row.rain_until, *(depth(row.net_need_band_mm[end]) if row.net_need_band_mm else None
            for end in (0, 2)),
        ]
        for row in rows
    )  # fmt: skip
    return csv_bytes(header, cells)


def _rounded(value: float) -> float | None:
    return None if math.isnan(value) else round(value, 3)
