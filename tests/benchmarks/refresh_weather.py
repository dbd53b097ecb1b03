"""What a refresh of a region's weather costs: requests, seconds and memory.

    python -m tests.benchmarks.refresh_weather [--sites 500] [--paced]

The provider is the loopback fake of the tests with invented weather, so the seconds are this
service's own and the fake's, not the network's. Without ``--paced`` the pause that the free host
asks for between requests is left out; requests per site and day count two refreshes a day.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

from service.bootstrap import migrate_database, open_service
from service.records.farms import FarmBundle, SiteDefinition
from service.settings import Settings
from tests.scheduled_farms import FixedClock
from tests.weather_sources.fake_providers import FakeProviders

NOW = datetime(2026, 7, 14, 20, tzinfo=UTC)
REFRESHES_PER_DAY = 2


def main() -> None:
    """Refresh twice, as on a day, and print what it took."""
    parser = argparse.ArgumentParser(description="cost of a weather refresh")
    parser.add_argument("--sites", type=int, default=500)
    parser.add_argument("--paced", action="store_true")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, FakeProviders(now=NOW) as providers:
        settings = Settings(
            database_url=f"sqlite:///{Path(folder) / 'region.db'}",
            weather_services=("open-meteo",),
            weather_contact="operator@example.org",
            open_meteo_base_url=providers.base_url,
            open_meteo_weights_per_minute=600.0 if options.paced else 1e9,
        )
        migrate_database(settings)
        service = open_service(settings, clock=FixedClock(NOW))
        with service.unit_of_work(write=True) as unit:
            unit.blocks.save_bundle(
                FarmBundle(farm=None, sites=tuple(invented_sites(options.sites))),
                effective_day=NOW.date(),
                recorded_at=NOW,
            )
            keys = unit.blocks.read_site_table().keys
        for name in ("first (60 days back)", "the day's first", "the day's second"):
            providers.requests.clear()
            started = time.perf_counter()
            problems = service.refreshers["open-meteo"](keys, now=NOW)
            seconds = time.perf_counter() - started
            peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            count = len(providers.requests)
            print(
                f"{name:22s} {count:4d} requests, {seconds:6.2f} s, peak {peak_mib:.0f} MiB with"
                f" the fake in it, {len(problems)} problems,"
                f" {count * REFRESHES_PER_DAY / options.sites:.3f} requests per site and day"
            )


def invented_sites(count: int) -> list[SiteDefinition]:
    return [
        SiteDefinition(
            site_id=f"site-{number:04d}",
            name=f"Invented site {number}",
            latitude_deg=31.0 + (number % 25) * 0.2,
            longitude_deg=-92.0 + (number // 25) * 0.2,
            elevation_m=100.0,
            zone="America/Chicago",
        )
        for number in range(count)
    ]


if __name__ == "__main__":
    main()
