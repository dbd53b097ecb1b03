"""The part of the nomenclature that is about how good forecasts were.

In: nothing. Out: :data:`FORECAST_GROUP`, one line for each name, as in
:mod:`service.agronomy.units`.
"""

from __future__ import annotations

from math import inf

from service.agronomy.quantity import Quantity

FORECAST_GROUP = (
    Quantity("issued_mm", "mm", 0, 2000, "rain or reference ET of a day as a source forecast it"),
    Quantity("observed_mm", "mm", 0, 2000, "the same as observed"),
    Quantity("issued_rain_mm", "mm", 0, 2000, "rain of a day as a source forecast it"),
    Quantity("observed_rain_mm", "mm", 0, 2000, "the same as observed"),
    Quantity("issued_tmax_c", "degC", -60, 60, "highest temperature of a day as forecast"),
    Quantity("observed_tmax_c", "degC", -60, 60, "the same as observed"),
    Quantity("members_mm", "mm", 0, 2000, "what each member of an ensemble forecast"),
    Quantity("band_mm", "mm", 0, 2000, "ends of a band in which eight of ten days are expected"),
    Quantity("chance_fraction", "1", 0, 1, "chance of rain of a day as a source forecast it"),
    Quantity("bias_mm", "mm", -2000, 2000, "mean of what was forecast less what was observed"),
    Quantity("mae_mm", "mm", 0, 2000, "mean absolute error of a forecast"),
    Quantity("rain_mae_mm", "mm", 0, 2000, "the same of rain"),
    Quantity("et0_mae_mm", "mm", 0, 2000, "the same of reference ET"),
    Quantity("crps_mm", "mm", 0, 2000, "continuous ranked probability score of a forecast"),
    Quantity("climatology_crps_mm", "mm", 0, 2000, "the same of the other days of the season"),
    Quantity("skill_ratio", "1", -inf, 1, "by how much a score is better than the season's"),
    Quantity("coverage_fraction", "1", 0, 1, "share of the observed days within a band"),
    Quantity("right_fraction", "1", 0, 1, "share of days on which rain or none was said rightly"),
    Quantity("class_issued_fraction", "1", 0, 1, "mean chance issued in a class of chances"),
    Quantity("class_observed_fraction", "1", 0, 1, "share of a class's days that had rain"),
    Quantity("class_count", "1", 0, inf, "days in a class of chances"),
    Quantity("pair_count", "1", 0, inf, "days that were both forecast and observed"),
    Quantity("half_coverage_fraction", "1", 0, 1, "share of them in an ensemble's middle half"),
    Quantity("most_coverage_fraction", "1", 0, 1, "share of them in its middle nine tenths"),
    Quantity("band_count", "1", 0, inf, "days among them that had a band"),
    Quantity("lead_days", "d", 0, 16, "from the evening of a forecast to its day, 1 for the next"),
    Quantity(
        "last_useful_rain_lead_days", "d", 0, 16, "up to which rain is better than the season"
    ),
    Quantity("last_useful_et0_lead_days", "d", 0, 16, "the same of reference ET"),
    Quantity("missing_forecast_day_count", "1", 0, inf, "days that had not been forecast"),
    Quantity("missing_observed_day_count", "1", 0, inf, "days that were not observed"),
    Quantity("observed_count", "1", 0, inf, "days whose observation is new or has changed"),
    Quantity("pruned_count", "1", 0, inf, "forecasts deleted as issued"),
)
