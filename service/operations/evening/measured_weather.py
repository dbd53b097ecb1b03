"""Measured weather of one site, for what looks back over seasons."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date

import numpy as np

from service.agronomy.atmosphere import wind_at_2m_m_s
from service.agronomy.records import Days, Floats
from service.database.session import UnitOfWork
from service.errors import Fault, WeatherInvalid
from service.operations.evening.gather_weather import gather_for_farms
from service.ports import Clock
from service.records.farms import FarmBundle
from service.records.weather import WEATHER_FIELDS

STANDARD_WIND_HEIGHT_M = 2.0


def at_standard_wind_height(bundle: FarmBundle) -> FarmBundle:
    """A farm whose sites have their wind as :func:`measured_weather` gives it.

    That is at the standard height, whatever height it was measured at.
    """
    sites = [replace(site, wind_height_m=STANDARD_WIND_HEIGHT_M) for site in bundle.sites]
    return replace(bundle, sites=tuple(sites))


def main_site(bundle: FarmBundle) -> str:
    """The site of most of the ground of a farm that has blocks."""
    area_m2: dict[str, float] = {}
    for block in bundle.blocks:
        area_m2[block.site_id] = area_m2.get(block.site_id, 0.0) + block.area_m2
    return max(sorted(area_m2), key=area_m2.__getitem__)


def last_measured_day(unit: UnitOfWork, site_id: str) -> date | None:
    """The newest day of a site that was measured; None without any."""
    spans = _spans(unit, unit.blocks.get_site_key(site_id))
    return max((span[1] for span in spans), default=None)


def _spans(unit: UnitOfWork, site_key: int) -> list[tuple[date, date]]:
    return [
        span
        for kind in ("observed", "analysis")
        if (span := unit.weather.find_span(site_key, kind=kind)) is not None
    ]


def measured_weather(
    unit: UnitOfWork,
    site_id: str,
    *,
    farm_id: str,
    first_day: date,
    last_day: date,
    clock: Clock,
    source_order: Mapping[str, int],
) -> tuple[Days, Mapping[str, Floats]]:
    """The measured weather of one site as a farm knows it, with the rain of its own gauge.

    NaN on days that are only forecast, or not known.
    """
    key = unit.blocks.get_site_key(site_id)
    begins = min((span[0] for span in _spans(unit, key)), default=None)
    if begins is None or begins > last_day:
        raise WeatherInvalid(
            f"no measured weather of site {site_id} is stored",
            [Fault("weather", "nothing", "years of daily weather, by `rillwright weather-import`")],
        )
    gathered = gather_for_farms(
        unit,
        unit.blocks.read_site_table(np.array([key], dtype=np.int64)),
        on=last_day,
        now=clock.now(),
        first_day=max(first_day, begins),
        last_day=last_day,
        source_order=source_order,
    )
    farm_key = unit.blocks.farm_keys([farm_id])[farm_id]
    (column,) = gathered.columns_of(np.array([key]), np.array([farm_key])).tolist()
    raw, is_known = gathered.chosen.raw, gathered.is_observed[:, column]
    fields = {
        name: np.where(is_known, getattr(raw, name)[:, column], np.nan)
        for name in WEATHER_FIELDS
        if name != "rain_probability_fraction"
    }
    height_m = np.broadcast_to(raw.wind_height_m, raw.wind_m_s.shape)[:, column]
    with np.errstate(invalid="ignore"):
        fields["wind_m_s"] = wind_at_2m_m_s(fields["wind_m_s"], np.where(is_known, height_m, 2.0))
    return gathered.days, fields
