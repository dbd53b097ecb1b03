"""What the adviser's question costs: next week's need of ten crops in two hundred counties.

    python -m tests.benchmarks.county_need
    python -m tests.benchmarks.county_need --counties 50 --rounds 5

Counties and weather are invented. The application is asked in this process, over ASGI, as
``GET /v1/counties/water-need?week=next&crop=...`` with no other argument, by an adviser's key.
Cold: nothing is kept and the weather is read, with the libraries loaded by questions before. From
memory: the same ten questions again. Given is the time of all ten together, as the median of the
rounds and their range, and that of the first ten of the process, which load the libraries too.
"""

from __future__ import annotations

import argparse
import asyncio
import statistics
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import httpx
import numpy as np
from fastapi import FastAPI

from service.api.app import create_app
from service.api.county_desk import CountyDesk
from service.bootstrap import Service, migrate_database, open_service
from service.operations.access.manage_keys import Right, make_key
from service.records.farms import CountyDefinition, FarmBundle
from service.settings import Settings
from tests.api.invented_farm import FixedClock
from tests.benchmarks.invented_region import invented_farms, invented_weather

CROPS = (
    "blueberry", "strawberry", "blackberry", "grape-wine", "grape-table", "apple-cover-frost",
    "peach-bare-frost", "pecan-cover-frost", "kiwi", "citrus-70-bare",
)  # fmt: skip
WEATHER_DAYS_BACK = 60
FORECAST_DAYS = 8


def region(path: Path, county_count: int) -> Service:
    """Counties with a site each, two months of weather and a forecast of a week."""
    settings = Settings(database_url=f"sqlite:///{path}")
    migrate_database(settings)
    service = replace(open_service(settings), clock=FixedClock())
    now = service.clock.now()
    farms = invented_farms(
        county_count, county_count, blocks_per_farm=1, balance_start=date(2026, 7, 1)
    )
    sites = tuple(bundle.sites[0] for bundle in farms)
    counties = tuple(
        CountyDefinition(county_code=f"{number:05}", name=site.name, site_id=site.site_id)
        for number, site in enumerate(sites)
    )
    with service.unit_of_work(write=True) as unit:
        unit.blocks.save_bundle(
            FarmBundle(farm=None, sites=sites, counties=counties),
            effective_day=now.date(),
            recorded_at=now,
        )
        keys = unit.blocks.read_site_table().keys
        today = np.datetime64(now.date())
        days = np.arange(today - WEATHER_DAYS_BACK, today + FORECAST_DAYS)
        for kind, span in (("observed", days[days <= today]), ("forecast", days)):
            rows = invented_weather(keys, span, kind=kind)
            issued = (now - timedelta(hours=1),) * len(rows)
            unit.weather.save_rows(replace(rows, issued_at=issued), fetched_at=now)
    return service


def asker(app: FastAPI, key: str) -> Callable[[], None]:
    """Asks for every crop, one after the other."""

    async def ask() -> None:
        transport = httpx.ASGITransport(app=app)
        headers = {"Authorization": f"Bearer {key}"}
        async with httpx.AsyncClient(
            transport=transport, base_url="http://127.0.0.1", headers=headers
        ) as client:
            for crop in CROPS:
                answer = await client.get(f"/v1/counties/water-need?week=next&crop={crop}")
                answer.raise_for_status()

    return lambda: asyncio.run(ask())


def seconds(work: Callable[[], None]) -> float:
    """How long a piece of work takes."""
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def _line(name: str, found: list[float]) -> str:
    middle, least, most = (
        1000.0 * each for each in (statistics.median(found), min(found), max(found))
    )
    return f"  {name:14s}{middle:8.1f} ms  ({least:.1f} to {most:.1f})"


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--counties", type=int, default=200)
    parser.add_argument("--rounds", type=int, default=5)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        service = region(Path(folder) / "region.db", options.counties)
        made = make_key(
            "benchmark",
            farm_id=None,
            scopes=[Right.ADVISER],
            expires_at=None,
            unit_of_work=service.unit_of_work,
            clock=service.clock,
        )
        app = create_app(service)
        ask = asker(app, made[1])
        first_s = seconds(ask)
        cold, kept = [], []
        for _ in range(options.rounds):
            app.state.county_desk = CountyDesk(app.state.news)
            cold.append(seconds(ask))
            kept.append(seconds(ask))
    print(f"{options.counties} counties x {len(CROPS)} crops, {options.rounds} rounds")
    print(_line("cold", cold))
    print(_line("from memory", kept))
    print(f"  first ever    {1000.0 * first_s:8.1f} ms")


if __name__ == "__main__":
    main()
