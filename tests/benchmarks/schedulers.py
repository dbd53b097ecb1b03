"""How schedulers share an evening on PostgreSQL: seconds, processor time, failures, log and rows.

    python -m tests.benchmarks.schedulers            10,000 blocks, 1, 2 and 4 schedulers
    python -m tests.benchmarks.schedulers --blocks 100000 --sites 1000 --schedulers 1 2

Farms, blocks and weather are invented. RILLWRIGHT_TEST_POSTGRES_URL names a server on this machine
in which databases may be made (``tests/postgres.sh`` starts one that does not wait for the disk).
Each number of schedulers works on its own copy of the region, all of them processes of their own
that begin together once they have loaded the service. Processor time says what the work costs on a
machine that has other work too; of the seconds from first to last only a quiet one tells anything.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import create_engine
from sqlalchemy.engine import URL
from sqlalchemy.pool import NullPool

from tests.databases import address, copied, new_database

DUE = datetime(2026, 7, 14, 22, 30, tzinfo=UTC)  # 18:30 in New York
BLOCKS_PER_FARM = 10


@dataclass(frozen=True, slots=True)
class Standing:
    """What a server has used, and what a database holds, so far."""

    processor_s: float
    wal_bytes: int
    stored_bytes: int


class FixedClock:
    """Shows the evening."""

    def now(self) -> datetime:
        """The time at which the evening is due."""
        return DUE


def work(url: str) -> dict[str, object]:
    """Do what is due in this process once told to begin; what that took."""
    from service.bootstrap import open_service
    from service.operations.schedule.run_due import run_due
    from service.scheduler import make_duties
    from service.settings import Settings

    service = open_service(Settings(database_url=url), clock=FixedClock())
    print("ready", flush=True)
    sys.stdin.readline()
    before_s, began = time.process_time(), time.perf_counter()
    done = run_due(make_duties(service))
    return {
        "planned": sum(outcome == "planned" for outcome in done.finished.values()),
        "failed": len(done.given_back) + len(done.lost),
        "reasons": sorted(set(done.given_back.values())),
        "processor_s": time.process_time() - before_s,
        "seconds": time.perf_counter() - began,
        "peak_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }


def standing(url: URL) -> Standing:
    """As of now; the processor time is that of the whole server, with what has ended."""
    with create_engine(url, poolclass=NullPool).connect() as connection:
        pid, wal_bytes, stored_bytes = connection.exec_driver_sql(
            "SELECT pg_backend_pid(), pg_current_wal_lsn() - '0/0'::pg_lsn,"
            " pg_database_size(current_database())"
        ).one()
        server = int(Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[1])
        children = Path(f"/proc/{server}/task/{server}/children").read_text().split()
        ticks = _ticks(server, ended=True) + sum(_ticks(int(child)) for child in children)
    return Standing(ticks / os.sysconf("SC_CLK_TCK"), int(wal_bytes), int(stored_bytes))


def _ticks(pid: int, *, ended: bool = False) -> int:
    """Processor time of a process, or with that of its children that have ended."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except FileNotFoundError:
        return 0
    return sum(map(int, fields[11 : 15 if ended else 13]))


def measure(url: URL, scheduler_count: int) -> None:
    """Let some schedulers do the evening of a region together, and print what it took."""
    command = [sys.executable, "-m", "tests.benchmarks.schedulers", "--work", address(url)]
    workers = [
        subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        for _ in range(scheduler_count)
    ]
    for worker in workers:
        if worker.stdout is None or worker.stdout.readline() != "ready\n":
            raise SystemExit("a scheduler did not start")
    before = standing(url)
    for worker in workers:
        if worker.stdin is not None:
            worker.stdin.write("\n")
            worker.stdin.flush()
    results = [json.loads(worker.communicate()[0]) for worker in workers]
    after = standing(url)
    planned = sum(each["planned"] for each in results)
    failed = sum(each["failed"] for each in results)
    python_s = sum(each["processor_s"] for each in results)
    with create_engine(url, poolclass=NullPool).connect() as connection:
        plan_count, version = connection.exec_driver_sql(
            "SELECT count(*), max(version) FROM plan WHERE day = '2026-07-15'"
        ).one()
    print(
        f"{scheduler_count} schedulers: {max(each['seconds'] for each in results):6.1f} s,"
        f" {planned} farms planned ({', '.join(str(each['planned']) for each in results)}),"
        f" {failed} failed; {plan_count:,} plans, version {version}\n"
        f"  processor time: Python {python_s:.1f} s,"
        f" database {after.processor_s - before.processor_s:.1f} s;"
        f" peak {max(each['peak_mib'] for each in results):.0f} MiB a process\n"
        f"  a block: {(after.wal_bytes - before.wal_bytes) / plan_count:,.0f} bytes of log,"
        f" {(after.stored_bytes - before.stored_bytes) / plan_count:,.0f} bytes that stay"
    )
    for reason in sorted({text for each in results for text in each["reasons"]}):
        print(f"  failed: {reason}")


def main() -> None:
    """Prepare a region, and measure each number of schedulers on a copy of it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--blocks", type=int, default=10_000)
    parser.add_argument("--sites", type=int, default=500)
    parser.add_argument("--blocks-per-farm", type=int, default=BLOCKS_PER_FARM)
    parser.add_argument("--schedulers", type=int, nargs="+", default=[1, 2, 4])
    parser.add_argument("--work", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.work:
        print(json.dumps(work(options.work)))
        return
    from tests.benchmarks.run_day import prepare

    with tempfile.TemporaryDirectory() as folder, new_database("postgresql", Path(folder)) as made:
        prepare(
            address(made),
            options.blocks,
            options.sites,
            blocks_per_farm=options.blocks_per_farm,
        )
        server = create_engine(made, isolation_level="AUTOCOMMIT", poolclass=NullPool)
        with server.connect() as connection:
            # As a server that looks after itself would have done by the next evening.
            connection.exec_driver_sql("VACUUM ANALYZE")
        print(f"{options.blocks:,} blocks, {options.sites:,} sites")
        for scheduler_count in options.schedulers:
            with copied(made, Path(folder)) as url:
                measure(url, scheduler_count)


if __name__ == "__main__":
    main()
