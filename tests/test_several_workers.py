"""Several web processes behind one address: their counts, their ends, and the stop of all."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import pytest

from service import several_workers
from service.bootstrap import migrate_database
from service.errors import SettingsInvalid
from service.metrics import RequestMetrics
from service.settings import Settings
from service.several_workers import CountsInFiles, run_workers
from tests.patience import PATIENCE_S

ROOT = Path(__file__).resolve().parent.parent


def until(find: Callable[[], object]) -> object:
    """What is found at last; looked for again and again."""
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        found = find()
        if found:
            return found
        time.sleep(0.05)  # nothing is waited out: it is looked for again
    raise AssertionError("waited in vain")


class Served:
    """A `serve --workers 2` that runs."""

    def __init__(self, port: int, process: subprocess.Popen[str]) -> None:
        self.port = port
        self.process = process

    def read(self, path: str) -> str:
        """The answer to a request; empty while nobody answers."""
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}{path}") as answer:
                return str(answer.read().decode())
        except OSError:
            return ""

    def pids(self) -> set[int]:
        """Processes that the first one has started."""
        path = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children")
        return {int(each) for each in path.read_text().split()}

    def workers(self, scraped: str) -> set[str]:
        """Numbers of the workers of a scrape."""
        return set(re.findall(r'process_resident_memory_bytes\{worker="(\d)"\}', scraped))

    def counted(self, route: str) -> float:
        """How many requests of a route a scrape shows."""
        line = re.search(
            rf'http_requests_total{{method="GET",route="{route}",status="200"}} (\S+)',
            self.read("/metrics"),
        )
        return float(line[1]) if line else 0.0


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    url = f"sqlite:///{tmp_path / 'own.db'}"
    migrate_database(Settings(database_url=url))
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    process = subprocess.Popen(
        [sys.executable, "-m", "service", "serve", "--workers", "2", "--port", str(port)],
        cwd=ROOT,
        env={**os.environ, "RILLWRIGHT_DATABASE_URL": url},
        stderr=subprocess.PIPE,
        text=True,
    )
    found = Served(port, process)
    try:
        until(lambda: found.read("/livez"))
        until(lambda: found.workers(found.read("/metrics")) == {"1", "2"})
        yield found
    finally:
        process.kill()
        process.communicate()


def test_workers_share_an_address_and_their_counts_and_are_replaced_and_stopped(
    served: Served,
) -> None:
    before = served.counted("/readyz")
    for _ in range(30):
        assert served.read("/readyz") == '{"status":"pass","limits":"each-process"}'
    assert until(lambda: served.counted("/readyz") == before + 30)  # whoever answered, of any

    killed, kept = sorted(served.pids())
    os.kill(killed, signal.SIGKILL)
    until(lambda: kept in served.pids() and len(served.pids() - {killed, kept}) == 1)
    until(lambda: served.workers(served.read("/metrics")) == {"1", "2"})
    assert served.counted("/readyz") == before + 30  # no count falls

    pids = served.pids()
    served.process.send_signal(signal.SIGTERM)
    said = served.process.communicate(timeout=PATIENCE_S)[1]
    assert served.process.returncode == 0, said
    assert "each counts requests for itself" in said
    assert not any(Path(f"/proc/{pid}").exists() for pid in pids)


def test_a_scrape_adds_up_what_all_have_answered(tmp_path: Path) -> None:
    one, other = (CountsInFiles(tmp_path, number) for number in (1, 2))
    first, second = RequestMetrics(one), RequestMetrics(other)
    for metrics, count in ((first, 2), (second, 3)):
        for _ in range(count):
            metrics.note("GET", "/v1/farms", 200, duration_s=0.004)
    other.write(second.snapshot())
    text = first.exposition().decode()
    assert 'rillwright_http_requests_total{method="GET",route="/v1/farms",status="200"} 5.0' in text
    bucket = 'rillwright_http_request_duration_seconds_bucket{le="0.005",route="/v1/farms"} 5.0'
    assert bucket in text
    assert "rillwright_workers 2.0" in text
    assert 'process_cpu_seconds_total{worker="2"}' in text


def test_workers_that_end_at_once_are_not_started_for_ever(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(several_workers, "LOOK_EVERY_S", 0.01)
    starts: list[Mapping[int, int]] = []
    with (
        socket.create_server(("127.0.0.1", 0)) as listener,
        pytest.raises(SettingsInvalid, match="as soon as they are started") as refused,
    ):
        run_workers(
            2, listener, command=(sys.executable, "-S", "-c", "raise SystemExit(3)"),
            started=starts.append,
        )  # fmt: skip
    assert "exit code 3" in str(refused.value)
    assert len(starts) <= several_workers.MOST_EARLY_ENDS
