"""What a copy of a region costs: 10,000 plans and 10,000 runs, read page by page over the API.

    python -m tests.benchmarks.follow_farms               10,000 blocks, a plan and a run each
    python -m tests.benchmarks.follow_farms --blocks 1000

Farms, blocks and weather are invented. Seconds are of whole requests in this process, without a
network; memory is what Python holds at most during the pages, and what it holds after them.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
import tracemalloc
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from service.bootstrap import Service
from service.records.feedback import RunRows
from tests.api.callers import Caller, caller_of
from tests.api.invented_farm import opened_service
from tests.benchmarks.run_day import EVENING, prepare

PAGE_SIZE = 200
SITE_COUNT = 200
STARTED_AT = datetime(EVENING.year, EVENING.month, EVENING.day, 9, tzinfo=UTC)


def main() -> None:
    """Fill a database and follow it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--blocks", type=int, default=10_000)
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "region.db"
        prepare(f"sqlite:///{path}", wanted.blocks, SITE_COUNT)
        with opened_service(f"sqlite:///{path}") as service:
            _report_runs(service)
            caller = caller_of(service, None)
            day = EVENING.isoformat()
            for address in (
                "/v1/plans?",
                f"/v1/plans?from={day}&to={day}&",
                "/v1/plans?farm=farm-00042&",
                "/v1/runs?",
                "/v1/controllers?",
            ):
                _follow(caller, f"{address}page_size={PAGE_SIZE}")


def _report_runs(service: Service) -> None:
    with service.unit_of_work(write=True) as unit:
        keys = unit.blocks.read_block_table(
            EVENING, farm_keys=np.array(list(unit.blocks.farm_keys().values()))
        ).keys
        count = keys.size
        unit.reports.record_runs(
            RunRows(
                block_keys=keys,
                days=np.full(count, np.datetime64(EVENING)),
                started_at=(STARTED_AT,) * count,
                start_min=np.full(count, 300),
                duration_min=np.full(count, 40.0),
                volume_l=np.full(count, np.nan),
                flowing_min=np.full(count, np.nan),
                is_early=np.ones(count, dtype=np.bool_),
                is_volume_booked=np.zeros(count, dtype=np.bool_),
                reporter="a benchmark",
            ),
            recorded_at=STARTED_AT + timedelta(hours=1),
        )


def _follow(caller: Caller, address: str) -> None:
    caller.get(address)  # routes are prepared at the first request
    seconds, items = _read(caller, address)
    tracemalloc.start()
    _read(caller, address)
    held, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    print(
        f"{address:55s} {items:7,} items in {len(seconds):3d} pages,"
        f" {statistics.median(seconds) * 1e3:6.1f} ms a page (at most {max(seconds) * 1e3:.1f}),"
        f" memory at most {peak / 2**20:.1f} MiB, after it {held / 2**20:.1f}"
    )


def _read(caller: Caller, address: str) -> tuple[list[float], int]:
    """Seconds of each page, and how many items they had."""
    seconds, items = [], 0
    at: str | None = address
    while at is not None:
        began = time.perf_counter()
        answer = caller.get(at).json()
        seconds.append(time.perf_counter() - began)
        items += len(answer["items"])
        at = answer["next"] if answer.get("has_more", True) else None
    return seconds, items


if __name__ == "__main__":
    main()
