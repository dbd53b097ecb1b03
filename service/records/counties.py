"""Counties side by side, as pages and mails show them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from service.agronomy.county_need import Basis
from service.geography.outlines import PlacedOutline
from service.records.weather_basis import Band


@dataclass(frozen=True, slots=True, kw_only=True)
class CountyWeek:
    """The week of one county, for the reference block; NaN: not known."""

    county_code: str
    name: str
    site_id: str
    """The place whose weather stands for the county."""
    rank: int
    """1 for the largest need; 0: not known."""
    reference_et_mm: float
    percent_of_normal: float
    crop_et_mm: float
    rain_mm: float
    net_need_mm: float
    gross_need_mm: float
    running_h: float
    normal_need_mm: float
    """Net need at the normal reference ET of the week, without rain."""
    net_need_band_mm: Band | None
    """Needs that one in ten, half and nine in ten of the courses of the coming weather do not pass;
    None: none covers all coming days, or there are none."""
    measured_days_count: int
    forecast_days_count: int
    stand_in_days_count: int
    """Days with the season's normal, the days around, or a place nearby."""
    unmeasured_days_count: int
    """All days that are not measured, also those of which nothing is known."""
    basis: Basis
    """The weakest that the figures rest on."""
    observed_until: date | None
    """Last day on which what reference ET needs was measured."""
    rain_until: date | None
    """Last day with measured rain."""


@dataclass(frozen=True, slots=True)
class CountyBoundaries:
    """The outlines of one import."""

    outlines: Mapping[str, PlacedOutline]
    """By county code; a county without one is on no map."""
    source: str
    """Who published them; empty: nobody has to be named."""
    recorded_at: datetime
