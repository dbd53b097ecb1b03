"""The parts of an office: processes that are started, asked to stop, killed and started again."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

PATIENCE_S: Final = 120.0
"""How long something is waited for before the trial calls it a failure."""
LOOK_EVERY_S: Final = 0.05
# What the trial leaves behind when it is killed itself ends with it.
_DIES_WITH_PARENT: Final = ("setpriv", "--pdeathsig", "KILL", "--")


class TrialFailed(Exception):
    """Something that the rest of the trial needs did not come about."""


def wait_until(what: str, is_so: Callable[[], bool], *, patience_s: float = PATIENCE_S) -> float:
    """Wait until something is so; returns the seconds that it took. Raises TrialFailed."""
    began = time.monotonic()
    while not is_so():
        if time.monotonic() - began > patience_s:
            raise TrialFailed(f"waited {patience_s:.0f} s in vain until {what}")
        time.sleep(LOOK_EVERY_S)
    return time.monotonic() - began


def free_ports(count: int) -> list[int]:
    """Ports of this machine that nobody listens on."""
    probes = [socket.create_server(("127.0.0.1", 0)) for _ in range(count)]
    ports: list[int] = [probe.getsockname()[1] for probe in probes]
    for probe in probes:
        probe.close()
    return ports


@dataclass(slots=True)
class Part:
    """One process of the office."""

    name: str
    command: Sequence[str]
    log: Path
    environment: Mapping[str, str]
    is_ready: Callable[[], bool]
    folder: Path
    user: str | None = None
    """The account it runs under; None: ours."""
    stop_signal: signal.Signals = signal.SIGTERM
    clean_codes: frozenset[int] = frozenset({0, -signal.SIGTERM})
    """Exit codes of a process that has been asked to stop."""
    process: subprocess.Popen[bytes] | None = field(default=None, init=False)

    @property
    def pid(self) -> int:
        """Number of the process; raises TrialFailed if there is none."""
        if self.process is None:
            raise TrialFailed(f"{self.name} is not running")
        return self.process.pid

    @property
    def has_ended(self) -> bool:
        """Whether it is not running."""
        return self.process is None or self.process.poll() is not None

    def start(self) -> None:
        """Start it; does not wait until it is ready."""
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                [*_DIES_WITH_PARENT, *self.command],
                cwd=self.folder,
                env=dict(self.environment),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                user=self.user,
                group=self.user,
                extra_groups=None if self.user is None else [],
            )

    def wait_ready(self) -> float:
        """Wait until it does its work; returns the seconds that took. Raises TrialFailed."""
        return wait_until(f"{self.name} is ready", self._is_ready_or_dead)

    def _is_ready_or_dead(self) -> bool:
        if self.process is not None and self.process.poll() is not None:
            tail = self.log.read_text(errors="replace")[-2000:]
            raise TrialFailed(f"{self.name} ended with {self.process.returncode}: {tail}")
        return self.is_ready()

    @property
    def cpu_s(self) -> float:
        """Seconds of processor time that it has used."""
        times = Path(f"/proc/{self.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(times[11]) + int(times[12])) / os.sysconf("SC_CLK_TCK")

    def kill(self) -> None:
        """kill -9, and wait until it is gone."""
        os.kill(self.pid, signal.SIGKILL)
        self._reap()

    def stop(self) -> tuple[int, float]:
        """Ask it to stop and wait; its exit code and the seconds that took."""
        began = time.monotonic()
        os.kill(self.pid, self.stop_signal)
        return self._reap(), time.monotonic() - began

    def end(self) -> None:
        """Leave nothing running, whatever state it is in."""
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(self.stop_signal)
            try:
                self.process.wait(10.0)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        self.process = None

    def _reap(self) -> int:
        if self.process is None:
            raise TrialFailed(f"{self.name} is not running")
        try:
            code = self.process.wait(PATIENCE_S)
        except subprocess.TimeoutExpired as error:
            raise TrialFailed(f"{self.name} did not stop within {PATIENCE_S:.0f} s") from error
        self.process = None
        return code


def answers(url: str) -> Callable[[], bool]:
    """Whether an address of this machine answers 200 to a plain request."""
    host, _, path = url.removeprefix("http://").partition("/")
    name, _, port = host.partition(":")

    def ask() -> bool:
        try:
            with socket.create_connection((name, int(port)), 2.0) as line:
                line.sendall(f"GET /{path} HTTP/1.0\r\nHost: {host}\r\n\r\n".encode())
                return line.recv(64).split(b" ")[1:2] == [b"200"]
        except OSError:
            return False

    return ask


def listens(port: int) -> Callable[[], bool]:
    """Whether somebody takes connections at a port."""

    def ask() -> bool:
        try:
            socket.create_connection(("127.0.0.1", port), 2.0).close()
        except OSError:
            return False
        return True

    return ask
