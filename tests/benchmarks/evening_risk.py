"""What members of the forecast and shadows add to an evening, in processor seconds.

    python -m tests.benchmarks.evening_risk [--blocks 10000] [--sites 200] [--runs 3]

Farms, blocks, weather and members are invented. The same evening runs in fresh processes from
copies of one file: bare, where nothing is known of a spread and no shadow is kept, and whole, with
an ensemble of 31 members at every site and a shadow for every block, since none has stated what it
would rather risk. The bar is whole / bare of 1.3, both run by turns, so that a busy machine is as
hard on the one as on the other.
"""

from __future__ import annotations

import argparse
import json
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from datetime import time as wall_time
from pathlib import Path
from typing import TYPE_CHECKING, Any
from unittest import mock

import numpy as np

from tests.benchmarks.run_day import EVENING, FIRST_EVENING, prepare

if TYPE_CHECKING:
    from service.database.session import UnitOfWork
    from service.operations.evening.gather_weather import GatheredWeather

BAR = 1.3
MEMBERS, DAYS = 31, 8
MODEL = "ncep_gefs_seamless"


def add_members(path: Path) -> None:
    """An invented ensemble at every site for both evenings, with corrections."""
    from service.agronomy.member_calibration import LeadCorrection
    from service.bootstrap import open_service
    from service.records.forecast_members import StoredMembers
    from service.settings import Settings

    service = open_service(Settings(database_url=f"sqlite:///{path}"))
    random = np.random.default_rng(3)
    one = np.ones(DAYS)
    correction = LeadCorrection(
        80 * np.ones(DAYS, dtype=np.int64), 0.9 * one, 0.1 * one, 1.1 * one, one, 1.1 * one, one
    )
    with service.unit_of_work(write=True) as unit:
        unit.members.save(
            [
                StoredMembers(
                    site_key=int(key),
                    model=MODEL,
                    first_day=evening + timedelta(days=1),
                    fetched_at=datetime.combine(evening, wall_time(18), UTC),
                    first_seen_at=datetime.combine(evening, wall_time(18), UTC),
                    given_count=MEMBERS,
                    hole_count=0,
                    frozen_count=0,
                    numbers=np.arange(MEMBERS),
                    rain_mm=random.gamma(0.8, 4.0, (MEMBERS, DAYS))
                    * (random.random((MEMBERS, DAYS)) < 0.4),
                    et0_mm=random.uniform(3.0, 6.0, (MEMBERS, DAYS)),
                    correction=correction,
                )
                for key in unit.blocks.read_site_table().keys.tolist()
                for evening in (FIRST_EVENING, EVENING)
            ]
        )


def measure(path: Path, *, is_bare: bool) -> dict[str, object]:
    """One evening in this process."""
    from service.bootstrap import open_service
    from service.operations.evening import run_day as evening
    from service.operations.evening import run_weather
    from service.settings import Settings

    service = open_service(Settings(database_url=f"sqlite:///{path}"))
    with ExitStack() as patches:
        if is_bare:
            for module, name, stand_in in (
                (run_weather, "gather_members", _nothing_known),
                (evening, "followed_shadows", _no_shadow),
            ):
                patches.enter_context(mock.patch.object(module, name, stand_in))
        began = time.process_time()
        run = evening.run_day(
            EVENING,
            unit_of_work=service.unit_of_work,
            clock=service.clock,
            source_order=service.source_order,
        )
        spent_s = time.process_time() - began
    if run.failures:
        raise SystemExit(f"the run failed: {run.failures}")
    return {"seconds": spent_s, "phases": run.phases.seconds}


def _nothing_known(_unit: UnitOfWork, weather: GatheredWeather, *, now: datetime) -> object:
    """As if no forecast had a spread."""
    from service.agronomy.weather_members import no_members
    from service.operations.evening.gather_members import GatheredMembers

    first = np.datetime64(weather.on) + 1
    count = weather.sites.keys.size
    return GatheredMembers(
        no_members(weather.days[weather.days >= first], count),
        np.zeros(count, dtype=np.int64),
        ("",) * count,
    )


def _no_shadow(*_given: object) -> None:
    """As if every block had stated what it would rather risk."""


def _child(*arguments: str) -> str:
    command = [sys.executable, "-m", "tests.benchmarks.evening_risk", *arguments]
    return subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout


def _measured(made: Path, *arguments: str) -> dict[str, Any]:
    with tempfile.TemporaryDirectory(dir=made.parent) as folder:
        used = Path(folder) / "used.db"
        shutil.copy(made, used)
        found: dict[str, Any] = json.loads(_child("--measure", str(used), *arguments))
        return found


def main() -> None:
    """Prepare once, measure by turns and print the ratio."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--blocks", type=int, default=10_000)
    parser.add_argument("--sites", type=int, default=200)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--bare", action="store_true", help=argparse.SUPPRESS)
    parser.add_argument("--measure", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.measure:
        print(json.dumps(measure(options.measure, is_bare=options.bare)))
        return
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "made.db"
        prepare(f"sqlite:///{made}", options.blocks, options.sites)
        add_members(made)
        pairs = [(_measured(made, "--bare"), _measured(made)) for _ in range(options.runs)]
    for name, runs in zip(("bare", "whole"), zip(*pairs, strict=True), strict=True):
        seconds = [float(each["seconds"]) for each in runs]
        print(f"{name:6s} {statistics.median(seconds):7.3f} s of processor", end="")
        print(f" ({min(seconds):.3f} to {max(seconds):.3f})")
        for phase, spent in sorted(runs[0]["phases"].items(), key=lambda each: -each[1]):
            print(f"    {phase:20s} {spent:8.3f} s")
    ratios = [float(whole["seconds"]) / float(bare["seconds"]) for bare, whole in pairs]
    print(f"whole / bare {statistics.median(ratios):.2f} ({min(ratios):.2f} to {max(ratios):.2f})")
    print(f"bar {BAR}")


if __name__ == "__main__":
    main()
