"""What a program poll costs, compared with the smallest endpoints that the same server can have.

    python -m tests.benchmarks.polling                 three rounds of six seconds each
    python -m tests.benchmarks.polling --rounds 1 --seconds 3 --no-run

One uvicorn worker with uvloop and httptools on core 0, without access log; wrk on core 1 with 32
connections; ids at random over 10,000 controllers, each with its own tag; keys and limits as in
production (the limits so wide that none is met). Farms and weather are invented. All cases of a
round run one after the other, and only their ratios within a round are compared: the figures
themselves belong to the machine and to whatever else it does. Where others use the machine too, the
processor time of the server per request says more than requests per second; both are given.

- ``empty``: a FastAPI endpoint that returns a constant pydantic model of the program's size
- ``starlette``: a bare Starlette endpoint that returns a constant JSON response of that size
- ``200``, ``304``: the poll, without a tag and with the right one
- ``miss``: the poll where nothing is ever kept, so that each answer is read from the database
- ``plan 200``: the plan read of 500 blocks
- p99 at 500 requests a second over 64 connections with time to think (a closed loop: a stall makes
  the clients slower too, so the tail is underestimated), idle and while a 10,000-block run-day with
  changed weather repeats in a process of its own on the server's core, each run publishing all
  programs again
"""

from __future__ import annotations

import argparse
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import BaseModel

SERVER_CORE, LOAD_CORE = 0, 1
CONNECTIONS = 32
BLOCKS, SITES, PLAN_BLOCKS = 10_000, 200, 500
RATE_PER_S, RATE_CONNECTIONS = 500, 64
PORTS = {"empty": 8151, "starlette": 8152, "poll": 8153, "miss": 8154}
_PROCESSES: dict[int, int] = {}
"""Process of each server, by port."""
ISSUED_AT = datetime(2026, 7, 14, 23, 0, tzinfo=UTC)

_LUA = """
local ids, tags, count = {}, {}, 0
for line in io.lines("%(table)s") do
  local id, tag = line:match("^(%%S+) (%%S+)$")
  count = count + 1; ids[count] = id; tags[count] = tag
end
math.randomseed(%(seed)d)
local key = "Bearer %(key)s"
function request()
  local n = math.random(count)
  local headers = { ["Authorization"] = key }
  if %(tagged)s then headers["If-None-Match"] = tags[n] end
  return wrk.format("GET", "%(head)s" .. ids[n] .. "%(tail)s", headers)
end
"""
_DELAY = """
function delay() return %d + math.random(%d) end
"""
_PLAIN = """
function request() return wrk.format("GET", "/") end
"""


class Answer(BaseModel):
    """What the empty endpoint returns."""

    text: str


class _Clock:
    """A stopped clock, so that the plans are those of the coming day."""

    def now(self) -> datetime:
        return ISSUED_AT


def prepare(path: Path) -> tuple[str, dict[str, Path]]:
    """An invented region, each block with a controller of its own; returns a key and the ids."""
    from service.bootstrap import migrate_database, open_service
    from service.operations.access.manage_keys import Right, make_key
    from service.operations.farms.manage_controllers import save_controllers
    from service.records.controllers import ChannelDefinition, ControllerDefinition, FallbackRun
    from service.settings import Settings
    from tests.benchmarks import run_day as evening
    from tests.benchmarks.invented_region import invented_farms

    evening.prepare(f"sqlite:///{path}", BLOCKS, SITES)
    settings = Settings(database_url=f"sqlite:///{path}")
    migrate_database(settings)
    service = open_service(settings, clock=_Clock())
    with service.unit_of_work(write=True) as unit:
        for bundle in invented_farms(
            BLOCKS,
            SITES,
            blocks_per_farm=evening.BLOCKS_PER_FARM,
            balance_start=evening.FIRST_EVENING - timedelta(days=1),
        ):
            assert bundle.farm is not None
            farm_id = bundle.farm.farm_id
            save_controllers(
                unit,
                farm_id,
                [
                    ControllerDefinition(
                        controller_id=f"{farm_id}.c{number}",
                        farm_id=farm_id,
                        name=f"Invented controller {number}",
                        channels=(
                            ChannelDefinition(
                                channel=1,
                                block_id=block.block_id,
                                fallback=(FallbackRun(330, 40),),
                            ),
                        ),
                    )
                    for number, block in enumerate(bundle.blocks)
                ],
                recorded_at=ISSUED_AT,
            )
    run(path, warmer_c=0.0)
    _, key = make_key(
        "benchmark",
        farm_id=None,
        scopes=[Right.PLAN_READ],
        expires_at=None,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    tables = {"controllers": path.with_suffix(".ids"), "blocks": path.with_suffix(".blocks")}
    ids = write_tags(path, tables["controllers"])
    tables["blocks"].write_text(
        "".join(
            f"{name.replace('.c', '.block-')} -\n"
            for name in np.random.default_rng(3).permutation(ids)[:PLAN_BLOCKS].tolist()
        )
    )
    return key, tables


def write_tags(path: Path, table: Path) -> list[str]:
    """Write each controller with the tag of its program as it is now; returns the controllers."""
    from service.bootstrap import open_service
    from service.settings import Settings

    service = open_service(Settings(database_url=f"sqlite:///{path}"), clock=_Clock())
    with service.unit_of_work(write=False) as unit:
        ids = [each.definition.controller_id for each in unit.controllers.list_controllers()]
        found = {each.controller_id: each.program for each in unit.controllers.find_programs(ids)}
    lines = []
    for name in ids:
        program = found[name]
        assert program is not None
        lines.append(f'{name} "{program.version}-{program.digest}-json"\n')
    table.write_text("".join(lines))
    return ids


def run(path: Path, *, warmer_c: float) -> tuple[float, int]:
    """An evening run after the weather has changed; returns its seconds and new plans."""
    from service.bootstrap import open_service
    from service.operations.evening.run_day import run_day
    from service.settings import Settings
    from tests.benchmarks.invented_region import invented_weather
    from tests.benchmarks.run_day import EVENING, FORECAST_DAYS

    service = open_service(Settings(database_url=f"sqlite:///{path}"), clock=_Clock())
    with service.unit_of_work(write=True) as unit:
        days = np.arange(np.datetime64(EVENING) + 1, np.datetime64(EVENING) + FORECAST_DAYS)
        rows = invented_weather(unit.blocks.read_site_table().keys, days, kind="forecast")
        fields = {**rows.fields, "tmax_c": rows.fields["tmax_c"] + warmer_c}
        unit.weather.save_rows(replace(rows, fields=fields), fetched_at=ISSUED_AT)
    began = time.perf_counter()
    done = run_day(
        EVENING,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )
    assert not done.failures, done.failures[:1]
    return time.perf_counter() - began, done.new_version_count


def serve(case: str, path: Path, size: int) -> None:
    """Serve one case on core 0, until killed."""
    import uvicorn

    from service.api.bounded_http import BoundedHttp

    os.sched_setaffinity(0, {SERVER_CORE})
    uvicorn.run(
        _app(case, path, size),
        port=PORTS[case],
        loop="uvloop",
        http="httptools" if case in ("empty", "starlette") else BoundedHttp,
        access_log=False,
        log_level="warning",
    )


def _app(case: str, path: Path, size: int) -> Any:
    if case == "empty":
        from fastapi import FastAPI

        app = FastAPI()
        answer = Answer(text="x" * (size - 11))

        @app.get("/")
        async def get_constant() -> Answer:
            return answer

        return app
    if case == "starlette":
        from starlette.applications import Starlette
        from starlette.requests import Request
        from starlette.responses import JSONResponse
        from starlette.routing import Route

        content = {"text": "x" * (size - 11)}

        async def answer_constant(_request: Request) -> JSONResponse:
            return JSONResponse(content)

        return Starlette(routes=[Route("/", answer_constant)])
    from service.api.app import create_app
    from service.api.program import Programs
    from service.bootstrap import open_service
    from service.settings import Settings

    if case == "miss":
        Programs._keep = lambda *_: None  # type: ignore[method-assign]  # keeps nothing, ever
    wide = "100000000/minute"
    settings = Settings(
        database_url=f"sqlite:///{path}", requests_per_key=wide, requests_per_address=wide
    )
    return create_app(open_service(settings))


@contextmanager
def _servers(path: Path, size: int) -> Iterator[None]:
    started = [
        subprocess.Popen(
            [sys.executable, "-m", __spec__.name, "--serve", case, str(path), str(size)]
        )
        for case in PORTS
    ]
    _PROCESSES.update(zip(PORTS.values(), (each.pid for each in started), strict=True))
    try:
        for port in PORTS.values():
            _wait_for(port)
        yield
    finally:
        for each in started:
            each.kill()
            each.wait()


def _wait_for(port: int) -> None:
    import socket

    for _ in range(300):
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1.0).close()
            return
        except OSError:
            time.sleep(0.1)
    raise TimeoutError(f"nothing answers on port {port}")


def _cpu_s(port: int) -> float:
    """Seconds of processor time that the server has used."""
    fields = Path(f"/proc/{_PROCESSES[port]}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _wrk(port: int, script: Path, seconds: float, connections: int) -> dict[str, float]:
    """Requests per second, latencies in ms, processor time of the server per request in us, and
    answers that were neither 2xx nor 3xx."""
    before_s = _cpu_s(port)
    out = subprocess.run(
        ["taskset", "-c", str(LOAD_CORE), "wrk", "-t1", f"-c{connections}", f"-d{seconds:g}s",
         "--latency", "-s", str(script), f"http://127.0.0.1:{port}"],
        check=True, capture_output=True, text=True,
    ).stdout  # fmt: skip
    rate = re.search(r"Requests/sec:\s+([\d.]+)", out)
    bad = re.search(r"Non-2xx or 3xx responses: (\d+)", out)
    count = re.search(r"(\d+) requests in", out)
    assert rate is not None and count is not None, out
    found = {
        "rate": float(rate[1]),
        "bad": float(bad[1]) if bad else 0.0,
        "cpu_us": 1e6 * (_cpu_s(port) - before_s) / int(count[1]),
    }
    for name in ("50%", "99%"):
        value = re.search(rf"{name}\s+([\d.]+)(us|ms|s)", out)
        assert value is not None, out
        found[name] = float(value[1]) * {"us": 0.001, "ms": 1.0, "s": 1000.0}[value[2]]
    return found


def _scripts(folder: Path, key: str, tables: dict[str, Path]) -> dict[str, Path]:
    def lua(name: str, text: str) -> Path:
        path = folder / f"{name}.lua"
        path.write_text(text)
        return path

    program = {
        "table": tables["controllers"], "seed": 5, "key": key,
        "head": "/v1/controllers/", "tail": "/program",
    }  # fmt: skip
    plan = {**program, "table": tables["blocks"], "head": "/v1/blocks/", "tail": "/plan"}
    think_ms = 1000 * RATE_CONNECTIONS // RATE_PER_S
    delay = _DELAY % (think_ms // 2, think_ms)
    plain, whole, tagged = (
        _PLAIN, _LUA % {**program, "tagged": "false"}, _LUA % {**program, "tagged": "true"},
    )  # fmt: skip
    return {
        "plain": lua("plain", plain),
        "200": lua("whole", whole),
        "304": lua("tagged", tagged),
        "plan": lua("plan", _LUA % {**plan, "tagged": "false"}),
        "plain slow": lua("plain_slow", plain + delay),
        "200 slow": lua("whole_slow", whole + delay),
        "304 slow": lua("tagged_slow", tagged + delay),
    }


def measure(path: Path, *, rounds: int, seconds: float, with_run: bool) -> None:
    """Print what each round gives, and the medians of the ratios."""
    key, tables = prepare(path)
    scripts = _scripts(path.parent, key, tables)
    size = _program_size(path)
    print(f"program of {size} bytes, {BLOCKS:,} controllers, {rounds} rounds of {seconds:g} s")
    ratios: dict[str, list[float]] = {}
    with _servers(path, size):
        for number in range(1, rounds + 1):
            # The runs of the round before have made all copies and tags out of date.
            write_tags(path, tables["controllers"])
            _wrk(PORTS["poll"], scripts["200"], 8.0, CONNECTIONS)
            _wrk(PORTS["poll"], scripts["plan"], 6.0, CONNECTIONS)
            cases = {
                "empty": ("empty", "plain"), "starlette": ("starlette", "plain"),
                "200": ("poll", "200"), "304": ("poll", "304"), "miss": ("miss", "200"),
                "plan 200": ("poll", "plan"),
            }  # fmt: skip
            found = {
                name: _wrk(PORTS[server], scripts[script], seconds, CONNECTIONS)
                for name, (server, script) in cases.items()
            }
            assert not any(each["bad"] for each in found.values()), found
            for name, each in found.items():
                ratio = each["rate"] / found["empty"]["rate"]
                cpu_ratio = found["empty"]["cpu_us"] / each["cpu_us"]
                ratios.setdefault(f"{name} / empty, req/s", []).append(ratio)
                ratios.setdefault(f"{name} / empty, req per s of processor", []).append(cpu_ratio)
                print(
                    f"round {number}  {name:<10} {each['rate']:>9,.0f}/s  {ratio:5.2f} x empty"
                    f"  {each['cpu_us']:6.1f} us of processor, {cpu_ratio:5.2f} x"
                    f"  p50 {each['50%']:.2f}  p99 {each['99%']:.2f} ms"
                )
            slow = {
                "starlette": ("starlette", "plain slow"),
                "200": ("poll", "200 slow"),
                "304": ("poll", "304 slow"),
            }
            tails = {
                name: _wrk(PORTS[server], scripts[script], seconds, RATE_CONNECTIONS)
                for name, (server, script) in slow.items()
            }
            for name in ("200", "304"):
                ratios.setdefault(f"{name} / starlette, p99 at {RATE_PER_S}/s", []).append(
                    tails[name]["99%"] / tails["starlette"]["99%"]
                )
            for name, each in tails.items():
                print(
                    f"round {number}  {name:<10} at {each['rate']:.0f}/s idle"
                    f"  p50 {each['50%']:.2f}  p99 {each['99%']:.2f} ms"
                )
            if with_run:
                _wrk(PORTS["poll"], scripts["200"], 2.0, CONNECTIONS)
                with _runs(path, number):
                    busy = {
                        name: _wrk(
                            PORTS["poll"], scripts[f"{name} slow"], 2 * seconds, RATE_CONNECTIONS
                        )
                        for name in ("200", "304")
                    }
                for name, each in busy.items():
                    ratios.setdefault(f"{name} busy / idle, p99", []).append(
                        each["99%"] / tails[name]["99%"]
                    )
                    print(
                        f"round {number}  {name:<10} at {each['rate']:.0f}/s during run-day"
                        f"  p50 {each['50%']:.2f}  p99 {each['99%']:.2f} ms"
                    )
    for name, values in ratios.items():
        print(
            f"{name:<36} median {statistics.median(values):5.2f}"
            f"   lowest {min(values):5.2f}   highest {max(values):5.2f}"
        )


@contextmanager
def _runs(path: Path, number: int) -> Iterator[None]:
    """Runs, one after the other, in a process of their own on the server's core."""
    process = subprocess.Popen(
        ["taskset", "-c", str(SERVER_CORE), sys.executable, "-m", __spec__.name,
         "--repeat-run", str(path), str(number)],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert process.stdout is not None
        process.stdout.readline()  # the first run is over, so everything is loaded and compiled
        yield
        assert process.poll() is None, "the runs ended before the polls"
    finally:
        process.kill()
        process.wait()


def repeat_run(path: Path, number: int) -> None:
    """Run evenings on ever new weather until killed."""
    for turn in range(1, 1_000):
        seconds, new_count = run(path, warmer_c=number + 0.01 * turn)
        print(f"{seconds:.2f} s, {new_count} new plans", flush=True)
        sys.stderr.write(f"    run-day: {seconds:.2f} s, {new_count:,} new plans\n")


def _program_size(path: Path) -> int:
    import sqlite3

    from service.operations.evening.publish_programs import json_body

    connection = sqlite3.connect(path)
    texts = [row[0] for row in connection.execute("SELECT json_text FROM controller_program")]
    connection.close()
    return int(statistics.median(len(json_body(text, 1_784_070_000)) for text in texts))


def main() -> None:
    """Read the arguments and measure."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--seconds", type=float, default=6.0)
    parser.add_argument("--no-run", action="store_true")
    parser.add_argument("--serve", nargs=3, help=argparse.SUPPRESS)
    parser.add_argument("--repeat-run", nargs=2, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.serve:
        case, path, size = options.serve
        serve(case, Path(path), int(size))
    elif options.repeat_run:
        repeat_run(Path(options.repeat_run[0]), int(options.repeat_run[1]))
    else:
        with tempfile.TemporaryDirectory() as folder:
            measure(
                Path(folder) / "region.db",
                rounds=options.rounds,
                seconds=options.seconds,
                with_run=not options.no_run,
            )


if __name__ == "__main__":
    main()
