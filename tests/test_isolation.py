"""No test leaves this machine, and none sees the settings of the developer who runs it."""

from __future__ import annotations

import asyncio
import contextlib
import os
import socket
import subprocess
import sys
import threading
import urllib.request
from collections.abc import Callable
from pathlib import Path

import httpx
import pytest

from service.settings import Settings, read_settings
from tests.patience import PATIENCE_S

ROOT = Path(__file__).resolve().parent.parent
# Addresses set aside for documentation (RFC 5737, RFC 3849, RFC 2606): nobody answers there.
OUTSIDE_V4 = ("192.0.2.1", 80)
OUTSIDE_V6 = ("2001:db8::1", 80, 0, 0)
OUTSIDE_NAME = "weather.example.org"
Refused = pytest.fail.Exception


def _connect(family: int, address: tuple[object, ...]) -> None:
    with socket.socket(family, socket.SOCK_STREAM) as own:
        own.settimeout(1.0)
        own.connect(address)


def _connect_ex() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as own:
        own.settimeout(1.0)
        own.connect_ex(OUTSIDE_V4)


async def _open_stream() -> None:
    await asyncio.open_connection(*OUTSIDE_V4)


@pytest.mark.parametrize(
    "reach_out",
    [
        lambda: _connect(socket.AF_INET, OUTSIDE_V4),
        lambda: _connect(socket.AF_INET6, OUTSIDE_V6),
        _connect_ex,
        lambda: socket.getaddrinfo(OUTSIDE_NAME, 443),
        lambda: socket.create_connection((OUTSIDE_NAME, 443), timeout=1.0),
        lambda: httpx.get(f"https://{OUTSIDE_NAME}/", timeout=1.0),
        lambda: urllib.request.urlopen(f"http://{OUTSIDE_NAME}/", timeout=1.0),
        lambda: asyncio.run(_open_stream()),
    ],
    ids=["ipv4", "ipv6", "connect_ex", "name", "create_connection", "httpx", "urllib", "asyncio"],
)
def test_reaching_for_the_outside_fails_the_test(reach_out: Callable[[], object]) -> None:
    with pytest.raises(Refused, match="outside network"):
        reach_out()


def test_code_that_swallows_network_errors_cannot_hide_the_attempt() -> None:
    with pytest.raises(Refused, match="outside network"), contextlib.suppress(Exception):
        socket.create_connection(OUTSIDE_V4, timeout=1.0)


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost"])
def test_loopback_works(host: str) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]

        def hang_up() -> None:
            server.accept()[0].close()

        answering = threading.Thread(target=hang_up)
        answering.start()
        with socket.create_connection((host, port), timeout=PATIENCE_S) as own:
            assert own.recv(1) == b""
        answering.join(timeout=PATIENCE_S)
    assert not answering.is_alive()


def test_a_unix_socket_works(tmp_path: Path) -> None:
    # Relative, since the full path of a socket may be 107 bytes at most.
    with pytest.MonkeyPatch.context() as patch, socket.socket(socket.AF_UNIX) as server:
        patch.chdir(tmp_path)
        server.bind("own.sock")
        server.listen()
        with socket.socket(socket.AF_UNIX) as own:
            own.connect("own.sock")


def test_no_setting_of_the_machine_reaches_a_test() -> None:
    left = [
        name
        for name in os.environ
        if name.startswith("RILLWRIGHT_") and not name.startswith("RILLWRIGHT_TEST_")
    ]
    assert left == []
    assert read_settings().database_url == Settings.model_fields["database_url"].default


def test_a_developers_settings_are_dropped_before_the_first_test() -> None:
    developers = {"RILLWRIGHT_DATABASE_URL": "sqlite:///precious.db", "RILLWRIGHT_PORT": "1"}
    name = test_no_setting_of_the_machine_reaches_a_test.__name__
    inner = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", f"{__file__}::{name}"],
        cwd=ROOT,
        env={**os.environ, **developers},
        capture_output=True,
        text=True,
        check=False,
        timeout=PATIENCE_S,
    )
    assert inner.returncode == 0, inner.stdout + inner.stderr
    assert "1 passed" in inner.stdout
