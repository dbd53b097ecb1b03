"""Three typical years of hourly station weather that pvlib ships, as daily records.

Source: ``pvlib/data``: TMY3 Greensboro NC (723170TYA.CSV) and Sand Point AK (703165TY.csv), TMY2
Miami FL (12839.tm2); National Solar Radiation Data Base, public domain. The rain columns of these
files cannot be used (fill values, single hours of 500 mm), so rain is left unknown.

A typical year is put together from months of different years, and its hours end on the hour (the
last is 24:00). The 8760 rows are therefore taken in the order of the file, 24 to a day, and laid
on the days of 2023, a year without a leap day.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import pvlib
from numpy.typing import NDArray

from service.agronomy.atmosphere import saturation_vapour_pressure_kpa
from service.agronomy.weather_day import RawWeather
from service.unit_sizes import MJ_M2_DAY_PER_W_M2

TMY_NAMES = ("greensboro", "miami", "sand_point")
MJ_PER_WH = MJ_M2_DAY_PER_W_M2 / 24.0  # [MJ per W h] 0.0036
WIND_SENSOR_HEIGHT_M = 10.0  # [m] stated height of the wind in both file formats

TMY3_COLUMNS = ("Dry-bulb (C)", "Dew-point (C)", "RHum (%)", "Wspd (m/s)", "GHI (W/m^2)")
TMY3_SCALES = (1.0, 1.0, 1.0, 1.0, 1.0)
TMY2_COLUMNS = ("DryBulb", "DewPoint", "RHum", "Wspd", "GHI")
TMY2_SCALES = (0.1, 0.1, 1.0, 0.1, 1.0)  # the reader returns tenths as they are in the file


@dataclass(frozen=True, slots=True)
class TmyYear:
    """365 days of one station; the arrays of ``raw`` are (365, 1) and read-only."""

    name: str
    raw: RawWeather
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    utc_offset_h: float


@cache
def read_tmy_year(name: str) -> TmyYear:
    """The typical year of one of ``TMY_NAMES``; read once, then remembered.

    Humidity is given three ways, as measured: mean dewpoint, extreme and mean relative humidity,
    and the mean of the hourly vapour pressures (the one that check_weather prefers).
    """
    folder = Path(pvlib.__path__[0]) / "data"
    if name == "miami":
        table, facts = pvlib.iotools.read_tmy2(folder / "12839.tm2")
        columns, scales = TMY2_COLUMNS, TMY2_SCALES
    else:
        file = {"greensboro": "723170TYA.CSV", "sand_point": "703165TY.csv"}[name]
        table, facts = pvlib.iotools.read_tmy3(folder / file, map_variables=False)
        columns, scales = TMY3_COLUMNS, TMY3_SCALES
    air, dew, humidity, wind, sun = (
        _by_day(table[column].to_numpy(dtype=np.float64) * scale)
        for column, scale in zip(columns, scales, strict=True)
    )
    days = np.datetime64("2023-01-01", "D") + np.arange(365)
    raw = replace(
        RawWeather.empty(days, 1),
        tmax_c=_column(air.max(axis=1)),
        tmin_c=_column(air.min(axis=1)),
        tdew_c=_column(dew.mean(axis=1)),
        rhmax_pct=_column(humidity.max(axis=1)),
        rhmin_pct=_column(humidity.min(axis=1)),
        rhmean_pct=_column(humidity.mean(axis=1)),
        wind_m_s=_column(wind.mean(axis=1)),
        rs_mj_m2=_column(sun.sum(axis=1) * MJ_PER_WH),
        ea_kpa=_column(saturation_vapour_pressure_kpa(dew).mean(axis=1)),
        wind_height_m=np.array([WIND_SENSOR_HEIGHT_M]),
    )
    return TmyYear(
        name=name,
        raw=raw,
        latitude_deg=float(facts["latitude"]),
        longitude_deg=float(facts["longitude"]),
        elevation_m=float(facts["altitude"]),
        utc_offset_h=float(facts["TZ"]),
    )


def _by_day(hourly: NDArray[np.float64]) -> NDArray[np.float64]:
    return hourly.reshape(365, 24)


def _column(daily: NDArray[np.float64]) -> NDArray[np.float64]:
    column = daily[:, np.newaxis].copy()
    column.flags.writeable = False
    return column
