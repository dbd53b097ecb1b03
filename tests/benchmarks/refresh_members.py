"""What an evening's ensembles of a region cost: requests, seconds and bytes.

    python -m tests.benchmarks.refresh_members [--sites 400]

The provider is the loopback fake of the tests with invented weather, one request in flight; its own
time to write its answers is part of the seconds. The pause for the quota is left out.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from service.bootstrap import migrate_database, open_service
from service.operations.evening.gather_members import gather_members
from service.operations.evening.gather_weather import gather_weather
from service.records.farms import FarmBundle
from service.records.forecast_members import ENSEMBLE_SOURCE
from service.settings import Settings
from tests.benchmarks.refresh_weather import invented_sites
from tests.scheduled_farms import FixedClock
from tests.weather_sources.fake_providers import FakeProviders

NOW = datetime(2026, 7, 14, 20, tzinfo=UTC)


def main() -> None:
    """Refresh once, gather once, and print what it took."""
    parser = argparse.ArgumentParser(description="cost of an evening's ensembles")
    parser.add_argument("--sites", type=int, default=400)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, FakeProviders(now=NOW) as providers:
        settings = Settings(
            database_url=f"sqlite:///{Path(folder) / 'region.db'}",
            weather_services=("open-meteo-ensemble",),
            weather_contact="operator@example.org",
            open_meteo_ensemble_base_url=providers.base_url,
            open_meteo_weights_per_minute=1e9,
            ensemble_hourly_weight=1e9,
            ensemble_daily_weight=1e9,
        )
        migrate_database(settings)
        service = open_service(settings, clock=FixedClock(NOW))
        with service.unit_of_work(write=True) as unit:
            unit.blocks.save_bundle(
                FarmBundle(farm=None, sites=tuple(invented_sites(options.sites))),
                effective_day=NOW.date(),
                recorded_at=NOW,
            )
            sites = unit.blocks.read_site_table()
        started = time.perf_counter()
        problems = service.refreshers[ENSEMBLE_SOURCE](sites.keys, now=NOW)
        fetched_s = time.perf_counter() - started
        with service.unit_of_work(write=False) as unit:
            weather = gather_weather(
                unit,
                sites,
                on=NOW.date(),
                now=NOW,
                first_day=NOW.date() - timedelta(days=3),
                last_day=NOW.date() + timedelta(days=7),
                source_order={},
            )
            started = time.perf_counter()
            members = gather_members(unit, weather, now=NOW)
            gathered_s = time.perf_counter() - started
            size = unit.members.stored_bytes(sites.keys) / options.sites
        print(
            f"{len(providers.requests)} requests, {len(problems)} problems; fetched, cut and stored"
            f" in {fetched_s:.1f} s, {size:.0f} bytes a site and evening; gathered in"
            f" {gathered_s:.2f} s: {int(members.batch.count().sum())} members"
        )


if __name__ == "__main__":
    main()
