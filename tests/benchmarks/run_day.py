"""What an evening run costs: seconds, memory and shares, against the floor for the same rows.

    python -m tests.benchmarks.run_day                    100, 1,000, 10,000 and 100,000 blocks
    python -m tests.benchmarks.run_day --blocks 1000 --sites 50 --runs 3
    python -m tests.benchmarks.run_day --blocks 10000 --sites 200 --attitude balanced

Farms, blocks and weather are invented. Each size has a SQLite file of its own; every measurement
is a fresh process. The floor is measured in the same process as the run, on a copy of the file: the
same rows read and written with SQLAlchemy Core (one execute with many parameters), one batched
pyet call for the same days and sites, and the same documents serialised with orjson. It computes
nothing else, so a run cannot reach it.
"""

from __future__ import annotations

import argparse
import json
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np

FIRST_EVENING = date(2026, 7, 13)
EVENING = date(2026, 7, 14)
WEATHER_DAYS_BACK = 70
FORECAST_DAYS = 8
BLOCKS_PER_FARM = 10
SIZES = {100: 50, 1_000: 50, 10_000: 200, 100_000: 500}


def prepare(
    url: str,
    block_count: int,
    site_count: int,
    *,
    attitude: str = "classic",
    blocks_per_farm: int = BLOCKS_PER_FARM,
) -> None:
    """An invented region in a new database, its ledgers run up to the evening before."""
    from service.agronomy.risk_attitude import attitude_named
    from service.bootstrap import migrate_database, open_service
    from service.operations.evening.run_day import run_day
    from service.settings import Settings
    from tests.benchmarks.invented_region import invented_farms, invented_weather

    settings = Settings(database_url=url)
    migrate_database(settings)
    service = open_service(settings)
    with service.unit_of_work(write=True) as unit:
        for bundle in invented_farms(
            block_count,
            site_count,
            blocks_per_farm=blocks_per_farm,
            balance_start=FIRST_EVENING - timedelta(days=1),
        ):
            blocks = tuple(
                replace(block, risk_attitude=attitude_named(attitude)) for block in bundle.blocks
            )
            unit.blocks.save_bundle(
                replace(bundle, blocks=blocks),
                effective_day=FIRST_EVENING,
                recorded_at=service.clock.now(),
            )
        keys = unit.blocks.read_site_table().keys
        days = np.arange(
            np.datetime64(EVENING) - WEATHER_DAYS_BACK, np.datetime64(EVENING) + FORECAST_DAYS
        )
        observed, forecast = days[days < np.datetime64(EVENING)], days
        for kind, span in (("observed", observed), ("forecast", forecast)):
            unit.weather.save_rows(
                invented_weather(keys, span, kind=kind), fetched_at=service.clock.now()
            )
    run_day(
        FIRST_EVENING,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )
    service.close()


def measure(path: Path) -> dict[str, object]:
    """One evening run and its floor in this process."""
    from service.bootstrap import open_service
    from service.operations.evening.run_day import run_day
    from service.settings import Settings
    from tests.benchmarks.day_floor import floor_seconds

    before = path.with_suffix(".before")
    shutil.copy(path, before)
    service = open_service(Settings(database_url=f"sqlite:///{path}"))
    start_mib = _resident_mib()
    started = time.perf_counter()
    run = run_day(
        EVENING,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )
    seconds = time.perf_counter() - started
    peak_mib = _peak_mib()
    if run.failures:
        raise SystemExit(f"the run failed: {run.failures}")
    floor = floor_seconds(path, before, EVENING)
    return {
        "blocks": run.block_count,
        "new_versions": run.new_version_count,
        "seconds": seconds,
        "peak_mib": peak_mib,
        "start_mib": start_mib,
        "phases": run.phases.seconds,
        "floor": floor,
    }


def _resident_mib() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 2**20


def _peak_mib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _child(*arguments: str) -> str:
    command = [sys.executable, "-m", "tests.benchmarks.run_day", *arguments]
    return subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout


def _report(block_count: int, site_count: int, results: list[dict[str, object]]) -> None:
    seconds = [float(str(result["seconds"])) for result in results]
    floors = [sum(_floats(result["floor"]).values()) for result in results]
    ratios = [run / floor for run, floor in zip(seconds, floors, strict=True)]
    peak = max(float(str(result["peak_mib"])) for result in results)
    middle = sorted(results, key=lambda each: float(str(each["seconds"])))[len(results) // 2]
    print(f"\n{block_count:,} blocks on {site_count} sites, {len(results)} runs")
    print(
        f"  run    {statistics.median(seconds):8.3f} s  ({min(seconds):.3f} to {max(seconds):.3f}),"
        f" {statistics.median(seconds) / block_count * 1e6:.1f} us a block, peak {peak:.0f} MiB"
    )
    print(
        f"  floor  {statistics.median(floors):8.3f} s;"
        f" run / floor {statistics.median(ratios):.2f} ({min(ratios):.2f} to {max(ratios):.2f})"
    )
    total = float(str(middle["seconds"]))
    for name, spent in sorted(_floats(middle["phases"]).items(), key=lambda each: -each[1]):
        print(f"    {name:20s} {spent:8.3f} s  {100 * spent / total:5.1f} %")
    for name, spent in _floats(middle["floor"]).items():
        print(f"    floor: {name:13s} {spent:8.3f} s")


def _floats(value: object) -> dict[str, float]:
    if not isinstance(value, dict):
        raise TypeError(f"expected a table of seconds, got {value!r}")
    return {str(name): float(spent) for name, spent in value.items()}


def main() -> None:
    """Prepare, measure and print each size."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--blocks", type=int)
    parser.add_argument("--sites", type=int)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--attitude", default="classic", help="what all growers would risk")
    parser.add_argument("--prepare", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--measure", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.prepare:
        prepare(
            f"sqlite:///{options.prepare}", options.blocks, options.sites, attitude=options.attitude
        )
        return
    if options.measure:
        print(json.dumps(measure(options.measure)))
        return
    sizes = {options.blocks: options.sites or 50} if options.blocks else SIZES
    for block_count, site_count in sizes.items():
        with tempfile.TemporaryDirectory() as folder:
            made = Path(folder) / "made.db"
            size = ("--blocks", str(block_count), "--sites", str(site_count))
            _child("--prepare", str(made), *size, "--attitude", options.attitude)
            results = []
            for _ in range(options.runs):
                used = Path(folder) / "used.db"
                shutil.copy(made, used)
                results.append(json.loads(_child("--measure", str(used))))
                for leftover in Path(folder).glob("used.*"):
                    leftover.unlink()
        _report(block_count, site_count, results)


if __name__ == "__main__":
    main()
