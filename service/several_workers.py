"""Several web processes behind one address, for hosts with several cores.

The first process binds the address and starts the others, which all accept connections from the
same socket; it answers nothing itself. A worker that ends is replaced. A stop is passed on: each
worker takes no more connections and has some seconds for the answers under way. Workers hold the
end of a pipe, so that they stop too if the first process is killed.

What each has counted it writes to a file once a second, in a folder that goes with the first
process; whoever is scraped adds them up. The files of workers that have ended stay, so that no
count ever falls.
"""

from __future__ import annotations

import os
import secrets
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from service.errors import Fault, SettingsInvalid
from service.logs import get_logger

if TYPE_CHECKING:
    from service.api.tools_door import MakeTools
    from service.bootstrap import Service

WORKER_VARIABLE: Final = "RILLWRIGHT_WORKER"
"""How a worker is told its number, the open socket, its lifeline, and the folder of counts."""
LOOK_EVERY_S: Final = 0.5
EARLY_S: Final = 10.0
MOST_EARLY_ENDS: Final = 5
"""[CHOICE] So many workers in a row that end within ``EARLY_S`` of their start, and all is
stopped: another start would not help."""
KILL_AFTER_S: Final = 20.0
"""More than a server takes for the answers under way (``api/server.py``)."""
SNAPSHOT_EVERY_S: Final = 1.0
_log = get_logger(__name__)


@dataclass(frozen=True, slots=True)
class WorkerPlace:
    """What a worker is given by the process that started it."""

    number: int
    listener_fd: int
    lifeline_fd: int
    folder: Path

    @classmethod
    def from_environment(cls) -> WorkerPlace | None:
        """The place that this process was started for; None: it is no worker."""
        text = os.environ.pop(WORKER_VARIABLE, "")
        if not text:
            return None
        number, listener_fd, lifeline_fd, folder = text.split(" ", 3)
        return cls(int(number), int(listener_fd), int(lifeline_fd), Path(folder))

    def to_text(self) -> str:
        """As :meth:`from_environment` reads it."""
        return f"{self.number} {self.listener_fd} {self.lifeline_fd} {self.folder}"


class CountsInFiles:
    """The counts of workers, a file for each; see metrics.Siblings."""

    def __init__(self, folder: Path, number: int) -> None:
        self._folder = folder
        self._own = folder / f"{number}-{os.getpid()}"

    def write(self, snapshot: bytes) -> None:
        """Replace this worker's own."""
        written = self._folder / f".{self._own.name}-{threading.get_ident()}"
        written.write_bytes(snapshot)
        written.replace(self._own)

    def exchange(self, own: bytes) -> Iterator[bytes]:
        """Write this worker's; those of the others, workers that have ended included."""
        self.write(own)
        for path in sorted(self._folder.glob("[0-9]*")):
            if path != self._own:
                yield path.read_bytes()

    def live(self) -> Mapping[int, int]:
        """Process ids by number."""
        found: dict[int, int] = {}
        for path in sorted(self._folder.glob("[0-9]*")):
            number, pid = map(int, path.name.split("-"))
            with suppress(ProcessLookupError):
                os.kill(pid, 0)
                found[number] = pid
        return found


def run_worker(
    service: Service, place: WorkerPlace, *, host: str, make_tools: MakeTools | None = None
) -> None:
    """Serve as one of several, until a stop signal or the end of who started this process."""
    from service.api.server import make_server  # noqa: PLC0415 - the first process does without

    counts = CountsInFiles(place.folder, place.number)
    server, app = make_server(service, host=host, make_tools=make_tools, siblings=counts)
    snapshot = app.state.metrics.snapshot
    is_over = threading.Event()

    def keep_counts() -> None:
        last = b""
        while not is_over.wait(0.0 if not last else SNAPSHOT_EVERY_S):
            present = snapshot()
            if present != last:
                with suppress(OSError):  # the folder goes when all is stopped
                    counts.write(present)
            last = present

    def hold_on() -> None:
        if os.read(place.lifeline_fd, 1) == b"":
            os.kill(os.getpid(), signal.SIGTERM)

    threads = [threading.Thread(target=each, daemon=True) for each in (keep_counts, hold_on)]
    for thread in threads:
        thread.start()
    listener = socket.socket(fileno=place.listener_fd)
    try:
        with suppress(KeyboardInterrupt):
            server.run(sockets=[listener])
    finally:
        is_over.set()
        with suppress(OSError):
            counts.write(snapshot())


def run_workers(
    count: int,
    listener: socket.socket,
    *,
    page_secret: str = "",
    command: Sequence[str] | None = None,
    started: Callable[[Mapping[int, int]], None] = lambda _pids: None,
) -> None:
    """Keep ``count`` workers on a socket until a stop signal; for the main thread only.

    Raises SettingsInvalid if they end again and again as soon as they are started. ``started``
    hears the process ids by number whenever a worker was started.
    """
    stopping = threading.Event()
    handled = (signal.SIGTERM, signal.SIGINT)
    before = {number: signal.signal(number, lambda *_: stopping.set()) for number in handled}
    with tempfile.TemporaryDirectory(prefix="rillwright-workers-") as folder, _pipe() as ends:
        crew = _Crew(
            command=tuple(command or (sys.executable, *sys.orig_argv[1:])),
            place=WorkerPlace(0, listener.fileno(), ends[0], Path(folder)),
            page_secret=page_secret or secrets.token_urlsafe(32),
        )
        try:
            for number in range(1, count + 1):
                crew.start(number)
            started(crew.pids())
            while not stopping.wait(LOOK_EVERY_S):
                if crew.replace_those_that_ended():
                    started(crew.pids())
        finally:
            crew.stop()
            for number, handler in before.items():
                signal.signal(number, handler)


@contextmanager
def _pipe() -> Iterator[tuple[int, int]]:
    reading, writing = os.pipe()
    try:
        yield reading, writing
    finally:
        os.close(reading)
        os.close(writing)


class _Crew:
    """The workers, by number."""

    def __init__(self, *, command: tuple[str, ...], place: WorkerPlace, page_secret: str) -> None:
        self._command = command
        self._place = place
        self._page_secret = page_secret
        self._workers: dict[int, tuple[subprocess.Popen[bytes], float]] = {}
        self._early_count = 0

    def pids(self) -> Mapping[int, int]:
        return {number: worker.pid for number, (worker, _) in self._workers.items()}

    def start(self, number: int) -> None:
        place = WorkerPlace(
            number, self._place.listener_fd, self._place.lifeline_fd, self._place.folder
        )
        environment = {
            **os.environ,
            WORKER_VARIABLE: place.to_text(),
            "RILLWRIGHT_PAGE_SECRET": self._page_secret,
        }
        worker = subprocess.Popen(
            self._command,
            env=environment,
            stdin=subprocess.DEVNULL,
            pass_fds=(place.listener_fd, place.lifeline_fd),
            # Ctrl-C is for the first process alone, which passes it on.
            start_new_session=True,
        )
        self._workers[number] = (worker, time.monotonic())

    def replace_those_that_ended(self) -> bool:
        """Start others in their place; returns whether there were any."""
        ended = [
            (number, worker, time.monotonic() - began)
            for number, (worker, began) in self._workers.items()
            if worker.poll() is not None
        ]
        for number, worker, lasted_s in ended:
            self._early_count = self._early_count + 1 if lasted_s < EARLY_S else 0
            _log.error("a web process has ended", worker=number, exit_code=worker.returncode)
            if self._early_count >= MOST_EARLY_ENDS:
                raise SettingsInvalid(
                    "the web processes end as soon as they are started",
                    [Fault("--workers", f"exit code {worker.returncode}", "see the lines above")],
                )
            self.start(number)
        return bool(ended)

    def stop(self) -> None:
        """Ask all to stop, and kill those that have not within the time for answers under way."""
        workers = [worker for worker, _ in self._workers.values()]
        for worker in workers:
            worker.terminate()
        ends = time.monotonic() + KILL_AFTER_S
        for worker in workers:
            try:
                worker.wait(max(ends - time.monotonic(), 0.0))
            except subprocess.TimeoutExpired:
                _log.error("a web process was killed, since it did not stop", pid=worker.pid)
                worker.kill()
                worker.wait()
