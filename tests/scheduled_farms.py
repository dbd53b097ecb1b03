"""Invented one-site farms and an invented weather service, for tests of the scheduler."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
from sqlalchemy import Engine, text

from service.agronomy.records import Days, Ints
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.records.farms import FarmBundle
from service.records.weather import WEATHER_FIELDS, SourceProblem, WeatherRows
from tests.benchmarks.invented_region import invented_farms

SOURCE = "made-up"
OBSERVED_BACK_DAYS, FORECAST_AHEAD_DAYS = 12, 3


class FixedClock:
    """Shows the time that it is set to."""

    def __init__(self, now: datetime) -> None:
        self.time = now

    def now(self) -> datetime:
        """The time set last."""
        return self.time


class MadeUpService:
    """Gives each site and day its weather, always the same: measured, from today on forecast."""

    def __init__(self, open_unit: UnitOfWorkFactory, *, more_rain_mm: float = 0.0) -> None:
        self._open_unit = open_unit
        self.more_rain_mm = more_rain_mm
        self._back_days = OBSERVED_BACK_DAYS

    def __call__(self, site_keys: Ints, *, now: datetime) -> Sequence[SourceProblem]:
        """Store the weather of these sites as known on the UTC date; at first of more days."""
        today, back_days = now.date(), self._back_days
        self._back_days = 4
        with self._open_unit(write=True) as unit:
            for kind, first, count in (
                ("observed", today - timedelta(days=back_days), back_days),
                ("forecast", today, FORECAST_AHEAD_DAYS),
            ):
                rows = _weather(site_keys, first, count, kind)
                rows.fields["rain_mm"][:] += self.more_rain_mm
                unit.weather.save_rows(rows, fetched_at=now)
        return ()


def _weather(site_keys: Ints, first: date, day_count: int, kind: str) -> WeatherRows:
    days: Days = np.datetime64(first, "D") + np.arange(day_count)
    key: Ints = np.repeat(site_keys, day_count)
    day: Days = np.tile(days, site_keys.size)
    wave = np.sin(key * 7.0 + day.astype(np.int64) * 1.3)
    values = {
        "tmin_c": 19.0 + 2.0 * wave,
        "tmax_c": 30.0 + 3.0 * wave,
        "tdew_c": 17.5 + 2.0 * wave,
        "wind_m_s": 2.0 + 0.5 * wave,
        "rs_mj_m2": 22.0 + 3.0 * wave,
        "rain_mm": np.where(wave < -0.9, 9.0, 0.0),
    }
    missing = np.full(key.size, np.nan)
    issued_at = datetime.combine(first, datetime.min.time(), tzinfo=UTC)
    return WeatherRows(
        site_keys=key,
        days=day,
        sources=(SOURCE,) * key.size,
        kinds=(kind,) * key.size,
        issued_at=(issued_at,) * key.size,
        wind_height_m=np.full(key.size, 2.0),
        fields={name: values.get(name, missing) for name in WEATHER_FIELDS},
    )


def store_farms(
    open_unit: UnitOfWorkFactory, *, farm_count: int, zones: Sequence[str], today: date
) -> None:
    """Farms ``farm-00000`` on, one block and one site each; their weather is not asked for yet."""
    with open_unit(write=True) as unit:
        bundles = invented_farms(
            farm_count,
            farm_count,
            blocks_per_farm=1,
            balance_start=today - timedelta(days=OBSERVED_BACK_DAYS - 2),
        )
        for number, bundle in enumerate(bundles):
            _store_farm(unit, bundle, zones[number % len(zones)], today)


def _store_farm(unit: UnitOfWork, bundle: FarmBundle, zone: str, today: date) -> None:
    if bundle.farm is None:
        raise AssertionError("an invented bundle holds a farm")
    unit.blocks.save_bundle(
        replace(
            bundle,
            farm=replace(bundle.farm, zone=zone),
            sites=tuple(replace(site, zone=zone) for site in bundle.sites),
            # Made for many blocks that take turns: a single one would want more than its well has.
            supplies=tuple(
                replace(supply, flow_l_per_h=10.0 * supply.flow_l_per_h)
                for supply in bundle.supplies
            ),
        ),
        effective_day=today - timedelta(days=OBSERVED_BACK_DAYS),
        recorded_at=datetime(2026, 7, 1, tzinfo=UTC),
    )


def plan_versions(engine: Engine) -> list[tuple[str, date, int]]:
    """Every plan version that was ever stored: block, day and number of the version."""
    with engine.connect() as connection:
        rows = connection.execute(
            text(
                "SELECT block_id, day, version FROM plan JOIN block USING (block_key)"
                " ORDER BY block_id, day, version"
            )
        ).all()
    return [
        (block_id, day if isinstance(day, date) else date.fromisoformat(day), version)
        for block_id, day, version in rows
    ]
