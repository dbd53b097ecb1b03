"""What a page costs: time to its first byte, its weight, and how often it asks the database.

    python -m tests.benchmarks.pages                      40 rounds
    python -m tests.benchmarks.pages --rounds 10

An invented region on SQLite: one farm of 100 blocks and 39 farms of 10, at 40 places, each of them
a county, with weather of 100 days and two evenings planned. The server is a process of its own,
asked over a connection of this machine that stays open; every page is asked once to warm it, then
all pages in turn, round after round, so that what else the machine does falls on all alike. Printed
are the medians, the highest of the rounds, each median relative to that of the sign-in page of the
same run (which asks for nothing and only draws), the weight of the page as it is sent (compressed,
without its style sheet and font), and the statements for a farm of 10 and of 100 blocks, counted in
this process. The goal is 150 ms, 50 ms for tomorrow and 80 ms for the counties, 60 kB, and as many
statements for 100 blocks as for 10; what misses it is marked. Times are those of a machine that has
nothing else to do: where the sign-in page takes more than 4 ms, it has, and what is relative to
that page counts.
"""

from __future__ import annotations

import argparse
import http.client
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from service.bootstrap import Service

FIRST_EVENING = date(2026, 7, 13)
EVENING = date(2026, 7, 14)
NOW = datetime(2026, 7, 14, 23, 30, tzinfo=UTC)
WEATHER_DAYS_BACK = 100
FORECAST_DAYS = 8
PLACES = 40
LARGE, SMALL = "farm-00000", "farm-00001"
LARGE_BLOCKS, SMALL_BLOCKS = 100, 10
GOAL_MS = 150.0
GOALS_MS = {"tomorrow": 50.0, "counties": 80.0}
"""Of pages that are opened most, or compared while somebody waits on the telephone."""
GOAL_BYTES = 60_000
PAGES = {
    "sign-in": "/sign-in",
    "farms": "/farms?all=1",
    "tomorrow": "/farms/{farm}/tomorrow",
    "sheet": "/farms/{farm}/sheet",
    "block": "/blocks/{farm}.block-3",
    "pipes and water": "/blocks/{farm}.block-3/pipes-and-water",
    "parts": "/blocks/{farm}.block-3/parts",
    "weather": "/farms/{farm}/weather",
    "forecast quality": "/farms/{farm}/forecast-quality",
    "setup": "/farms/{farm}/setup",
    "change a farm": "/farms/{farm}/edit",
    "add a block": "/farms/{farm}/blocks/new",
    "change a block": "/blocks/{farm}.block-3/edit",
    "counties": "/counties",
}


@dataclass(frozen=True, slots=True)
class StandingClock:
    """The evening of the region's plans, for good."""

    def now(self) -> datetime:
        """That evening."""
        return NOW


def prepare(path: Path) -> None:
    """The invented region in a new database, planned for one evening."""
    from service.bootstrap import migrate_database
    from service.operations.evening.run_day import run_day
    from service.records.farms import CountyDefinition, FarmBundle
    from service.settings import Settings
    from tests.benchmarks.invented_region import invented_farms, invented_weather

    migrate_database(Settings(database_url=f"sqlite:///{path}"))
    service = open_region(path)
    (large,) = invented_farms(
        LARGE_BLOCKS, PLACES, blocks_per_farm=LARGE_BLOCKS, balance_start=FIRST_EVENING
    )
    _, *small = invented_farms(
        PLACES * SMALL_BLOCKS, PLACES, blocks_per_farm=SMALL_BLOCKS, balance_start=FIRST_EVENING
    )
    with service.unit_of_work(write=True) as unit:
        for bundle in (large, *small):
            unit.blocks.save_bundle(bundle, effective_day=FIRST_EVENING, recorded_at=NOW)
        stored = unit.blocks.read_site_table()
        counties = tuple(
            CountyDefinition(
                county_code=f"X{row:03d}", name=f"Invented {row}", site_id=site.site_id
            )
            for row, site in enumerate(stored.definitions)
        )
        unit.blocks.save_bundle(
            FarmBundle(farm=None, sites=stored.definitions, counties=counties),
            effective_day=FIRST_EVENING,
            recorded_at=NOW,
        )
        days = np.arange(
            np.datetime64(EVENING) - WEATHER_DAYS_BACK, np.datetime64(EVENING) + FORECAST_DAYS
        )
        past = days[days <= np.datetime64(EVENING)]
        for kind, span in (("observed", past), ("forecast", days)):
            unit.weather.save_rows(invented_weather(stored.keys, span, kind=kind), fetched_at=NOW)
    for evening in (FIRST_EVENING, EVENING):
        run_day(
            evening,
            unit_of_work=service.unit_of_work,
            clock=service.clock,
            source_order=service.source_order,
        )
    service.close()


def open_region(path: Path) -> Service:
    """The service on the region's database, on the evening of its plans."""
    from service.bootstrap import open_service
    from service.settings import Settings

    return open_service(Settings(database_url=f"sqlite:///{path}"), clock=StandingClock())


def serve(path: Path, port: int) -> None:
    """Serve the region until killed."""
    import uvicorn

    from service.api.app import create_app

    uvicorn.run(
        create_app(open_region(path)), host="127.0.0.1", port=port, log_level="error", ws="none"
    )


@contextmanager
def _server(path: Path) -> Iterator[int]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    process = subprocess.Popen(
        [sys.executable, "-m", __spec__.name, "--serve", str(path), str(port)]
    )
    try:
        deadline = time.monotonic() + 60.0
        while True:
            try:
                socket.create_connection(("127.0.0.1", port), timeout=1.0).close()
                break
            except OSError:
                assert time.monotonic() < deadline, "the server does not start"
                time.sleep(0.1)
        yield port
    finally:
        process.kill()
        process.wait()


def first_byte_ms(connection: http.client.HTTPConnection, path: str) -> tuple[float, int]:
    """Milliseconds until the answer began, and the bytes of the page as sent."""
    started = time.perf_counter()
    connection.request("GET", path, headers={"Accept-Encoding": "gzip"})
    answer = connection.getresponse()
    elapsed = time.perf_counter() - started
    content = answer.read()
    assert answer.status == 200, (path, answer.status)
    return 1000.0 * elapsed, len(content)


def count_statements(path: Path) -> dict[str, tuple[int, int]]:
    """Statements of each page for the small and the large farm."""
    import asyncio

    import httpx
    from sqlalchemy import event
    from sqlalchemy.engine import Engine

    from service.api.app import create_app

    service = open_region(path)
    app = create_app(service)
    asked: list[str] = []

    def note(*arguments: object) -> None:
        # Every process looks for news of others once a second, whatever page is asked for.
        if "change_mark" not in str(arguments[2]):
            asked.append(str(arguments[2]))

    async def ask(address: str) -> int:
        async with httpx.AsyncClient(
            transport=httpx.ASGITransport(app=app), base_url="http://127.0.0.1"
        ) as client:
            await client.get(address)
            asked.clear()
            assert (await client.get(address)).status_code == 200, address
            return len(asked)

    event.listen(Engine, "before_cursor_execute", note)
    try:
        return {
            name: (
                asyncio.run(ask(address.format(farm=SMALL))),
                asyncio.run(ask(address.format(farm=LARGE))),
            )
            for name, address in PAGES.items()
        }
    finally:
        event.remove(Engine, "before_cursor_execute", note)
        service.close()


def measure(path: Path, *, rounds: int) -> None:
    """Print the table."""
    prepare(path)
    counts = count_statements(path)
    elapsed: dict[str, list[float]] = {name: [] for name in PAGES}
    weights: dict[str, int] = {}
    with _server(path) as port:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60.0)
        for number in range(rounds + 1):
            for name, address in PAGES.items():
                taken, weights[name] = first_byte_ms(connection, address.format(farm=LARGE))
                if number:
                    elapsed[name].append(taken)
        connection.close()
    floor = statistics.median(elapsed["sign-in"])
    print(
        f"{LARGE_BLOCKS} blocks, {PLACES} counties, {rounds} rounds; time to first byte, warm\n"
        f"{'page':<16}{'median ms':>10}{'highest':>9}{'x sign-in':>11}{'bytes':>10}"
        f"{'statements for 10 and 100 blocks':>36}"
    )
    for name in PAGES:
        median = statistics.median(elapsed[name])
        few, many = counts[name]
        misses = [
            text
            for text, is_missed in (
                ("slow", median >= GOALS_MS.get(name, GOAL_MS)),
                ("heavy", weights[name] >= GOAL_BYTES),
                ("asks more", many > few),
            )
            if is_missed
        ]
        print(
            f"{name:<16}{median:>10.1f}{max(elapsed[name]):>9.1f}{median / floor:>11.1f}"
            f"{weights[name]:>10,}{few:>30}{many:>6}  {', '.join(misses)}"
        )


def main() -> None:
    """Read the arguments and measure."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--rounds", type=int, default=40)
    parser.add_argument("--serve", nargs=2, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.serve:
        path, port = options.serve
        serve(Path(path), int(port))
        return
    with tempfile.TemporaryDirectory() as folder:
        measure(Path(folder) / "region.db", rounds=options.rounds)


if __name__ == "__main__":
    main()
