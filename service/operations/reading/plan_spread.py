"""How sure a plan is, as documents of it say: bands, chances, and why there are none."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from service.records.plans import PublishedPlan
from service.records.weather_basis import RainSpread, whole_band

NO_MEMBERS = "no-members"
NO_WEATHER = "no-weather"
Band = Mapping[str, float]
"""What one course in ten, half and nine in ten do not pass, by ``p10``, ``p50``, ``p90``."""


def band_columns(rows: Sequence[Sequence[float | None]], day_count: int) -> list[Band | None]:
    """The band of each day out of one row a share; None on days on which it is not known."""
    columns = list(zip(*rows, strict=True)) if len(rows) == 3 else []
    found = [_band(*column) for column in columns[:day_count]]
    return found + [None] * (day_count - len(found))


def rain_band_json(spread: RainSpread | None, day: date) -> Band | None:
    """The band of the rain of a day; None where it is not known."""
    band = None if spread is None else spread.band_mm(day)
    return None if band is None else _band(*band)


def spread_json(plan: PublishedPlan) -> dict[str, object] | None:
    """How sure the day of a plan is; None where that is not known."""
    spread, numbers = plan.weather.rain_spread, plan.reasoning
    if spread_missing(plan) is not None or spread is None:
        return None
    return {
        "member_count": spread.member_count,
        "models": spread.models,
        "rain_band_mm": rain_band_json(spread, plan.day),
        "rain_counts_fraction": spread.chance_that_counts(plan.day),
        "short_tomorrow_fraction": numbers.short_tomorrow_fraction,
        "short_horizon_fraction": numbers.short_horizon_fraction,
    }


def spread_missing(plan: PublishedPlan) -> str | None:
    """Why nothing is known of it; None: it is known."""
    if plan.status == NO_WEATHER:
        return NO_WEATHER
    return NO_MEMBERS if plan.weather.rain_spread is None else None


def _band(*shares: float | None) -> Band | None:
    band = whole_band(*shares)
    return None if band is None else dict(zip(("p10", "p50", "p90"), map(float, band), strict=True))
