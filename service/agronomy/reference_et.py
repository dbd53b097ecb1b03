"""Reference evapotranspiration of short grass: the evaporative demand of a day.

In: checked daily weather of many sites. Out: FAO-56 Penman-Monteith ET0 in mm a day. This module
is the only caller of pyet, which raises no error when it is given latitude in degrees, radiation in
the wrong unit or columns in a different order; whatever it does not check is checked here, and it
is called once for all days and sites. Publication: Allen, Pereira, Raes and
Smith 1998, FAO Irrigation and Drainage Paper 56.
"""

from dataclasses import fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from service.agronomy.atmosphere import (
    clear_sky_radiation_mj_m2,
    mean_saturation_vapour_pressure_kpa,
)
from service.agronomy.records import Floats
from service.agronomy.weather_day import (
    ELEVATION_RANGE_M,
    LATITUDE_RANGE_DEG,
    RADIATION_OVER_CLEAR_SKY_RANGE,
    TEMPERATURE_RANGE_C,
    WIND_FLOOR_M_S,
    Flags,
    WeatherDays,
    check_days,
    site_values,
)
from service.agronomy.weather_flags import FieldFlag
from service.errors import Fault, WeatherInvalid

REFERENCE_ET_RANGE_MM = (0.0, 15.0)  # [mm/d] a choice of this service: values outside are errors
OLDEST_FILL_DAY_COUNT = 14  # [-] a choice of this service: older days tell little about today
WIND_AT_2M_MAX_M_S = 30.0  # [m/s] the fastest daily mean kept, seen by a sensor at 0.5 m
ROUNDING_MJ_M2 = 0.01  # [MJ m-2] tolerance for values that were rounded when stored
ROUNDING_KPA = 0.02  # [kPa] the same, for vapour pressure beside rounded temperatures


def reference_et_mm(
    weather: WeatherDays, *, latitude_deg: ArrayLike, elevation_m: ArrayLike
) -> Floats:
    """Water that short, well-watered grass would use each day at each site.

    Shapes: weather and result (days, sites); latitude and elevation (sites,) or one number.
    Returns: ET0 [mm d⁻¹], never below 0; NaN wherever an input it needs is NaN.
    Raises WeatherInvalid for impossible input: days out of order, shapes that
    do not fit, a latitude beyond 90 degrees, radiation above 1.10 of a clear sky, negative wind,
    vapour pressure above saturation, a maximum below the minimum.
    Equation: FAO-56 Eq. 6 with Eq. 7 to 13, 21 to 25 and 37 to 40, soil heat flux 0 (Eq. 42), wind
    not below 0.5 m/s (chapter 3); net long-wave with the cloud term between 0.05 and 1.
    >>> import numpy as np
    >>> one = {"tmax_c": 21.5, "tmin_c": 12.3, "ea_kpa": 1.409, "rhmin_pct": 63.0, "u2_m_s": 2.078}
    >>> one |= {"rs_mj_m2": 22.07, "rain_mm": 0.0, "rain_probability_fraction": 1.0}
    >>> day = np.array(["2023-07-06"], "M8[D]")
    >>> weather = WeatherDays(
    ...     days=day, flags={}, **{name: np.array([[value]]) for name, value in one.items()}
    ... )
    >>> et0 = reference_et_mm(weather, latitude_deg=50.8, elevation_m=100.0)
    >>> round(float(et0[0, 0]), 2)
    3.88
    """
    shape = _check_shapes(weather)
    latitude = site_values("latitude_deg", latitude_deg, shape[1], LATITUDE_RANGE_DEG)
    elevation = site_values("elevation_m", elevation_m, shape[1], ELEVATION_RANGE_M)
    es = _refuse_the_impossible(weather, latitude, elevation)

    needed = (weather.tmax_c, weather.tmin_c, weather.ea_kpa, weather.u2_m_s, weather.rs_mj_m2)
    computable = ~np.isnan(np.sum(needed, axis=0))
    if not computable.any():
        # pyet mistakes a table of NaN for one in a wrong unit.
        return np.full(shape, np.nan)

    # Imported late, so that a process that only reads plans starts without pandas, xarray and pyet.
    import pyet
    import xarray

    def table(values: Floats) -> xarray.DataArray:
        return xarray.DataArray(
            values, dims=("time", "site"), coords={"time": weather.days.astype("datetime64[ns]")}
        )

    et0 = pyet.pm_fao56(
        tmean=table((weather.tmax_c + weather.tmin_c) / 2.0),
        wind=table(np.maximum(weather.u2_m_s, WIND_FLOOR_M_S)),
        rs=table(weather.rs_mj_m2),
        tmax=table(weather.tmax_c),
        tmin=table(weather.tmin_c),
        ea=table(np.minimum(weather.ea_kpa, es)),
        elevation=xarray.DataArray(elevation, dims=("site",)),
        lat=xarray.DataArray(np.radians(latitude), dims=("site",)),
    )
    return np.where(computable, np.asarray(et0.values, dtype=np.float64), np.nan)


def fill_reference_et(
    et0_mm: Floats, *, max_gap_days: int = 3, window_days: int = 7
) -> tuple[Floats, Flags]:
    """Reference ET with its short gaps closed by the mean of the days before.

    Shapes: et0_mm and both results (days, sites); rows are days that follow each other.
    max_gap_days: longest run of missing days that is filled [d].
    window_days: how many computed days before the gap are averaged [d]; none older than 14 days.
    Returns: ET0 [mm d⁻¹], NaN in longer gaps and where no computed day comes before; and flags:
    filled from recent days, missing, or out of range where a value beyond 0 to 15 was dropped.
    Source: a choice of this service.
    >>> filled, flags = fill_reference_et(np.array([[4.0], [6.0], [np.nan]]))
    >>> float(filled[2, 0]), FieldFlag(int(flags[2, 0])).name
    (5.0, 'FILLED_FROM_RECENT_DAYS')
    """
    outside = (et0_mm < REFERENCE_ET_RANGE_MM[0]) | (et0_mm > REFERENCE_ET_RANGE_MM[1])
    computed = np.where(outside, np.nan, et0_mm)
    missing = np.isnan(computed)
    fillable = missing & (_gap_length(missing) <= max_gap_days)
    filled = computed.copy()
    for day in np.flatnonzero(fillable.any(axis=1)):
        count = np.zeros(computed.shape[1])
        total = np.zeros(computed.shape[1])
        # Row by row, so that a site's sum does not depend on its neighbours.
        for before in computed[max(0, day - OLDEST_FILL_DAY_COUNT) : day][::-1]:
            taken = ~np.isnan(before) & (count < window_days)
            total += np.where(taken, before, 0.0)
            count += taken
        mean = np.where(count > 0, total / np.maximum(count, 1.0), np.nan)
        filled[day] = np.where(fillable[day], mean, computed[day])
    still_missing = np.isnan(filled)
    flags = (
        outside * np.int32(FieldFlag.OUT_OF_RANGE)
        | (missing & ~still_missing) * np.int32(FieldFlag.FILLED_FROM_RECENT_DAYS)
        | still_missing * np.int32(FieldFlag.MISSING)
    )
    return filled, flags.astype(np.int32)


def _check_shapes(weather: WeatherDays) -> tuple[int, int]:
    check_days(weather.days)
    names = [field.name for field in fields(weather) if field.name not in {"days", "flags"}]
    arrays: dict[str, Floats] = {name: getattr(weather, name) for name in names}
    site_count = weather.tmax_c.shape[1] if weather.tmax_c.ndim == 2 else -1
    shape = (len(weather.days), site_count)
    faults = [
        Fault(name, f"shape {values.shape}", f"({len(weather.days)}, sites), all fields alike")
        for name, values in arrays.items()
        if values.shape != shape
    ]
    if faults:
        raise WeatherInvalid("weather of the wrong shape", faults)
    return shape


def _refuse_the_impossible(weather: WeatherDays, latitude: Floats, elevation: Floats) -> Floats:
    """Raises for the first impossible value of each kind; returns saturation vapour pressure."""
    lowest_c, highest_c = TEMPERATURE_RANGE_C
    es = mean_saturation_vapour_pressure_kpa(weather.tmax_c, weather.tmin_c)
    clear_sky = clear_sky_radiation_mj_m2(weather.days, latitude, elevation)
    highest_rs = RADIATION_OVER_CLEAR_SKY_RANGE[1] * clear_sky + ROUNDING_MJ_M2
    rules: tuple[tuple[str, Floats, NDArray[np.float64] | float, Floats | float], ...] = (
        ("tmax_c", weather.tmax_c, np.fmax(weather.tmin_c, lowest_c), highest_c),
        ("tmin_c", weather.tmin_c, lowest_c, highest_c),
        ("ea_kpa", weather.ea_kpa, 0.0, np.where(np.isnan(es), np.inf, es) + ROUNDING_KPA),
        ("u2_m_s", weather.u2_m_s, 0.0, WIND_AT_2M_MAX_M_S),
        ("rs_mj_m2", weather.rs_mj_m2, 0.0, highest_rs),
    )
    faults = []
    for name, values, lowest, highest in rules:
        wrong = (values < lowest) | (values > highest)
        if wrong.any():
            day, site = (int(index) for index in np.argwhere(wrong)[0])
            low = float(np.broadcast_to(lowest, values.shape)[day, site])
            high = float(np.broadcast_to(highest, values.shape)[day, site])
            faults.append(
                Fault(
                    f"site {site}, {weather.days[day]}: {name}",
                    f"{values[day, site]:.6g} (one of {int(wrong.sum())} such values)",
                    f"{low:.4g} to {high:.4g}",
                )
            )
    if faults:
        raise WeatherInvalid("weather that cannot be", faults)
    return es


def _gap_length(missing: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Length of the run of missing days that each missing day is part of, 0 elsewhere."""
    length = np.zeros(missing.shape, dtype=np.int64)
    for day in range(len(missing)):
        earlier = length[day - 1] if day else 0
        length[day] = np.where(missing[day], earlier + 1, 0)
    for day in range(len(missing) - 2, -1, -1):
        length[day] = np.where(missing[day] & missing[day + 1], length[day + 1], length[day])
    return length
