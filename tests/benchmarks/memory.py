"""What a small installation keeps in memory: two processes side by side, and one with a child.

    python -m tests.benchmarks.memory

The invented farm of `rillwright demo` on SQLite, on this machine's loopback. First `serve` and
`schedule` are started on it, then `run`; each time the evening that is due is made, the pages and
answers in `ASKED` are asked for, and a run is reported, which has plans made in the web server.
Printed is the resident memory (RSS, MB) of all processes together after each step: what is shared
between processes counts in each of them, as it does where one runs alone. `run` is read again once
it has restarted itself, which it does within forty seconds of the last request. The goal is
250 MB after an evening. Compiles the kernels first, which takes a minute or some. Needs Linux.
"""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import timedelta
from pathlib import Path

from service.demo_farm import DEMO_DAY

ASKED = (
    "/farms", "/counties", "/openapi.json", "/v1/blocks", "/v1/status",
    "/v1/counties/water-need?week=next&crop=blueberry",
)  # fmt: skip
GOAL_MB = 250.0
WITHIN_S = 600.0
_RESIDENT = re.compile(r"^VmRSS:\s+(\d+) kB", re.MULTILINE)


def resident_mb(pid: int) -> float:
    """What a process and its children hold; 0 for one that has ended."""
    try:
        found = _RESIDENT.search(Path(f"/proc/{pid}/status").read_text())
        children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    except FileNotFoundError:
        return 0.0
    own = int(found[1]) / 1024.0 if found else 0.0
    return own + sum(resident_mb(int(child)) for child in children)


@contextmanager
def running(log: Path, *arguments: str, **settings: str) -> Iterator[subprocess.Popen[bytes]]:
    """A command, until the block ends."""
    with log.open("wb") as lines:
        process = subprocess.Popen(
            [sys.executable, "-m", "service", *arguments],
            env={**os.environ, **settings},
            stderr=lines,
        )
        yield process
        process.send_signal(signal.SIGTERM)
        process.wait(WITHIN_S)


def wait_for(log: Path, text: str) -> None:
    """Until a log says something."""
    deadline = time.monotonic() + WITHIN_S
    while text not in log.read_text():
        if time.monotonic() > deadline:
            raise TimeoutError(f"{text!r} is not in {log}: {log.read_text()[-500:]}")
        time.sleep(0.2)


def ask(port: int) -> None:
    """The pages and answers, once each."""
    for path in ASKED:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=WITHIN_S) as answer:
            answer.read()


def report_a_run(port: int) -> None:
    """A run of the first block, on the day before the demonstration's own."""
    address = f"http://127.0.0.1:{port}/v1"
    with urllib.request.urlopen(f"{address}/blocks", timeout=WITHIN_S) as answer:
        block_id = json.load(answer)["items"][0]["block_id"]
    started_at = f"{DEMO_DAY - timedelta(days=1)}T06:00:00Z"
    run = {"block_id": block_id, "started_at": started_at, "duration_min": 20}
    request = urllib.request.Request(
        f"{address}/runs",
        json.dumps({"items": [run]}).encode(),
        {"Content-Type": "application/json", "Idempotency-Key": '"memory"'},
    )
    try:
        with urllib.request.urlopen(request, timeout=WITHIN_S) as answer:
            answer.read()
    except urllib.error.HTTPError as error:
        raise SystemExit(f"the run was refused: {error.read().decode()}") from error


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        return int(taken.getsockname()[1])


def show(step: str, *processes: subprocess.Popen[bytes]) -> None:
    """A line of the table."""
    each = [resident_mb(process.pid) for process in processes]
    mark = "" if sum(each) <= GOAL_MB else "  over the goal"
    print(f"{step:<46}{' + '.join(f'{mb:.0f}' for mb in each):>12}{sum(each):>8.0f} MB{mark}")


def measure(name: str, folder: Path) -> None:
    """One way of running it, from an installation without runs to the reported one."""
    state = folder / name
    settings = {"RILLWRIGHT_STATE": str(state), "RILLWRIGHT_LOG_FORMAT": "json"}
    here = {**os.environ, **settings}
    for command in ("prepare", "demo"):
        subprocess.run(
            [sys.executable, "-m", "service", command], env=here, check=True, capture_output=True
        )
    kernels = next(each for each in (state / "kernels").iterdir() if each.is_dir())
    settings["NUMBA_CACHE_DIR"] = str(kernels)
    port = free_port()
    with ExitStack() as stack:
        web = folder / f"{name}.log"
        if name == "run":
            log = web
            processes = [stack.enter_context(running(web, "run", "--port", str(port), **settings))]
        else:
            log = folder / "schedule.log"
            processes = [
                stack.enter_context(running(web, "serve", "--port", str(port), **settings)),
                stack.enter_context(running(log, "schedule", **settings)),
            ]
        wait_for(log, "prune: ")
        wait_for(web, "Serving on")
        time.sleep(2.0)  # until the child has ended
        show(f"{name}: after the evening", *processes)
        ask(port)
        show(f"{name}: after pages and counties", *processes)
        report_a_run(port)
        show(f"{name}: after a reported run", *processes)
        if name == "run":
            wait_for(web, "restarting to give")
            time.sleep(10.0)
            show(f"{name}: after it restarted", *processes)


def main() -> None:
    """Measure both and print."""
    with tempfile.TemporaryDirectory() as folder:
        for name in ("separate", "run"):
            measure(name, Path(folder))


if __name__ == "__main__":
    main()
