"""What weather services forecast, as they issued it, and what came of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from service.agronomy.records import Days, Floats, Ints

LONGEST_LEAD_DAYS = 7
"""Forecasts are kept and scored up to so many days ahead."""

MEMBER_QUANTILES = (5, 15, 25, 35, 45, 55, 65, 75, 85, 95)
"""Percentages of the members of an ensemble at the middles of ten equal slices: quantiles that
stand for the members, each with the same weight, and bound the half and nine tenths of them."""
ET0_QUANTILES = (5, 25, 75, 95)
"""Those kept of reference ET beside the 10, 50 and 90 %: it has no zeros and no long tail, so that
those between them follow."""
LEAD_NUMBERS: tuple[str, ...] = (
    "rain_mm",
    "rain_probability_fraction",
    "et0_mm",
    "tmax_c",
    "rain_p10_mm",
    "rain_p50_mm",
    "rain_p90_mm",
    "et0_p10_mm",
    "et0_p50_mm",
    "et0_p90_mm",
    *(f"rain_p{share:02d}_mm" for share in MEMBER_QUANTILES),
    *(f"et0_p{share:02d}_mm" for share in ET0_QUANTILES),
)
"""What is kept for good of the forecast of a day; the quantiles where a source gives a spread.

They are stored by their place in this list: names are only ever added at its end."""


@dataclass(frozen=True, slots=True)
class ForecastIssue:
    """A forecast for a site as a source issued it: the last that came by the evening of a day."""

    site_key: int
    source: str
    issued_on: date
    """The site's civil day on which it came; leads are counted from it."""
    issued_at: datetime
    """When the source issued it, by its own word."""
    fetched_at: datetime
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    days: tuple[date, ...]
    fields: Mapping[str, tuple[float | None, ...]]
    """By name of ``WEATHER_FIELDS``, one value a day, exactly as issued."""


@dataclass(frozen=True, slots=True)
class LeadRows:
    """Forecasts of single days: one row per (site, day, source, lead)."""

    site_keys: Ints
    days: Days
    sources: tuple[str, ...]
    lead_days: Ints
    """From the evening on which it was in force to the day: 1 for the next day."""
    member_count: Ints
    """Of the ensemble; 0: the source gave no spread."""
    numbers: Mapping[str, Floats]
    """One array per name of ``LEAD_NUMBERS``; NaN where not issued."""

    def __len__(self) -> int:
        return len(self.sources)

    def issued_on(self) -> Days:
        """The civil day on whose evening each was in force."""
        issued_on: Days = self.days - self.lead_days.astype("timedelta64[D]")
        return issued_on


@dataclass(frozen=True, slots=True)
class TruthRows:
    """What was observed of single days: one row per (site, day, farm)."""

    site_keys: Ints
    days: Days
    farm_keys: Ints
    """The farm whose own gauge it is; 0: of the place itself."""
    rain_mm: Floats
    et0_mm: Floats
    tmax_c: Floats
    rain_origins: tuple[str, ...]
    """Where the rain is from: kind and source, such as ``observed gauge`` or
    ``analysis open-meteo``; empty where there is none."""
    et0_origins: tuple[str, ...]
    """The same of the day's temperatures."""

    def __len__(self) -> int:
        return len(self.rain_origins)


@dataclass(frozen=True, slots=True)
class ForecastPlace:
    """Where a site was when its archive of forecasts began."""

    site_key: int
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    first_day: date
    """The first civil day of issues that are scored."""
    has_moved: bool
    """Whether the archive began again on that day because the site had moved."""
