"""What an evening leaves behind for good: bytes a block and day in a SQLite file, by table.

    python -m tests.benchmarks.growth                    100 blocks on 5 sites, 60 evenings
    python -m tests.benchmarks.growth --evenings 200

Farms and weather are invented, with another forecast every evening. The file is measured as the
evenings left it and again once old plans have been packed and thinned; the evenings' weather is
part of both. A year of 1,000 blocks and five years of them follow by multiplication.
"""

from __future__ import annotations

import argparse
import sqlite3
import tempfile
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import numpy as np

from service.bootstrap import Service, migrate_database, open_service
from service.operations.evening.run_day import run_day
from service.operations.schedule.retain_plans import VERSIONS_KEPT, retain_plans
from service.settings import Settings
from tests.benchmarks.invented_region import invented_farms, invented_weather

FIRST = date(2026, 4, 1)
BLOCKS, SITES, BLOCKS_PER_FARM = 100, 5, 10
SHOWN = ("plan", "weather_basis", "balance_day", "weather_day")


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.instant = datetime.combine(FIRST, time(23), tzinfo=UTC)

    def now(self) -> datetime:
        """The instant set."""
        return self.instant


def fill(service: Service, clock: Clock, evenings: int) -> None:
    """The region, and an evening after the other."""
    with service.unit_of_work(write=True) as unit:
        for bundle in invented_farms(
            BLOCKS, SITES, blocks_per_farm=BLOCKS_PER_FARM, balance_start=FIRST - timedelta(days=1)
        ):
            unit.blocks.save_bundle(bundle, effective_day=FIRST, recorded_at=clock.now())
        keys = unit.blocks.read_site_table().keys
    whole = np.arange(np.datetime64(FIRST) - 70, np.datetime64(FIRST) + evenings + 9)
    observed = invented_weather(keys, whole, kind="observed")
    forecast = invented_weather(keys, whole, kind="forecast")
    for evening in range(evenings):
        on = np.datetime64(FIRST) + evening
        clock.instant = datetime.combine(on.item(), time(23), tzinfo=UTC)
        is_new = observed.days < on if evening == 0 else observed.days == on - 1
        is_ahead = (forecast.days >= on) & (forecast.days < on + 8)
        fields = {
            name: values * (1.0 + 0.01 * (evening % 7)) if name == "rs_mj_m2" else values
            for name, values in forecast.fields.items()
        }
        with service.unit_of_work(write=True) as unit:
            for rows, chosen in (
                (observed, is_new),
                (replace(forecast, fields=fields), is_ahead),
            ):
                count = int(chosen.sum())
                unit.weather.save_rows(
                    replace(
                        rows,
                        site_keys=rows.site_keys[chosen],
                        days=rows.days[chosen],
                        sources=rows.sources[:count],
                        kinds=rows.kinds[:count],
                        issued_at=(clock.now(),) * count,
                        wind_height_m=rows.wind_height_m[chosen],
                        fields={name: values[chosen] for name, values in rows.fields.items()},
                    ),
                    fetched_at=clock.now(),
                )
        run = run_day(on.item(), unit_of_work=service.unit_of_work, clock=clock, source_order={})
        if run.failures:
            raise SystemExit(f"the run failed: {run.failures}")


def sizes(path: Path) -> Mapping[str, int]:
    """Bytes of each table with its indexes, once free pages are given back."""
    with sqlite3.connect(path) as connection:
        connection.execute("VACUUM")
        rows = connection.execute(
            "SELECT tbl_name, sum(pgsize) FROM dbstat JOIN sqlite_schema USING (name)"
            " GROUP BY tbl_name"
        )
        return dict(rows.fetchall())


def report(title: str, found: Mapping[str, int], block_days: int) -> None:
    """A line a table."""
    total = sum(found[name] for name in SHOWN) / block_days
    print(f"{title}: {total:.0f} bytes a block and day,"
          f" {total * 365 * 1000 / 1e6:.0f} MB a year of 1,000 blocks,"
          f" {total * 5 * 365 * 1000 / 1e9:.2f} GB in five")  # fmt: skip
    for name in SHOWN:
        print(f"  {name:14} {found[name] / block_days:7.0f}")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--evenings", type=int, default=60)
    evenings = parser.parse_args().evenings
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "growth.db"
        settings = Settings(database_url=f"sqlite:///{path}")
        migrate_database(settings)
        clock = Clock()
        service = open_service(settings, clock=clock)
        fill(service, clock, evenings)
        block_days = BLOCKS * evenings
        report("as the evenings left it", sizes(path), block_days)
        clock.instant += VERSIONS_KEPT + timedelta(days=2)
        retain_plans(unit_of_work=service.unit_of_work, clock=clock)
        report("packed and thinned", sizes(path), block_days)
        service.close()


if __name__ == "__main__":
    main()
