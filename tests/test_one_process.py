"""Pages, API and scheduler in one process: the thread beside the server, and the whole."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.request
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from service import one_process
from service.database.backup import check_backup
from service.errors import SettingsInvalid
from service.listener import take_listener
from service.one_process import Household
from tests.patience import PATIENCE_S

ROOT = Path(__file__).resolve().parent.parent


@dataclass
class House:
    """What a household looks at, and what it did."""

    folder: Path
    is_due: bool = False
    requests: int = 0
    is_answering: bool = False
    renewals: list[int] = field(default_factory=list)

    def household(self, code: str = "open('done', 'a').write('x')") -> Household:
        """With a child that runs a line of Python in the folder."""
        return Household(
            is_due=lambda: self.is_due,
            request_count=lambda: self.requests,
            is_answering=lambda: self.is_answering,
            renew=lambda: self.renewals.append(self.requests),
            command=(sys.executable, "-c", f"import os; os.chdir({str(self.folder)!r}); {code}"),
        )

    @property
    def done(self) -> str:
        """A letter for each child."""
        file = self.folder / "done"
        return file.read_text() if file.exists() else ""


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> House:
    monkeypatch.setattr(one_process, "HEAVY", frozenset({"nothing_heavy"}))
    return House(tmp_path)


def test_a_child_does_what_is_due_and_nothing_is_started_otherwise(house: House) -> None:
    household = house.household()
    household.tick()
    assert house.done == ""
    house.is_due = True
    household.tick()
    household.tick()
    assert house.done == "xx"


def test_a_child_that_fails_is_reported_and_followed_by_another(
    house: House, caplog: pytest.LogCaptureFixture
) -> None:
    house.is_due = True
    household = house.household("open('done', 'a').write('x'); raise SystemExit(3)")
    household.tick()
    household.tick()
    assert house.done == "xx"
    assert "has failed" in caplog.text


def test_the_process_starts_anew_when_it_is_heavy_and_nobody_asks(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    household = house.household()
    household.tick()
    household.tick()
    assert house.renewals == []  # quiet, but light
    monkeypatch.setattr(one_process, "HEAVY", frozenset({"json"}))
    house.requests = 7
    household.tick()
    assert house.renewals == []  # somebody has just asked
    house.is_due = True
    household.tick()
    assert house.renewals == []  # there is work first
    house.is_due, house.is_answering = False, True
    household.tick()
    assert house.renewals == []  # an answer, or what follows it, is not finished
    house.is_answering = False
    household.tick()
    assert house.renewals == [7]


def test_a_household_that_stops_ends_its_child_and_starts_no_other(house: House) -> None:
    house.is_due = True
    household = house.household("import time; open('done', 'a').write('x'); time.sleep(600)")
    thread = threading.Thread(target=household.tick)
    thread.start()
    deadline = time.monotonic() + PATIENCE_S
    while not house.done and time.monotonic() < deadline:
        time.sleep(0.01)  # looked at again and again; nothing is waited out
    household.stop()
    thread.join(PATIENCE_S)
    assert not thread.is_alive()
    household.tick()
    assert house.done == "x"


def test_an_address_that_is_taken_is_reported() -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(SettingsInvalid, match=f"127.0.0.1, {port}"):
            take_listener("127.0.0.1", port)


STARTS_ANEW = """
import os, sys
from service.listener import LISTENER_VARIABLE, take_listener
from service.one_process import start_anew
is_second = LISTENER_VARIABLE in os.environ
listener = take_listener("127.0.0.1", 0)
if not is_second:
    print(os.getpid(), listener.getsockname()[1], flush=True)
    sys.stdin.readline()
    start_anew(listener)
assert LISTENER_VARIABLE not in os.environ and not listener.get_inheritable()
peer, _ = listener.accept()
peer.sendall(str(os.getpid()).encode())
"""


def test_a_process_that_starts_anew_keeps_its_number_and_its_callers() -> None:
    with subprocess.Popen(
        [sys.executable, "-c", STARTS_ANEW],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdin is not None and process.stdout is not None
        number, port = process.stdout.readline().split()
        # Calls before it restarts, and is answered after.
        with socket.create_connection(("127.0.0.1", int(port)), PATIENCE_S) as caller:
            process.stdin.write("go\n")
            process.stdin.flush()
            assert caller.recv(100).decode() == number == str(process.pid)
        assert process.wait(PATIENCE_S) == 0


def test_the_whole_serves_and_does_what_is_due_and_stops_on_a_signal(tmp_path: Path) -> None:
    state = tmp_path / "state"
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    process = subprocess.Popen(
        [sys.executable, "-m", "service", "run", "--port", str(port)],
        cwd=ROOT,
        env={**os.environ, "RILLWRIGHT_STATE": str(state), "RILLWRIGHT_LOG_FORMAT": "json"},
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    events = []
    for line in process.stderr:  # ends with the process at the latest
        events.append(json.loads(line)["event"] if line.startswith("{") else line)
        if events[-1] == "prune: deleted 0 payloads and 0 runs (1)":
            break
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/readyz", timeout=PATIENCE_S) as answer:
        assert answer.status == 200
    process.send_signal(signal.SIGTERM)
    rest = process.communicate(timeout=PATIENCE_S)[1]
    assert process.returncode == 0, "".join(map(str, events)) + rest
    assert {each.name for each in state.iterdir()} >= {"rillwright.db", "page-secret", "kernels"}
    (backup,) = (state / "backups").iterdir()
    assert check_backup(backup).contents.row_counts["farm"] == 0
