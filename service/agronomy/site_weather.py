"""From checked weather to the inputs of the blocks' steps: reference ET, climate term, sun, rain.

In go the chosen weather of all sites of a run; out come :class:`SiteDays` for the blocks and the
numbers and flags that the reasoning shows. All sites and days are computed together, since one
call of the reference ET costs nearly the same for one site as for hundreds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.agronomy.block_days import SiteDays
from service.agronomy.civil_day import midnight_utc_min
from service.agronomy.climatology import MONTHS_PER_YEAR, normals_on
from service.agronomy.crop_water_use import climate_term, counted_climate, trailing_climate_term
from service.agronomy.dewpoint import DewpointOffsets, dewpoint_offsets, months_of
from service.agronomy.records import Days, Floats, Ints, SiteBatch
from service.agronomy.reference_et import fill_reference_et, reference_et_mm
from service.agronomy.reference_et_gaps import bridge_reference_et
from service.agronomy.sun import sunrise_sunset_min
from service.agronomy.weather_day import RawWeather, WeatherDays, check_weather, find_unit_mistakes
from service.agronomy.weather_flags import FieldFlag

PAST_GAP_DAYS = 3  # [CHOICE] d, longest gap of past reference ET that recent days may fill
FUTURE_GAP_DAYS = 9  # [CHOICE] d, how far recent days may replace a missing forecast
MEASURED_PROBABILITY = 1.0


class Climate(NamedTuple):
    """What the crop coefficients are adjusted to, arrays (days, sites)."""

    term: Floats
    u2_m_s: Floats
    """Mean wind, within the limits that count; NaN where too few days are known for any term."""
    rhmin_pct: Floats


@dataclass(frozen=True, slots=True)
class SiteWeather:
    """Weather of all sites of a run, arrays (days, sites)."""

    checked: WeatherDays
    tdew_offset_c: Floats
    """How far below the night minimum the dewpoint is taken on days without humidity."""
    tdew_offset_days_count: Ints
    """Days that it was learned from; 0: given for the site, or 0 for want of them."""
    computed_et0_mm: Floats
    """Reference ET that follows from the weather of each day; NaN where that is not known."""
    et0_flags: NDArray[np.int32]
    climate: Climate
    unit_faults: Mapping[int, str]
    """Sites whose weather looks as if it were in another unit; their values were not used."""
    days: SiteDays

    @property
    def climate_is_default(self) -> NDArray[np.bool_]:
        """(days, sites) no climate adjustment: too few days of wind and humidity are known."""
        return np.isnan(self.climate.u2_m_s)


def site_weather(
    raw: RawWeather,
    sites: SiteBatch,
    *,
    krs_per_sqrt_c: Floats,
    is_measured_rain: NDArray[np.bool_],
    normal_u2_m_s: Floats,
    normal_rhmin_pct: Floats,
    normal_et0_mm: Floats,
    first_future_row: int,
    own_tdew_offset_c: Floats | None = None,
    past: PastHumidity | None = None,
) -> SiteWeather:
    """Check, fill and compute everything that depends on the site alone.

    Shapes: raw (days, sites); is_measured_rain (days, sites); normals (12, sites), NaN where not
    known; krs (sites,).
    first_future_row: row of the first day that has not happened yet.
    own_tdew_offset_c: (12, sites) given offsets of the dewpoint, NaN where none; past: earlier
    days with humidity, to learn them from.
    Returns: SiteWeather. Reference ET that cannot be computed is, flagged each time: of a short
    past gap the mean of the days before; else the normal of the season; without normals, of up to
    ten past days the mean of the days around, of days to come that of the last days; else NaN.
    Source: FAO-56 chapters 3 and 6; the gap lengths are [CHOICE].
    """
    raw, unit_faults = _without_unit_mistakes(raw)
    certainty = np.where(is_measured_rain, MEASURED_PROBABILITY, raw.rain_probability_fraction)
    certain = replace(raw, rain_probability_fraction=certainty)
    future = raw.days[first_future_row] if first_future_row < raw.days.size else None
    checked, offsets = _checked(
        certain, sites, krs_per_sqrt_c, forecast_from=future, own_c=own_tdew_offset_c, past=past
    )
    computed_mm = _computed_reference_et(checked, sites)
    et0_mm, et0_flags = _filled_reference_et(
        computed_mm, normals_on(normal_et0_mm, raw.days), first_future_row=first_future_row
    )
    climate = _climate(checked, raw, normal_u2_m_s, normal_rhmin_pct)
    sunrise_min, sunset_min = sunrise_sunset_min(
        raw.days,
        sites.latitude_deg,
        sites.longitude_deg,
        midnight_utc_min=midnight_utc_min(raw.days, sites.zones),
    )
    return SiteWeather(
        checked=checked,
        tdew_offset_c=normals_on(offsets.tdew_offset_c, raw.days),
        tdew_offset_days_count=offsets.tdew_offset_days_count[months_of(raw.days)],
        computed_et0_mm=computed_mm,
        et0_flags=et0_flags,
        climate=climate,
        unit_faults=unit_faults,
        days=SiteDays(
            days=raw.days,
            et0_mm=et0_mm,
            rain_mm=checked.rain_mm,
            rain_probability_fraction=checked.rain_probability_fraction,
            tmax_c=_carried_forward(checked.tmax_c),
            tmin_c=_carried_forward(checked.tmin_c),
            climate_term=climate.term,
            sunrise_min=sunrise_min,
            sunset_min=sunset_min,
        ),
    )


def with_borrowed_reference_et(
    weather: SiteWeather,
    borrowed_mm: Floats,
    *,
    normal_et0_mm: Floats,
    first_future_row: int,
) -> SiteWeather:
    """The same weather with gaps of reference ET closed by what places nearby had.

    Shapes: borrowed_mm (days, sites), NaN where nothing was borrowed; normal_et0_mm (12, sites).
    Returns: SiteWeather; what was borrowed goes before the other replacements, and is flagged.
    """
    et0_mm, et0_flags = _filled_reference_et(
        weather.computed_et0_mm,
        normals_on(normal_et0_mm, weather.days.days),
        first_future_row=first_future_row,
        borrowed_mm=borrowed_mm,
    )
    return replace(weather, et0_flags=et0_flags, days=replace(weather.days, et0_mm=et0_mm))


def with_stand_in_reference_et(
    weather: SiteWeather, stand_in_et0_mm: Floats, stand_in_flags: NDArray[np.int32]
) -> SiteWeather:
    """The same weather with reference ET for days that had none.

    Shapes: stand_in_et0_mm, NaN where nothing stands in, and stand_in_flags (days, sites).
    Returns: SiteWeather; the flags say what the figures rest on.
    """
    is_taken = np.isfinite(stand_in_et0_mm)
    # What was out of range stays said; that nothing replaces it no longer holds.
    flags = (weather.et0_flags & ~np.int32(FieldFlag.MISSING)) | stand_in_flags
    return replace(
        weather,
        et0_flags=np.where(is_taken, flags, weather.et0_flags),
        days=replace(weather.days, et0_mm=np.where(is_taken, stand_in_et0_mm, weather.days.et0_mm)),
    )


@dataclass(frozen=True, slots=True)
class PastHumidity:
    """Days before those of a run, arrays (days, sites)."""

    days: Days
    tmin_c: Floats
    measured_ea_kpa: Floats
    """NaN on days without humidity."""


def past_humidity(raw: RawWeather, sites: SiteBatch) -> PastHumidity:
    """The humidity of days before a run, from which the offsets of the dewpoint are learned.

    Shapes: raw (days, sites).
    Returns: PastHumidity; a site in a wrong unit has none.
    """
    sound, _ = _without_unit_mistakes(raw)
    checked = check_weather(sound, latitude_deg=sites.latitude_deg, elevation_m=sites.elevation_m)
    return PastHumidity(raw.days, checked.tmin_c, measured_humidity(checked))


def measured_humidity(checked: WeatherDays) -> Floats:
    """Vapour pressure of the days whose humidity is known, not taken from the night minimum.

    Shapes: checked and result (days, sites).
    Returns: vapour pressure [kPa]; NaN on the other days.
    """
    is_known = (checked.flags["ea_kpa"] & np.int32(FieldFlag.ESTIMATED_FROM_TMIN)) == 0
    return np.where(is_known, checked.ea_kpa, np.nan)


def _checked(
    raw: RawWeather,
    sites: SiteBatch,
    krs_per_sqrt_c: Floats,
    *,
    forecast_from: np.datetime64 | None,
    own_c: Floats | None,
    past: PastHumidity | None,
) -> tuple[WeatherDays, DewpointOffsets]:
    """The weather checked, and the offsets of the dewpoint that stand in for humidity.

    What the days show is known only once they are checked; where a day needs it, they are checked
    again with it.
    """
    check = partial(
        check_weather,
        raw,
        latitude_deg=sites.latitude_deg,
        elevation_m=sites.elevation_m,
        krs_per_sqrt_c=krs_per_sqrt_c,
        forecast_from=forecast_from,
    )
    checked = check()
    shape = (MONTHS_PER_YEAR, raw.tmin_c.shape[1])
    days, tmin_c, measured_ea_kpa = raw.days, checked.tmin_c, measured_humidity(checked)
    if past is not None:
        days = np.concatenate([past.days, days])
        tmin_c = np.concatenate([past.tmin_c, tmin_c])
        measured_ea_kpa = np.concatenate([past.measured_ea_kpa, measured_ea_kpa])
    offsets = dewpoint_offsets(
        days,
        tmin_c,
        measured_ea_kpa,
        own_c=np.full(shape, np.nan) if own_c is None else own_c,
    )
    is_estimated = (checked.flags["ea_kpa"] & np.int32(FieldFlag.ESTIMATED_FROM_TMIN)) != 0
    if is_estimated.any() and offsets.tdew_offset_c.any():
        checked = check(tdew_offset_c=normals_on(offsets.tdew_offset_c, raw.days))
    return checked, offsets


def _without_unit_mistakes(raw: RawWeather) -> tuple[RawWeather, dict[int, str]]:
    """One site in a wrong unit must not stop the others: its weather counts as not given."""
    faults = {mistake.site_index: str(mistake.fault) for mistake in find_unit_mistakes(raw)}
    if not faults:
        return raw, faults
    columns = list(faults)
    cleared = {}
    for field in fields(raw):
        values = getattr(raw, field.name)
        if field.name not in {"days", "wind_height_m"}:
            values = values.copy()
            values[:, columns] = np.nan
        cleared[field.name] = values
    return RawWeather(**cleared), faults


def _computed_reference_et(checked: WeatherDays, sites: SiteBatch) -> Floats:
    return reference_et_mm(checked, latitude_deg=sites.latitude_deg, elevation_m=sites.elevation_m)


def _filled_reference_et(
    computed_mm: Floats,
    normal_mm: Floats,
    *,
    first_future_row: int,
    borrowed_mm: Floats | None = None,
) -> tuple[Floats, NDArray[np.int32]]:
    is_borrowed = np.zeros(computed_mm.shape, dtype=np.bool_)
    if borrowed_mm is not None:
        is_borrowed = np.isfinite(borrowed_mm)
        computed_mm = np.where(is_borrowed, borrowed_mm, computed_mm)
    past_mm, past_flags = fill_reference_et(
        computed_mm[:first_future_row], max_gap_days=PAST_GAP_DAYS
    )
    et0_mm = np.concatenate([past_mm, computed_mm[first_future_row:]])
    flags = np.concatenate(
        [past_flags, np.zeros(computed_mm[first_future_row:].shape, dtype=np.int32)]
    )
    flags[is_borrowed] |= np.int32(FieldFlag.FILLED_FROM_NEIGHBOUR)
    # Normals bridge a gap; they do not make a plan for a site without any weather.
    knows_weather = np.isfinite(computed_mm).any(axis=0)
    from_normals = np.isnan(et0_mm) & np.isfinite(normal_mm) & knows_weather
    et0_mm = np.where(from_normals, normal_mm, et0_mm)
    flags = np.where(from_normals, np.int32(FieldFlag.NORMAL_OF_SEASON), flags)
    bridged_mm, is_bridged = bridge_reference_et(et0_mm[:first_future_row])
    et0_mm[:first_future_row] = bridged_mm
    # What was out of range stays said; that nothing replaces it no longer holds.
    bridged_flags = flags[:first_future_row] & ~np.int32(FieldFlag.MISSING)
    flags[:first_future_row] = np.where(
        is_bridged,
        bridged_flags | np.int32(FieldFlag.FILLED_FROM_DAYS_AROUND),
        flags[:first_future_row],
    )
    all_mm, all_flags = fill_reference_et(et0_mm, max_gap_days=FUTURE_GAP_DAYS)
    is_future = np.arange(et0_mm.shape[0])[:, None] >= first_future_row
    et0_mm = np.where(is_future, all_mm, et0_mm)
    return et0_mm, np.where(is_future, flags | all_flags, flags)


def _climate(
    checked: WeatherDays, raw: RawWeather, normal_u2_m_s: Floats, normal_rhmin_pct: Floats
) -> Climate:
    """Climate term of every day: from the site's normals where known, else the last 30 days."""
    measured_u2 = np.where(
        checked.flags["u2_m_s"] & int(FieldFlag.DEFAULT_WIND), np.nan, checked.u2_m_s
    )
    trailing = trailing_climate_term(measured_u2, checked.rhmin_pct)
    normal_wind = normals_on(normal_u2_m_s, raw.days)
    normal_humidity = normals_on(normal_rhmin_pct, raw.days)
    normal = climate_term(normal_wind, normal_humidity)
    has_normal = np.isfinite(normal)
    term, wind, humidity = (
        np.where(has_normal, of_year, of_days)
        for of_year, of_days in zip((normal, normal_wind, normal_humidity), trailing, strict=True)
    )
    return Climate(term, *counted_climate(wind, humidity))


def _carried_forward(values: Floats) -> Floats:
    """Last known value in place of a missing one; only degree-day sums use it."""
    rows = np.where(np.isfinite(values), np.arange(values.shape[0])[:, None], 0)
    np.maximum.accumulate(rows, axis=0, out=rows)
    carried: Floats = np.take_along_axis(values, rows, axis=0)
    return carried
