"""Beside the forecasts of the last weeks, what was observed of their days.

Days are read again until their forecasts as issued are deleted, since gauges are read late and
files come later still. What is kept is what plans would use now for a past day, and where it is
from: a model's own analysis must not be taken for a gauge.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from service.agronomy.county_need import STAND_INS
from service.agronomy.records import Ints
from service.agronomy.weather_choice import NO_ROW
from service.agronomy.weather_flags import FieldFlag
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.evening.gather_weather import GatheredWeather, gather_for_farms
from service.operations.evening.own_rain import PLACE
from service.operations.evening.own_rain import SOURCE as GAUGE
from service.operations.reading.read_farms import local_day
from service.ports import Clock
from service.records.forecasts import TruthRows

ISSUES_KEPT_DAYS = 35
"""How long forecasts are kept as they were issued; days and leads are kept for good."""
_DOUBTFUL = (
    FieldFlag.MISSING
    | FieldFlag.OUT_OF_RANGE
    | FieldFlag.INCONSISTENT
    | FieldFlag.ASSUMED_ZERO
    | FieldFlag.SOURCES_DISAGREE
)
"""Flags of a value that no forecast is held against."""


@dataclass(frozen=True, slots=True)
class ForecastsKept:
    """What a look at the archive changed."""

    observed_count: int
    """Days of places whose observation is new or has changed."""
    pruned_count: int
    """Forecasts deleted as issued."""


def observe_forecast_days(
    *, unit_of_work: UnitOfWorkFactory, clock: Clock, source_order: Mapping[str, int]
) -> ForecastsKept:
    """Store what was observed of the last weeks, and delete what was issued before them."""
    now = clock.now()
    with unit_of_work(write=False) as unit:
        keys = np.array(sorted(unit.forecasts.list_places()), dtype=np.int64)
        if not keys.size:
            return ForecastsKept(0, 0)
        sites = unit.blocks.read_site_table(keys)
        today = min(local_day(now, site.zone) for site in sites.definitions)
        gathered = gather_for_farms(
            unit,
            sites,
            on=today,
            now=now,
            first_day=today - timedelta(days=ISSUES_KEPT_DAYS),
            last_day=today,
            source_order=source_order,
        )
        owners = _owners(unit, gathered, today)
    with unit_of_work(write=True) as unit:
        return ForecastsKept(
            observed_count=unit.forecasts.save_truth(_truth(gathered, owners)),
            pruned_count=unit.forecasts.prune_issues(
                before=today - timedelta(days=ISSUES_KEPT_DAYS)
            ),
        )


def _owners(unit: UnitOfWork, gathered: GatheredWeather, today: date) -> Ints:
    """(days, columns) whose observation it is: what one farm read must not become the place's.

    The column of a place that one farm alone uses has the rain of its gauge in it.
    """
    keys = np.unique(gathered.sites.keys)
    sole_farms = unit.rain.find_sole_farms(keys)
    rain = unit.rain.read_days(
        keys, first_day=today - timedelta(days=ISSUES_KEPT_DAYS), last_day=today
    )
    has_gauge = set(zip(rain.site_keys.tolist(), rain.farm_keys.tolist(), strict=True))
    sole = np.array([sole_farms.get(key, PLACE) for key in gathered.sites.keys.tolist()])
    is_theirs = np.array(
        [
            farm_key == PLACE and (key, own) in has_gauge
            for key, own, farm_key in zip(
                gathered.sites.keys.tolist(),
                sole.tolist(),
                gathered.farm_keys.tolist(),
                strict=True,
            )
        ]
    )
    is_read = _origins(gathered, "rain_mm") == f"observed {GAUGE}"
    return np.where(is_read & is_theirs, sole, gathered.farm_keys)


def _truth(gathered: GatheredWeather, owners: Ints) -> TruthRows:
    """Every past day of which rain or reference ET was measured."""
    weather, is_past = gathered.weather, gathered.days < np.datetime64(gathered.on)
    rain_origins = _origins(gathered, "rain_mm")
    et0_origins = _origins(gathered, "tmax_c")
    checked = weather.checked
    has_rain = _is_sound(checked.flags["rain_mm"], _DOUBTFUL) & (rain_origins != "")
    has_et0 = _is_sound(weather.et0_flags, STAND_INS | FieldFlag.MISSING) & gathered.is_observed
    has_et0 &= np.isfinite(weather.computed_et0_mm)
    has_tmax = _is_sound(checked.flags["tmax_c"], _DOUBTFUL) & gathered.is_observed
    rows, columns = np.nonzero((has_rain | has_et0) & is_past[:, None])
    at = (rows, columns)
    return TruthRows(
        site_keys=gathered.sites.keys[columns],
        days=gathered.days[rows],
        farm_keys=owners[at],
        rain_mm=np.where(has_rain, checked.rain_mm, np.nan)[at],
        et0_mm=np.where(has_et0, weather.computed_et0_mm, np.nan)[at],
        tmax_c=np.where(has_tmax, checked.tmax_c, np.nan)[at],
        rain_origins=tuple(np.where(has_rain, rain_origins, "")[at].tolist()),
        et0_origins=tuple(np.where(has_et0, et0_origins, "")[at].tolist()),
    )


def _is_sound(flags: NDArray[np.int32], bad: FieldFlag) -> NDArray[np.bool_]:
    return np.asarray((flags & np.int32(bad)) == 0)


def _origins(gathered: GatheredWeather, name: str) -> NDArray[np.str_]:
    """(days, columns) kind and source of a field that was not forecast; empty for one that was."""
    labels = [
        "" if kind == "forecast" else f"{kind} {source}"
        for kind, source in zip(gathered.rows.kinds, gathered.rows.sources, strict=True)
    ]
    row_of = gathered.chosen.row_of[name]
    found: NDArray[np.str_] = np.array([*labels, ""])[np.where(row_of == NO_ROW, -1, row_of)]
    return found
