"""The columns that a daily weather file may have: field, unit and possible range of each."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from service.agronomy.records import Floats
from service.unit_sizes import (
    FAHRENHEIT_PER_CELSIUS,
    FREEZING_POINT_F,
    KM_PER_DAY_PER_M_S,
    M_S_PER_MPH,
    MJ_M2_DAY_PER_W_M2,
    MJ_M2_PER_LANGLEY,
    MM_PER_INCH,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherColumn:
    """One way to give a quantity: its field, its unit and its physically possible range."""

    field: str
    lowest: float
    highest: float
    """In the column's own unit."""
    to_field_unit: Callable[[Floats], Floats] = lambda values: values
    suspect_median: float = math.inf
    """Above this median the column is in another unit."""
    suspect: str = ""
    advice: str = ""


def _scaled(factor: float) -> Callable[[Floats], Floats]:
    return lambda values: values * factor


def _celsius(values: Floats) -> Floats:
    return (values - FREEZING_POINT_F) / FAHRENHEIT_PER_CELSIUS


def _temperatures(quantity: str) -> dict[str, WeatherColumn]:
    field = f"{quantity}_c"
    return {
        field: WeatherColumn(
            field=field,
            lowest=-60.0,
            highest=60.0,
            suspect_median=55.0,
            suspect=f"degrees Fahrenheit; then name the column {quantity}_f",
        ),
        f"{quantity}_f": WeatherColumn(
            field=field,
            lowest=-76.0,
            highest=140.0,
            to_field_unit=_celsius,
            suspect_median=150.0,
            suspect=f"kelvin; convert it and name the column {field}",
        ),
    }


WEATHER_COLUMNS: Mapping[str, WeatherColumn] = {
    **_temperatures("tmax"),
    **_temperatures("tmin"),
    **_temperatures("tdew"),
    # A saturated day at 45 degC has 9.6 kPa; hectopascals are ten times as many.
    "ea_kpa": WeatherColumn(
        field="ea_kpa",
        lowest=0.0,
        highest=10.0,
        suspect_median=5.0,
        suspect="hectopascals; divide by 10",
    ),
    **{
        f"{field}_pct": WeatherColumn(field=f"{field}_pct", lowest=0.0, highest=105.0)
        for field in ("rhmax", "rhmin", "rhmean")
    },
    "wind_m_s": WeatherColumn(
        field="wind_m_s",
        lowest=0.0,
        highest=60.0,
        suspect_median=25.0,
        suspect="kilometers a day or miles an hour; then name the column wind_km_d or wind_mph",
    ),
    "wind_mph": WeatherColumn(
        field="wind_m_s",
        lowest=0.0,
        highest=134.0,
        to_field_unit=_scaled(M_S_PER_MPH),
        suspect_median=56.0,
        suspect="kilometers a day; then name the column wind_km_d",
    ),
    "wind_km_d": WeatherColumn(
        field="wind_m_s",
        lowest=0.0,
        highest=5184.0,
        to_field_unit=_scaled(1.0 / KM_PER_DAY_PER_M_S),
    ),
    "rs_mj_m2": WeatherColumn(
        field="rs_mj_m2",
        lowest=0.0,
        highest=50.0,
        suspect_median=45.0,
        suspect="W/m2 or langleys; then name the column rs_w_m2 or rs_langley",
    ),
    # Mean of 24 hours: 86,400 s of 1 W/m2 are 0.0864 MJ/m2.
    "rs_w_m2": WeatherColumn(
        field="rs_mj_m2",
        lowest=0.0,
        highest=578.0,
        to_field_unit=_scaled(MJ_M2_DAY_PER_W_M2),
        suspect_median=500.0,
        suspect="the mean of the daylight hours or langleys; give the mean of 24 hours",
    ),
    # 1 langley = 1 cal/cm2 = 41,840 J/m2 (thermochemical calorie).
    "rs_langley": WeatherColumn(
        field="rs_mj_m2", lowest=0.0, highest=1195.0, to_field_unit=_scaled(MJ_M2_PER_LANGLEY)
    ),
    "sunshine_h": WeatherColumn(
        field="sunshine_h",
        lowest=0.0,
        highest=24.0,
        suspect_median=24.0,
        suspect="minutes; divide by 60",
    ),
    "rain_mm": WeatherColumn(
        field="rain_mm", lowest=0.0, highest=1000.0, advice="; write a trace as 0"
    ),
    "rain_in": WeatherColumn(
        field="rain_mm",
        lowest=0.0,
        highest=39.3,
        to_field_unit=_scaled(MM_PER_INCH),
        advice="; write a trace as 0",
    ),
    "rain_probability_pct": WeatherColumn(
        field="rain_probability_fraction",
        lowest=0.0,
        highest=100.0,
        to_field_unit=_scaled(0.01),
    ),
}
COLUMN_NAMES: tuple[str, ...] = tuple(WEATHER_COLUMNS)
"""Every column a weather file may have in addition to ``date``."""
