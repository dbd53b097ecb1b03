"""Applies to every test: no outside network, no settings from the machine, fixed randomness."""

from __future__ import annotations

import gc
import hashlib
import ipaddress
import os
import socket
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

ROOT = Path(__file__).resolve().parent.parent

pytest_plugins = ["tests.shared_fixtures"]
"""Fixtures shared by several folders: databases, a browser, a mail relay."""


def _kernel_cache_dir() -> Path:
    """A folder for numba's compiled kernels, named after their sources.

    numba checks only the file that defines a kernel, so a change in a kernel called from another
    file would go unnoticed in a cache with a fixed name.
    """
    digest = hashlib.sha256()
    for room in ("service/agronomy", "service/waterworks"):
        for path in (ROOT / "service" / "kernels.py", *sorted((ROOT / room).rglob("*.py"))):
            digest.update(path.relative_to(ROOT).as_posix().encode() + b"\0" + path.read_bytes())
    return ROOT / ".cache" / "kernels" / digest.hexdigest()[:16]


def _own_settings() -> list[str]:
    """The settings of the service in the environment; those of the tests themselves stay."""
    return [
        name
        for name in os.environ
        if name.startswith("RILLWRIGHT_") and not name.startswith("RILLWRIGHT_TEST_")
    ]


def _drop_own_settings() -> None:
    """A developer's RILLWRIGHT_* settings must not reach a test, nor a real database."""
    for name in _own_settings():
        del os.environ[name]


# At import, because numba and the settings read the environment when their modules load.
os.environ.setdefault("NUMBA_CACHE_DIR", str(_kernel_cache_dir()))
_drop_own_settings()

# A shared machine makes any deadline a coin toss, and whether examples are made fast enough. Under
# CI they are the same in each run; a developer's runs look for new ones.
settings.register_profile(
    "local", deadline=None, print_blob=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("ci", settings.get_profile("local"), derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "local")


def pytest_collection_finish() -> None:
    """Exclude what the tests imported from garbage collection: it stays, and scanning it takes half
    a second each time. What comes later is looked through less often than is usual, since a process
    of tests ends before its memory is full.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 50)


@pytest.fixture(autouse=True)
def _counts_wait_for_the_test(monkeypatch: pytest.MonkeyPatch) -> None:
    """No thread of the limits outlives a test; one that wants counts shared asks for it."""
    monkeypatch.setattr("service.api.windows.Windows._start_timer", lambda _windows: None)


def _is_local(host: object) -> bool:
    if host in (None, "", "localhost", b"localhost"):
        return True
    text = host.decode("ascii", "replace") if isinstance(host, bytes) else str(host)
    try:
        return ipaddress.ip_address(text.partition("%")[0]).is_loopback
    except ValueError:
        return text.endswith(".localhost")


def _refuse(what: object) -> None:
    # pytest's own failure passes through "except Exception", so that code which turns network
    # faults into "weather unavailable" cannot hide the attempt.
    pytest.fail(f"a test reached for the outside network: {what!r}", pytrace=True)


@pytest.fixture(scope="session", autouse=True)
def no_outside_network() -> Iterator[None]:
    """Connections and name look-ups end at this machine; loopback and unix sockets work."""
    patch = pytest.MonkeyPatch()

    def guarded(connect: Callable[..., Any]) -> Callable[..., Any]:
        def connect_locally(sock: socket.socket, address: Any) -> Any:
            if sock.family in (socket.AF_INET, socket.AF_INET6) and not _is_local(address[0]):
                _refuse(address)
            return connect(sock, address)

        return connect_locally

    resolve = socket.getaddrinfo

    def resolve_locally(host: Any, *args: Any, **options: Any) -> Any:
        if not _is_local(host):
            _refuse(host)
        return resolve(host, *args, **options)

    patch.setattr(socket.socket, "connect", guarded(socket.socket.connect))
    patch.setattr(socket.socket, "connect_ex", guarded(socket.socket.connect_ex))
    patch.setattr(socket, "getaddrinfo", resolve_locally)
    yield
    patch.undo()


@pytest.fixture(scope="session", autouse=True)
def imports_stay_frozen() -> Iterator[None]:
    """An application that stops gives all that is frozen back to the garbage collector, which would
    then scan the imports of this process again for each later test.
    """
    patch = pytest.MonkeyPatch()
    patch.setattr(gc, "freeze", lambda: None)
    patch.setattr(gc, "unfreeze", lambda: None)
    yield
    patch.undo()


@pytest.fixture(autouse=True)
def no_own_settings(monkeypatch: pytest.MonkeyPatch) -> None:
    """Settings that an earlier test left in the environment do not reach this one."""
    for name in _own_settings():
        monkeypatch.delenv(name)
