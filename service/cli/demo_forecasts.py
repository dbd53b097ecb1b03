"""Forecasts that a weather service might have issued for the demonstration; all of them invented.

They are made from the invented weather with errors that grow with the lead, so that the page that
says how good the forecast is has something to show. No plan rests on them.
"""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from service.agronomy.records import Floats
from service.bootstrap import Service
from service.cli.demo_clock import StandingClock
from service.demo_farm import DEMO_DAY
from service.operations.weather.observe_forecast_days import (
    ISSUES_KEPT_DAYS,
    observe_forecast_days,
)
from service.records.farms import FarmBundle, SiteDefinition
from service.records.forecasts import (
    LEAD_NUMBERS,
    LONGEST_LEAD_DAYS,
    ForecastPlace,
    LeadRows,
    TruthRows,
)

SOURCE = "invented"
DAYS_BACK = 100
"""How many days of forecasts there are; the oldest are scored only where weather is on file."""
EVENING = time(19, 30)


def bring_forecasts(service: Service, bundle: FarmBundle) -> None:
    """Store them, and what was observed of their days; the same again changes nothing."""
    first_day = DEMO_DAY - timedelta(days=DAYS_BACK)
    with service.unit_of_work(write=True) as unit:
        keys = {site.site_id: unit.blocks.get_site_key(site.site_id) for site in bundle.sites}
        unit.forecasts.save_places([_place(site, keys[site.site_id]) for site in bundle.sites])
    for days_ago in range(DAYS_BACK // ISSUES_KEPT_DAYS * ISSUES_KEPT_DAYS, -1, -ISSUES_KEPT_DAYS):
        day = DEMO_DAY - timedelta(days=days_ago)
        zone = ZoneInfo(bundle.sites[0].zone)
        observe_forecast_days(
            unit_of_work=service.unit_of_work,
            clock=StandingClock(datetime.combine(day, EVENING, zone).astimezone(UTC)),
            source_order=service.source_order,
        )
    with service.unit_of_work(write=True) as unit:
        for key in keys.values():
            truth = unit.forecasts.read_truth(
                np.array([key]), first_day=first_day, last_day=DEMO_DAY
            )
            if len(truth):
                unit.forecasts.save_leads(_forecasts(truth))


def _place(site: SiteDefinition, key: int) -> ForecastPlace:
    return ForecastPlace(
        site_key=key,
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        elevation_m=site.elevation_m,
        first_day=DEMO_DAY - timedelta(days=DAYS_BACK + LONGEST_LEAD_DAYS),
        has_moved=False,
    )


def _forecasts(truth: TruthRows) -> LeadRows:
    """What might have been forecast of these days at one site, and of the days ahead as a mean."""
    ahead = truth.days[-1] + np.arange(1, LONGEST_LEAD_DAYS + 2)
    days = np.concatenate([truth.days, ahead])
    random = np.random.default_rng(days[0].astype("datetime64[D]").astype(int) % 1000)
    lead = np.arange(1, LONGEST_LEAD_DAYS + 1)
    shape = (days.size, LONGEST_LEAD_DAYS)
    rain_mm = _and_ahead(truth.rain_mm, ahead.size, 0.0)[:, None]
    is_seen = random.random(shape) < np.where(rain_mm > 0.0, 0.97 - 0.09 * lead, 0.06 + 0.05 * lead)
    amount_mm = np.where(
        rain_mm > 0.0,
        rain_mm * np.exp((0.25 + 0.05 * lead) * random.standard_normal(shape)),
        random.gamma(0.8, 3.0, shape),
    )
    issued_mm = np.where(is_seen, amount_mm, 0.0)
    chance = np.where(issued_mm > 0.0, 0.86 - 0.06 * lead, 0.08 + 0.035 * lead)
    et0_mm = _and_ahead(truth.et0_mm, ahead.size, 5.0)[:, None]
    tmax_c = _and_ahead(truth.tmax_c, ahead.size, 30.0)[:, None]
    numbers = {name: np.full(shape, np.nan) for name in LEAD_NUMBERS}
    numbers["rain_mm"] = issued_mm.round(1)
    numbers["rain_probability_fraction"] = np.clip(
        chance + 0.08 * random.standard_normal(shape), 0.02, 0.98
    ).round(2)
    numbers["et0_mm"] = et0_mm * np.exp(
        0.03 + (0.05 + 0.015 * lead) * random.standard_normal(shape)
    )
    numbers["tmax_c"] = tmax_c + (0.8 + 0.3 * lead) * random.standard_normal(shape)
    issued_on = days[:, None] - lead
    # The demonstration's evening is the last that has issued anything.
    rows, columns = np.nonzero(issued_on <= np.datetime64(DEMO_DAY))
    count = rows.size
    return LeadRows(
        site_keys=np.full(count, truth.site_keys[0]),
        days=days[rows],
        sources=(SOURCE,) * count,
        lead_days=lead[columns],
        member_count=np.zeros(count, dtype=np.int64),
        numbers={name: values[rows, columns] for name, values in numbers.items()},
    )


def _and_ahead(values: Floats, count: int, mean: float) -> Floats:
    return np.concatenate([values, np.full(count, mean)])
