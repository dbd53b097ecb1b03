"""Raw daily weather in, checked and filled daily weather out, with a flag for every change made.

In: one table of days by sites as a source gives it, NaN where it gives nothing. Out: the seven
fields that reference ET and the water balance need. A value outside its plausible range is removed
(never forced into the range without a flag), then the best remaining evidence replaces it in
the order of Allen et al. 1998, FAO-56, chapter 3. Maximum and minimum temperature have no
substitute. A series that is plainly in another unit is refused as a whole.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from service.agronomy.atmosphere import (
    clear_sky_radiation_mj_m2,
    daylight_hours,
    extraterrestrial_radiation_mj_m2,
    radiation_from_sunshine_mj_m2,
    radiation_from_temperature_range_mj_m2,
    saturation_vapour_pressure_kpa,
    wind_at_2m_m_s,
)
from service.agronomy.radiation_record import is_part_day, near_clearness
from service.agronomy.records import Days, Floats
from service.agronomy.weather_flags import FieldFlag
from service.errors import Fault, WeatherInvalid

Flags = NDArray[np.int32]
Mask = NDArray[np.bool_]

# Limits that are a choice of this service (no published constant) unless a source is named.
TEMPERATURE_RANGE_C = (-40.0, 55.0)  # [degC]
TEMPERATURE_SPAN_RANGE_C = (0.0, 35.0)  # [degC] Tmax - Tmin
DEWPOINT_ABOVE_TMAX_MAX_C = 0.5  # [degC] rounding; the mean dewpoint cannot lie above Tmax
RELATIVE_HUMIDITY_RANGE_PCT = (0.0, 105.0)  # [%] FAO-56 Annex 5: above 103-105 recalibrate
VAPOUR_PRESSURE_RANGE_KPA = (0.0, 6.0)  # [kPa] 6 is a dewpoint of 36 degC
WIND_RANGE_M_S = (0.0, 20.0)  # [m/s] daily mean at the sensor
WIND_FLOOR_M_S = 0.5  # [m/s] FAO-56 ch. 3, lower limit of u2 in Eq. 6
WIND_DEFAULT_M_S = 2.0  # [m/s] FAO-56 ch. 3, mean of over 2,000 stations
WIND_HEIGHT_RANGE_M = (0.5, 200.0)  # [m] Eq. 47 is not meant for heights outside this
RADIATION_OVER_CLEAR_SKY_RANGE = (0.03, 1.10)  # [-] Rs / Rso
SUNSHINE_OVER_DAYLIGHT_MAX_H = 0.5  # [h] recorder tolerance beyond the possible hours, then clipped
RAIN_RANGE_MM = (0.0, 500.0)  # [mm]
PROBABILITY_RANGE = (0.0, 1.0)  # [-]
KRS_RANGE_PER_SQRT_C = (0.10, 0.25)  # [degC^-0.5] FAO-56 gives 0.16 inland to 0.19 coastal
TDEW_OFFSET_RANGE_C = (-5.0, 20.0)  # [degC] 5.0 to 9.8 were measured in a desert
LATITUDE_RANGE_DEG = (-90.0, 90.0)  # [deg]
ELEVATION_RANGE_M = (-430.0, 6000.0)  # [m] Dead Sea shore to above the highest farms
JUMP_C = 15.0  # [degC] from one day to the next
STUCK_DAY_COUNT = 4  # [-] the same value on more than three days running
STUCK_CHANCE_RUNS = 0.05  # [-] runs as long that chance would give in the series; fewer: suspect
REPEAT_PAIR_COUNT = 30  # [-] pairs of days from which the share of chance repeats is taken
UNIT_MEDIAN_TMAX_C = 55.0  # [degC] a median above it is degF or K
UNIT_MEDIAN_RS_MJ_M2 = 45.0  # [MJ m-2] a median above it is W/m2; Ra itself stays below 45
UNIT_MEDIAN_WIND_M_S = 20.0  # [m/s] a median above it is km/h
UNIT_DAY_COUNT = 3  # [-] fewer values may be single bad readings, which are only removed
UNIT_MEDIAN_HUMIDITY_PCT = 1.0  # [%] a median at or below it is a fraction


@dataclass(frozen=True, slots=True)
class RawWeather:
    """Daily weather as a source gives it; (days, sites), NaN where it gives nothing.

    ``days`` are civil days, rising, each once. ``ea_kpa`` is a measured daily mean vapour pressure
    and takes precedence over all other evidence of humidity. ``wind_height_m`` is (sites,) or
    (days, sites) and must be known wherever there is wind.
    """

    days: Days
    tmax_c: Floats
    tmin_c: Floats
    tdew_c: Floats
    rhmax_pct: Floats
    rhmin_pct: Floats
    rhmean_pct: Floats
    wind_m_s: Floats
    rs_mj_m2: Floats
    sunshine_h: Floats
    rain_mm: Floats
    rain_probability_fraction: Floats
    ea_kpa: Floats
    wind_height_m: Floats

    @classmethod
    def empty(cls, days: Days, site_count: int) -> Self:
        """Weather with nothing known, to be filled in with ``dataclasses.replace``."""
        nothing = np.full((len(days), site_count), np.nan)
        names = [field.name for field in fields(cls) if field.name != "days"]
        return cls(days=days, **{name: nothing.copy() for name in names})


@dataclass(frozen=True, slots=True)
class WeatherDays:
    """Checked and filled daily weather, (days, sites); NaN only where nothing can replace a value.

    ``flags`` holds, per field name, the :class:`FieldFlag` bits of every value.
    """

    days: Days
    tmax_c: Floats
    tmin_c: Floats
    ea_kpa: Floats
    rhmin_pct: Floats
    u2_m_s: Floats
    rs_mj_m2: Floats
    rain_mm: Floats
    rain_probability_fraction: Floats
    flags: Mapping[str, Flags]


@dataclass(frozen=True, slots=True)
class UnitMistake:
    """A site's series that is plainly in another unit than the one asked for."""

    site_index: int
    fault: Fault


def find_unit_mistakes(raw: RawWeather) -> tuple[UnitMistake, ...]:
    """Series whose typical value is impossible in the required unit, so that units were mixed up.

    Shapes: raw (days, sites).
    Returns: one entry per field and site, by field then site; empty when all units look right.
    A series of fewer than three values is not checked.
    Source: the median over days of each site against limits chosen by this service.
    >>> raw = RawWeather.empty(np.array(["2023-07-01", "2023-07-02", "2023-07-03"], "M8[D]"), 1)
    >>> raw.tmax_c[:] = 90.0
    >>> [mistake.fault.where for mistake in find_unit_mistakes(raw)]
    ['site 0: tmax_c']
    """
    too_high = (
        ("tmax_c", raw.tmax_c, UNIT_MEDIAN_TMAX_C, TEMPERATURE_RANGE_C, "°C", "°F or K"),
        ("tmin_c", raw.tmin_c, UNIT_MEDIAN_TMAX_C, TEMPERATURE_RANGE_C, "°C", "°F or K"),
        ("tdew_c", raw.tdew_c, UNIT_MEDIAN_TMAX_C, TEMPERATURE_RANGE_C, "°C", "°F or K"),
        (
            "rs_mj_m2",
            raw.rs_mj_m2,
            UNIT_MEDIAN_RS_MJ_M2,
            (0.0, UNIT_MEDIAN_RS_MJ_M2),
            "MJ/m² a day",
            "W/m², J/cm² or langley",
        ),
        ("wind_m_s", raw.wind_m_s, UNIT_MEDIAN_WIND_M_S, WIND_RANGE_M_S, "m/s", "km/h or mph"),
        (
            "ea_kpa",
            raw.ea_kpa,
            VAPOUR_PRESSURE_RANGE_KPA[1],
            VAPOUR_PRESSURE_RANGE_KPA,
            "kPa",
            "hPa",
        ),
    )
    mistakes: list[UnitMistake] = []
    for name, values, limit, allowed, unit, instead in too_high:
        median = _median_over_days(values)
        for site in np.flatnonzero(median > limit):
            mistakes.append(
                UnitMistake(
                    site_index=int(site),
                    fault=Fault(
                        where=f"site {site}: {name}",
                        found=f"median {median[site]:.6g}; the values are likely in {instead}",
                        allowed=f"{allowed[0]:g} to {allowed[1]:g} {unit}",
                    ),
                )
            )
    for name, values in (("rhmax_pct", raw.rhmax_pct), ("rhmean_pct", raw.rhmean_pct)):
        median = _median_over_days(values)
        for site in np.flatnonzero((median > 0.0) & (median <= UNIT_MEDIAN_HUMIDITY_PCT)):
            mistakes.append(
                UnitMistake(
                    site_index=int(site),
                    fault=Fault(
                        where=f"site {site}: {name}",
                        found=f"median {median[site]:.6g}; the values are likely fractions",
                        allowed="0 to 100 %",
                    ),
                )
            )
    return tuple(mistakes)


def check_weather(
    raw: RawWeather,
    *,
    latitude_deg: ArrayLike,
    elevation_m: ArrayLike,
    krs_per_sqrt_c: ArrayLike = 0.16,
    tdew_offset_c: ArrayLike = 0.0,
    forecast_from: np.datetime64 | None = None,
) -> WeatherDays:
    """Daily weather that the later steps can rely on, with a flag for everything done to it.

    Shapes: raw and result (days, sites); the others (sites,), one number, or (days, sites).
    krs_per_sqrt_c: FAO-56 Eq. 50 adjustment, 0.16 inland, 0.19 near a coast.
    tdew_offset_c: how far the dewpoint lies below the night minimum where humidity is not
    measured: 0 in humid places, 2 to 3 in dry ones, more in deserts.
    forecast_from: first day that is a forecast; all values from it on are flagged so.
    Returns: fields in their named units. Temperatures stay NaN where missing, and what is
    estimated from them with them; wind, rain and the chance of rain are always filled.
    Raises WeatherInvalid for shapes that do not fit, days out of order, a site off the Earth, wind
    without its height, and series in a wrong unit.
    Equation: humidity FAO-56 Eq. 14, 17, 18, 19, 48 in that order; radiation measured, Eq. 35,
    Eq. 50 up to Eq. 37; wind Eq. 47; lowest humidity Eq. 63.
    >>> raw = RawWeather.empty(np.array(["2023-07-15"], "M8[D]"), 1)
    >>> raw.tmax_c[:], raw.tmin_c[:] = 26.6, 14.8
    >>> weather = check_weather(raw, latitude_deg=45.72, elevation_m=200.0)
    >>> round(float(weather.rs_mj_m2[0, 0]), 1), float(weather.u2_m_s[0, 0])
    (22.3, 2.0)
    """
    shape = _check_shapes(raw)
    latitude = site_values("latitude_deg", latitude_deg, shape[1], LATITUDE_RANGE_DEG)
    elevation = site_values("elevation_m", elevation_m, shape[1], ELEVATION_RANGE_M)
    krs = site_values("krs_per_sqrt_c", krs_per_sqrt_c, shape[1], KRS_RANGE_PER_SQRT_C)
    tdew_offset = site_values("tdew_offset_c", tdew_offset_c, shape[1], TDEW_OFFSET_RANGE_C)
    mistakes = find_unit_mistakes(raw)
    if mistakes:
        raise WeatherInvalid(
            "weather in another unit than the one asked for",
            [mistake.fault for mistake in mistakes],
        )

    follows = np.zeros(shape[0], dtype=np.bool_)
    follows[1:] = np.diff(raw.days) == np.timedelta64(1, "D")
    tmax, tmin, tmax_flags, tmin_flags = _checked_temperatures(raw, follows)
    ea, ea_flags = _vapour_pressure(raw, tmax, tmin, tdew_offset, follows=follows)
    rhmin, rhmin_flags = _lowest_humidity(raw, tmax, ea)
    u2, u2_flags = _wind(raw, follows)
    rs, rs_flags = _radiation(
        raw, tmax, tmin, latitude=latitude, elevation=elevation, krs=krs, follows=follows
    )
    rain, rain_flags = _within(raw.rain_mm, RAIN_RANGE_MM)
    rain_flags |= _bit(np.isnan(rain), FieldFlag.ASSUMED_ZERO)
    probability, probability_flags = _within(raw.rain_probability_fraction, PROBABILITY_RANGE)
    probability_flags |= _bit(np.isnan(probability), FieldFlag.ASSUMED_CERTAIN)

    flags: dict[str, Flags] = {
        "tmax_c": tmax_flags,
        "tmin_c": tmin_flags | (rs_flags & np.int32(FieldFlag.SUSPECT_PART_DAY)),
        "ea_kpa": ea_flags,
        "rhmin_pct": rhmin_flags,
        "u2_m_s": u2_flags,
        "rs_mj_m2": rs_flags,
        "rain_mm": rain_flags,
        "rain_probability_fraction": probability_flags,
    }
    if forecast_from is not None:
        for field_flags in flags.values():
            field_flags[raw.days >= forecast_from] |= np.int32(FieldFlag.FORECAST)
    return WeatherDays(
        days=raw.days,
        tmax_c=tmax,
        tmin_c=tmin,
        ea_kpa=ea,
        rhmin_pct=rhmin,
        u2_m_s=u2,
        rs_mj_m2=rs,
        rain_mm=np.where(np.isnan(rain), 0.0, rain),
        rain_probability_fraction=np.where(np.isnan(probability), 1.0, probability),
        flags=flags,
    )


def site_values(
    name: str, values: ArrayLike, site_count: int, allowed: tuple[float, float]
) -> Floats:
    """One checked number per site, from a list of them or from one number for all.

    Shapes: values (sites,), one number, or (days, sites); result (sites,) or (days, sites).
    name: what the numbers are, for the message; allowed: lowest and highest [the unit of name].
    Returns: the numbers, all finite and within the allowed range; otherwise raises WeatherInvalid.
    >>> [float(value) for value in site_values("elevation_m", 12.0, 2, ELEVATION_RANGE_M)]
    [12.0, 12.0]
    """
    given = np.asarray(values, dtype=np.float64)
    if given.ndim > 2 or given.shape[-1:] not in {(), (site_count,)}:
        raise WeatherInvalid(
            "site facts do not fit the weather",
            [Fault(name, f"shape {given.shape}", f"one number or shape ({site_count},)")],
        )
    whole = np.array(np.broadcast_to(given, (*given.shape[:-1], site_count)))
    worst = np.atleast_2d(np.where((whole >= allowed[0]) & (whole <= allowed[1]), 0.0, 1.0))
    if worst.any():
        raise WeatherInvalid(
            "site facts that cannot be",
            [
                Fault(
                    f"site {site}: {name}",
                    f"{np.atleast_2d(whole)[worst[:, site].argmax(), site]:g}",
                    f"{allowed[0]:g} to {allowed[1]:g}",
                )
                for site in np.flatnonzero(worst.any(axis=0))
            ],
        )
    return whole


def check_days(days: Days) -> None:
    """Refuses days that are not civil days in rising order, each once.

    Shapes: days (days,).
    Returns: nothing; raises WeatherInvalid naming the first day out of order.
    >>> check_days(np.array(["2023-07-01", "2023-07-02"], "M8[D]"))
    """
    if days.ndim != 1 or days.dtype != np.dtype("datetime64[D]"):
        raise WeatherInvalid(
            "days of the wrong kind",
            [Fault("days", f"{days.dtype} {days.shape}", "datetime64[D] (days,)")],
        )
    if np.isnat(days).any():
        raise WeatherInvalid("a day without a date", [Fault("days", "NaT", "a civil date")])
    backward = np.flatnonzero(np.diff(days) <= np.timedelta64(0, "D"))
    if backward.size:
        first = int(backward[0])
        raise WeatherInvalid(
            "days out of order",
            [Fault(f"days[{first + 1}]", f"{days[first + 1]} after {days[first]}", "a later day")],
        )


def _check_shapes(raw: RawWeather) -> tuple[int, int]:
    check_days(raw.days)
    day_count = len(raw.days)
    if raw.tmax_c.ndim != 2:
        raise WeatherInvalid(
            "weather of the wrong shape",
            [Fault("tmax_c", f"shape {raw.tmax_c.shape}", f"({day_count}, sites)")],
        )
    shape = (day_count, raw.tmax_c.shape[1])
    faults = []
    for field in fields(raw):
        values = getattr(raw, field.name)
        allowed = {shape} if field.name != "wind_height_m" else {shape, shape[1:]}
        if field.name != "days" and values.shape not in allowed:
            faults.append(Fault(field.name, f"shape {values.shape}", f"shape {shape}"))
    if faults:
        raise WeatherInvalid("weather of the wrong shape", faults)
    return shape


def _median_over_days(values: Floats) -> Floats:
    median = np.full(values.shape[1], np.nan)
    known = (~np.isnan(values)).sum(axis=0) >= UNIT_DAY_COUNT
    if known.any():
        median[known] = np.nanmedian(values[:, known], axis=0)
    return median


def _bit(mask: Mask, flag: FieldFlag) -> Flags:
    return np.asarray(mask * np.int32(flag), dtype=np.int32)


def _within(values: Floats, allowed: tuple[float, float]) -> tuple[Floats, Flags]:
    """A copy with the values outside the range removed, and their flags."""
    outside = (values < allowed[0]) | (values > allowed[1])
    return np.where(outside, np.nan, values), _bit(outside, FieldFlag.OUT_OF_RANGE)


def _stuck(values: Floats, follows: Mask) -> Flags:
    """Flags every value of a run of the same value on days that follow each other.

    A coarse value repeats by chance: with one decimal, wind does so on every sixth pair of days. A
    run is suspect only if chance, at the rate at which the rest of the series repeats, would hardly
    give one as long.
    """
    same = np.zeros(values.shape, dtype=np.bool_)
    same[1:] = (values[1:] == values[:-1]) & follows[1:, np.newaxis]
    length = _run_lengths(same)
    is_long = length >= STUCK_DAY_COUNT
    if not is_long.any():
        return np.zeros(values.shape, dtype=np.int32)
    known = np.isfinite(values)
    pairs = np.zeros(values.shape, dtype=np.bool_)
    pairs[1:] = known[1:] & known[:-1] & follows[1:, np.newaxis] & ~is_long[1:]
    count = pairs.sum(axis=0)
    repeat_share = np.where(
        count >= REPEAT_PAIR_COUNT, (same & pairs).sum(axis=0) / np.maximum(count, 1), 0.0
    )
    chance_runs = known.sum(axis=0) * repeat_share ** (length - 1)
    return _bit(is_long & (chance_runs < STUCK_CHANCE_RUNS), FieldFlag.SUSPECT_STUCK)


def _run_lengths(same: Mask) -> NDArray[np.int64]:
    """How many days long the run is to which each value belongs; 1 for a value that stands alone.

    ``same`` is True where a value repeats that of the day before.
    """
    row = np.arange(len(same))[:, np.newaxis]
    first = np.maximum.accumulate(np.where(same, 0, row), axis=0)
    after = np.full(same.shape, len(same))
    after[:-1] = np.where(same[1:], len(same), row[1:])
    end = np.minimum.accumulate(after[::-1], axis=0)[::-1]
    return np.asarray(end - first)


def _jump(values: Floats, follows: Mask) -> Flags:
    jumped = np.zeros(values.shape, dtype=np.bool_)
    jumped[1:] = (np.abs(values[1:] - values[:-1]) > JUMP_C) & follows[1:, np.newaxis]
    return _bit(jumped, FieldFlag.SUSPECT_JUMP)


def _checked_temperatures(raw: RawWeather, follows: Mask) -> tuple[Floats, Floats, Flags, Flags]:
    tmax, tmax_flags = _within(raw.tmax_c, TEMPERATURE_RANGE_C)
    tmin, tmin_flags = _within(raw.tmin_c, TEMPERATURE_RANGE_C)
    span = tmax - tmin
    swapped = span < TEMPERATURE_SPAN_RANGE_C[0]
    too_wide = span > TEMPERATURE_SPAN_RANGE_C[1]
    shared = _bit(swapped, FieldFlag.INCONSISTENT) | _bit(too_wide, FieldFlag.OUT_OF_RANGE)
    checked = []
    for values, own in ((tmax, tmax_flags), (tmin, tmin_flags)):
        values[swapped | too_wide] = np.nan
        suspicion = _jump(values, follows) | _stuck(values, follows)
        checked.append(own | shared | suspicion | _bit(np.isnan(values), FieldFlag.MISSING))
    return tmax, tmin, checked[0], checked[1]


def _vapour_pressure(
    raw: RawWeather, tmax: Floats, tmin: Floats, tdew_offset: Floats, *, follows: Mask
) -> tuple[Floats, Flags]:
    measured, flags = _within(raw.ea_kpa, VAPOUR_PRESSURE_RANGE_KPA)
    tdew, tdew_flags = _within(raw.tdew_c, TEMPERATURE_RANGE_C)
    # A mean dewpoint above the night minimum is real: moister air came in during the day.
    above_tmax = tdew > tmax + DEWPOINT_ABOVE_TMAX_MAX_C
    tdew[above_tmax] = np.nan
    tdew_flags |= _bit(above_tmax, FieldFlag.INCONSISTENT)
    rhmax, rhmax_flags, rhmin, rhmin_flags = _extreme_humidities(raw)
    rhmean, rhmean_flags = _humidity_within(raw.rhmean_pct)

    es_tmax = saturation_vapour_pressure_kpa(tmax)
    es_tmin = saturation_vapour_pressure_kpa(tmin)
    es = (es_tmax + es_tmin) / 2.0
    # FAO-56 Eq. 14, 17, 18, 19 and 48; each only where all better evidence is missing.
    evidence: tuple[tuple[Floats, Floats, Flags, FieldFlag], ...] = (
        (measured, raw.ea_kpa, flags, FieldFlag(0)),
        (saturation_vapour_pressure_kpa(tdew), raw.tdew_c, tdew_flags, FieldFlag(0)),
        (
            (es_tmin * rhmax + es_tmax * rhmin) / 200.0,
            raw.rhmin_pct,
            rhmax_flags | rhmin_flags,
            FieldFlag(0),
        ),
        (es_tmin * rhmax / 100.0, raw.rhmax_pct, rhmax_flags, FieldFlag.ESTIMATED_FROM_RHMAX),
        (es * rhmean / 100.0, raw.rhmean_pct, rhmean_flags, FieldFlag.ESTIMATED_FROM_RHMEAN),
        (
            saturation_vapour_pressure_kpa(tmin - tdew_offset),
            tmin,
            np.zeros_like(flags),
            FieldFlag.ESTIMATED_FROM_TMIN,
        ),
    )
    ea = np.full(tmax.shape, np.nan)
    ea_flags = np.zeros(tmax.shape, dtype=np.int32)
    for estimate, source, source_flags, flag in evidence:
        open_still = np.isnan(ea)
        taken = open_still & ~np.isnan(estimate)
        ea = np.where(taken, estimate, ea)
        facts = source_flags | _bit(taken, flag) | (_stuck(source, follows) * taken)
        ea_flags |= np.where(open_still, facts, 0).astype(np.int32)
    above = ea > es
    ea = np.where(above, es, ea)
    ea_flags |= _bit(above, FieldFlag.LIMITED_TO_SATURATION)
    return ea, ea_flags | _bit(np.isnan(ea), FieldFlag.MISSING)


def _humidity_within(values: Floats) -> tuple[Floats, Flags]:
    kept, flags = _within(values, RELATIVE_HUMIDITY_RANGE_PCT)
    flags |= _bit(kept > 100.0, FieldFlag.CLIPPED)
    return np.minimum(kept, 100.0), flags


def _extreme_humidities(raw: RawWeather) -> tuple[Floats, Flags, Floats, Flags]:
    rhmax, rhmax_flags = _humidity_within(raw.rhmax_pct)
    rhmin, rhmin_flags = _humidity_within(raw.rhmin_pct)
    swapped = rhmin > rhmax
    contradiction = _bit(swapped, FieldFlag.INCONSISTENT)
    return (
        np.where(swapped, np.nan, rhmax),
        rhmax_flags | contradiction,
        np.where(swapped, np.nan, rhmin),
        rhmin_flags | contradiction,
    )


def _lowest_humidity(raw: RawWeather, tmax: Floats, ea: Floats) -> tuple[Floats, Flags]:
    _, _, measured, flags = _extreme_humidities(raw)
    # FAO-56 Eq. 63, with the vapour pressure of the day in place of that of the dewpoint.
    estimate = np.minimum(100.0 * ea / saturation_vapour_pressure_kpa(tmax), 100.0)
    rhmin = np.where(np.isnan(measured), estimate, measured)
    estimated = np.isnan(measured) & ~np.isnan(estimate)
    flags = flags | _bit(estimated, FieldFlag.ESTIMATED_FROM_VAPOUR_PRESSURE)
    return rhmin, flags | _bit(np.isnan(rhmin), FieldFlag.MISSING)


def _wind(raw: RawWeather, follows: Mask) -> tuple[Floats, Flags]:
    wind, flags = _within(raw.wind_m_s, WIND_RANGE_M_S)
    height = np.broadcast_to(raw.wind_height_m, wind.shape)
    usable = (height >= WIND_HEIGHT_RANGE_M[0]) & (height <= WIND_HEIGHT_RANGE_M[1])
    wrong = ~np.isnan(wind) & ~usable
    if wrong.any():
        day, site = (int(index) for index in np.argwhere(wrong)[0])
        raise WeatherInvalid(
            "wind without a usable height of its sensor",
            [
                Fault(
                    f"site {site}, {raw.days[day]}: wind_height_m",
                    f"{height[day, site]:g}",
                    f"{WIND_HEIGHT_RANGE_M[0]:g} to {WIND_HEIGHT_RANGE_M[1]:g} m",
                )
            ],
        )
    flags |= _stuck(wind, follows)
    missing = np.isnan(wind)
    at_2m = wind_at_2m_m_s(wind, np.where(usable, height, 2.0))
    calm = at_2m < WIND_FLOOR_M_S
    flags |= _bit(calm, FieldFlag.CLIPPED) | _bit(missing, FieldFlag.DEFAULT_WIND)
    floored = np.maximum(at_2m, WIND_FLOOR_M_S)
    return np.where(missing, WIND_DEFAULT_M_S, floored), flags


def _radiation(
    raw: RawWeather,
    tmax: Floats,
    tmin: Floats,
    *,
    latitude: Floats,
    elevation: Floats,
    krs: Floats,
    follows: Mask,
) -> tuple[Floats, Flags]:
    above_air = extraterrestrial_radiation_mj_m2(raw.days, latitude)
    clear_sky = clear_sky_radiation_mj_m2(raw.days, latitude, elevation)
    lowest = RADIATION_OVER_CLEAR_SKY_RANGE[0] * clear_sky
    highest = RADIATION_OVER_CLEAR_SKY_RANGE[1] * clear_sky
    is_above = raw.rs_mj_m2 > highest
    outside = (raw.rs_mj_m2 < lowest) | is_above
    rs = np.where(outside, np.nan, raw.rs_mj_m2)
    # In the polar night every sensor reads zero day after day.
    flags = _bit(outside, FieldFlag.OUT_OF_RANGE) | _stuck(np.where(rs > 0.0, rs, np.nan), follows)
    flags |= _bit(is_part_day(tmin, is_above, follows), FieldFlag.SUSPECT_PART_DAY)

    daylight = daylight_hours(raw.days, latitude)
    sunshine = raw.sunshine_h
    impossible = (sunshine < 0.0) | (sunshine > daylight + SUNSHINE_OVER_DAYLIGHT_MAX_H)
    sunshine = np.where(impossible, np.nan, sunshine)
    from_sunshine = radiation_from_sunshine_mj_m2(
        np.minimum(sunshine, daylight), daylight, above_air
    )
    open_still = np.isnan(rs)
    taken = open_still & ~np.isnan(from_sunshine)
    flags |= _bit(taken, FieldFlag.ESTIMATED_FROM_SUNSHINE)
    flags |= _bit(taken & (sunshine > daylight), FieldFlag.CLIPPED)
    flags |= _bit(open_still & impossible, FieldFlag.OUT_OF_RANGE)
    rs = np.where(taken, from_sunshine, rs)

    # Such a day was nearly clear: the days around tell more of its sun than its own warming does.
    measured = np.where(outside, np.nan, raw.rs_mj_m2)
    near_ratio = near_clearness(measured, clear_sky, raw.days, is_wanted=np.isnan(rs) & is_above)
    taken = ~np.isnan(near_ratio)
    flags |= _bit(taken, FieldFlag.ESTIMATED_FROM_NEAR_DAYS)
    rs = np.where(taken, near_ratio * clear_sky, rs)

    warming = radiation_from_temperature_range_mj_m2(tmax, tmin, above_air, krs_per_sqrt_c=krs)
    from_range = np.minimum(warming, clear_sky)
    taken = np.isnan(rs) & ~np.isnan(from_range)
    flags |= _bit(taken, FieldFlag.ESTIMATED_FROM_TEMPERATURE_RANGE)
    rs = np.where(taken, from_range, rs)
    return rs, flags | _bit(np.isnan(rs), FieldFlag.MISSING)
