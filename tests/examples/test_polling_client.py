"""The reference client against a real server on loopback: one that dies, lies, and comes back.

The device's clock is set by the test and steps from one thing due to the next, so days pass in no
time; the server is uvicorn on a port of its own, stopped and started again.
"""

from __future__ import annotations

import json
import re
import socket
import threading
import time
import zlib
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from itertools import pairwise
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import httpx
import numpy as np
import pytest
import uvicorn
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from examples.polling_client import (
    LONGEST_RETRY_S,
    POLL_EVERY_S,
    BadProgram,
    PollingClient,
    parse_program,
)
from service.api import news
from service.api.app import create_app
from service.bootstrap import Service
from service.operations.access.manage_keys import Right, make_key, revoke_key
from service.operations.evening.publish_programs import render_program
from tests.api.invented_farm import (
    FARM_ID,
    PLAN_DAY,
    RUN_AT,
    FixedClock,
    bring_weather,
    plan_evening,
)
from tests.api.paired_controllers import SHED, SHED_CONTROLLER, pair

ZONE = ZoneInfo("America/New_York")
EVENING = RUN_AT.timestamp()


@dataclass
class Device:
    """A device's clocks, and the commands to its valves, by the true time."""

    true_epoch_s: float
    error_s: float = 0.0
    """How far the device's own clock is off."""
    opened: list[tuple[float, int, int]] = field(default_factory=list)
    closed: list[tuple[float, int]] = field(default_factory=list)
    alarms: list[str] = field(default_factory=list)

    def now(self) -> float:
        return self.true_epoch_s + self.error_s

    def monotonic(self) -> float:
        return self.true_epoch_s - EVENING + 1_000.0

    def open(self, channel: int, duration_s: int) -> None:
        assert duration_s > 0
        self.opened.append((self.true_epoch_s, channel, duration_s))

    def close(self, channel: int) -> None:
        self.closed.append((self.true_epoch_s, channel))

    def alarm(self, text: str) -> None:
        self.alarms.append(text)


class Tamperer:
    """Passes answers on with the fixed clock's date, and changes bodies where a test says how."""

    def __init__(self, app: ASGIApp, clock: FixedClock) -> None:
        self._app = app
        self._clock = clock
        self.change: Callable[[bytes], bytes] | None = None
        self.instead: tuple[int, dict[str, str]] | None = None
        self.asked: list[dict[bytes, bytes]] = []

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        self.asked.append(dict(scope["headers"]))
        date = (b"date", format_datetime(self._clock.instant, usegmt=True).encode())
        if self.instead is not None:
            status, headers = self.instead
            pairs = [(name.lower().encode(), value.encode()) for name, value in headers.items()]
            await send({"type": "http.response.start", "status": status, "headers": [date, *pairs]})
            await send({"type": "http.response.body", "body": b""})
            return

        async def send_changed(message: Message) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message["headers"], date]}
            elif self.change is not None and message.get("body"):
                message = {**message, "body": self.change(message["body"])}
            await send(message)

        await self._app(scope, receive, send_changed)


class Field:
    """A farm with a controller, a server that can be stopped, and a device that polls it."""

    def __init__(self, service: Service, folder: Path, seconds: Callable[[float], None]) -> None:
        self.service = service
        self.folder = folder
        assert isinstance(service.clock, FixedClock)
        self.clock = service.clock
        self.device = Device(EVENING)
        self._set_seconds = seconds
        pair(service, FARM_ID, SHED_CONTROLLER)
        self.key, self.token = make_key(
            "shed",
            farm_id=FARM_ID,
            scopes=[Right.PLAN_READ],
            expires_at=None,
            unit_of_work=service.unit_of_work,
            clock=service.clock,
        )
        self.tamperer = Tamperer(create_app(service), self.clock)
        with closing(socket.socket()) as free:
            free.bind(("127.0.0.1", 0))
            self.port: int = free.getsockname()[1]
        self._server: uvicorn.Server | None = None
        self.start()
        self._clients: list[PollingClient] = []
        self.client = self.power_up()

    def power_up(self) -> PollingClient:
        """The device starts, with what it has on disk."""
        return self.device_of(SHED, self.folder / "state.json")

    def device_of(self, controller_id: str, state_path: Path) -> PollingClient:
        """A device that goes by the test's clock."""
        made = PollingClient(
            f"http://127.0.0.1:{self.port}",
            self.token,
            controller_id,
            state_path=state_path,
            clock=self.device,
            valves=self.device,
        )
        self._clients.append(made)
        return made

    def end(self) -> None:
        """Let go of everything."""
        for client in self._clients:
            client.close()
        self.stop()

    def start(self) -> None:
        config = uvicorn.Config(
            self.tamperer, port=self.port, log_level="critical", date_header=False, lifespan="off"
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self._thread.start()
        while not self._server.started:
            time.sleep(0.01)  # the thread is on its way, nothing is waited out

    def stop(self) -> None:
        if self._server is not None:
            self._server.should_exit = self._server.force_exit = True
            self._thread.join()
            self._server = None

    def run_until(self, true_epoch_s: float) -> None:
        """Let time pass from one thing due to the next."""
        while self.device.true_epoch_s < true_epoch_s:
            self._set_clocks()
            wait_s = max(self.client.step(), 1.0)
            self.device.true_epoch_s = min(self.device.true_epoch_s + wait_s, true_epoch_s)
        self._set_clocks()

    def _set_clocks(self) -> None:
        self.clock.instant = datetime.fromtimestamp(self.device.true_epoch_s, UTC)
        self._set_seconds(self.device.true_epoch_s)

    def program(self) -> dict[str, Any]:
        """What the server would send now."""
        with self.service.unit_of_work(write=False) as unit:
            row = unit.controllers.find_programs([SHED])[0].program
        assert row is not None
        found: dict[str, Any] = json.loads("{" + row.json_text)["program"]
        return found

    def planned(self) -> list[tuple[float, int, int]]:
        """Openings of the program as a device should carry them out, in order of time."""
        return sorted(
            (float(start), channel["channel"], 60 * minutes)
            for channel in self.program()["channels"]
            for start, _, minutes in channel["openings"]
        )


@pytest.fixture
def field_(
    own_service: Service, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Field]:
    seconds = [EVENING]
    monkeypatch.setattr(news, "monotonic", lambda: seconds[0])

    def set_seconds(value: float) -> None:
        seconds[0] = value

    made = Field(own_service, tmp_path, set_seconds)
    yield made
    made.end()


def at(day_offset: int, hour: int, minute: int = 0) -> float:
    """A local time, counted in days from the day planned."""
    local = datetime.combine(PLAN_DAY, datetime.min.time(), tzinfo=ZONE) + timedelta(
        days=day_offset, hours=hour, minutes=minute
    )
    return local.timestamp()


def near(found: list[tuple[float, int, int]], wanted: list[tuple[float, int, int]]) -> bool:
    """The same openings, each begun and ended within a minute or so of the plan."""
    return len(found) == len(wanted) and all(
        got[1] == want[1] and 0 <= got[0] - want[0] <= 61 and 0 <= want[2] - got[2] <= 61
        for got, want in zip(sorted(found), wanted, strict=True)
    )


def test_the_program_is_carried_out_and_every_valve_closes(field_: Field) -> None:
    field_.run_until(at(1, 0))
    assert field_.planned()
    assert near(field_.device.opened, field_.planned())
    assert len(field_.device.closed) == len(field_.device.opened)
    assert field_.device.alarms == []


def test_it_polls_every_quarter_of_an_hour_mostly_for_304(field_: Field) -> None:
    field_.run_until(EVENING + 6 * 3600)
    asked = field_.tamperer.asked
    assert 23 <= len(asked) <= 26
    assert b"if-none-match" not in asked[0]
    assert all(b"if-none-match" in each for each in asked[1:])
    assert all(each[b"authorization"].startswith(b"Bearer rw_") for each in asked)


def test_devices_poll_at_seconds_of_their_own(field_: Field, tmp_path: Path) -> None:
    waits = set()
    for number in range(5):
        client = field_.device_of(f"{FARM_ID}.c{number}", tmp_path / f"{number}.json")
        client.step()
        waits.add(client._poll_at)
    assert len(waits) == 5


def test_server_down_for_three_days(field_: Field) -> None:
    field_.run_until(EVENING + 600)
    planned = field_.planned()
    field_.stop()
    asked = len(field_.tamperer.asked)
    field_.run_until(at(1, 0))
    assert near(field_.device.opened, planned)
    assert field_.device.alarms == []

    field_.device.opened.clear()
    field_.run_until(at(3, 0))
    fallback = [(at(day, 5, 30), 1, 40 * 60) for day in (1, 2)]
    assert near(field_.device.opened, fallback)
    assert field_.device.alarms == ["the program is over and no new one came: running the fallback"]
    assert len(field_.tamperer.asked) == asked

    field_.start()
    plan_evening(field_.service)
    field_.run_until(at(3, 1))
    assert len(field_.tamperer.asked) > asked


def test_after_seven_days_of_fallback_it_stops_and_calls(field_: Field) -> None:
    field_.run_until(EVENING + 600)
    field_.stop()
    field_.run_until(at(1, 0))
    field_.device.opened.clear()
    field_.run_until(at(11, 0))
    assert near(field_.device.opened, [(at(day, 5, 30), 1, 40 * 60) for day in range(1, 8)])
    assert field_.device.alarms[-1] == "no program for 7 days: stopped"


def test_where_that_was_agreed_it_runs_nothing_without_a_program(field_: Field) -> None:
    pair(field_.service, FARM_ID, replace(SHED_CONTROLLER, policy="stop"))
    field_.run_until(EVENING + 600)
    field_.stop()
    field_.run_until(at(1, 0))
    field_.device.opened.clear()
    field_.run_until(at(3, 0))
    assert field_.device.opened == []
    assert field_.device.alarms == ["the program is over and no new one came: stopped, as agreed"]


@pytest.mark.parametrize(
    ("midnight", "start", "opens_at"),
    [
        # 2026 in New York: 02:00 to 03:00 is skipped on 8 March, 01:00 to 02:00 comes twice on
        # 1 November.
        ("2026-03-08T00:00-05:00", "02:30", "2026-03-08T03:00-04:00"),
        ("2026-11-01T00:00-04:00", "01:30", "2026-11-01T01:30-04:00"),
        ("2026-11-01T00:00-04:00", "05:30", "2026-11-01T05:30-05:00"),
    ],
)
def test_the_fallback_runs_once_on_a_day_on_which_the_clock_changes(
    tmp_path: Path, midnight: str, start: str, opens_at: str
) -> None:
    begins = datetime.fromisoformat(midnight).timestamp()
    program = held_program(valid=(begins - 86_400, begins), openings=[], fallback=[[1, start, 20]])
    device, _ = lone_device(tmp_path, program, begins, begins + 8 * 3600)
    wanted = datetime.fromisoformat(opens_at).timestamp()
    assert near(device.opened, [(wanted, 1, 20 * 60)])


def held_program(
    *,
    valid: tuple[float, float],
    openings: list[tuple[float, int]],
    fallback: list[list[Any]] | None = None,
    daily_maximum_min: int = 240,
    version: int = 1,
) -> dict[str, Any]:
    """A program for one channel, as a device keeps it; openings are (start, minutes)."""
    return {
        "format": 1,
        "controller_id": SHED,
        "version": version,
        "zone": ZONE.key,
        "valid_from_epoch_s": int(valid[0]),
        "valid_until_epoch_s": int(valid[1]),
        "channels": [
            {
                "channel": 1,
                "mode": "run",
                "daily_maximum_min": daily_maximum_min,
                "openings": [[int(start), "", minutes] for start, minutes in openings],
            }
        ],
        "fallback": {"policy": "fallback", "days": 7, "openings": fallback or []},
    }


def answer_with(program: dict[str, Any], server_epoch_s: float) -> bytes:
    """The answer that brings a program."""
    text = json.dumps(program, separators=(",", ":"))
    crc = f"{zlib.crc32(text.encode()):08x}"
    head = f'{{"server_time_epoch_s":{server_epoch_s:.0f},"crc32":"{crc}"'
    return f'{head},"program":{text}}}'.encode()


def lone_device(
    folder: Path,
    program: dict[str, Any],
    begins: float,
    ends: float,
    answer: Callable[[float], httpx.Response] | None = None,
) -> tuple[Device, list[float]]:
    """A device with a program on disk, run from one instant to another, and when it asked.

    ``answer`` is what the server says at an instant; None: there is no server.
    """
    (folder / "state.json").write_text(json.dumps({"program": program, "etag": '"1"'}))
    device, asked = Device(begins), []

    def respond(request: httpx.Request) -> httpx.Response:
        asked.append(device.true_epoch_s)
        if answer is None:
            raise httpx.ConnectError("nobody is there", request=request)
        return answer(device.true_epoch_s)

    client = PollingClient(
        "http://127.0.0.1",
        "rw_key",
        SHED,
        state_path=folder / "state.json",
        clock=device,
        valves=device,
        http=httpx.Client(transport=httpx.MockTransport(respond)),
    )
    while device.true_epoch_s < ends:
        device.true_epoch_s += max(client.step(), 1.0)
    client.close()
    return device, asked


def unchanged(now: float) -> httpx.Response:
    """The server has no other program."""
    date = format_datetime(datetime.fromtimestamp(now, UTC), usegmt=True)
    return httpx.Response(304, headers={"Date": date})


@pytest.mark.parametrize("status", [401, 403, 404])
def test_a_controller_that_is_refused_asks_no_sooner_than_otherwise(
    tmp_path: Path, status: int
) -> None:
    begins = at(0, 0)
    program = held_program(valid=(begins, begins + 86_400), openings=[(begins + 3_600, 20)])
    device, asked = lone_device(
        tmp_path, program, begins, begins + 7_200, lambda _: httpx.Response(status)
    )
    assert all(round(later - sooner) == POLL_EVERY_S for sooner, later in pairwise(asked[1:]))
    assert device.alarms == [f"the server refuses this controller ({status})"]
    assert near(device.opened, [(begins + 3_600, 1, 20 * 60)])


def test_a_controller_that_is_gone_asks_every_six_hours(tmp_path: Path) -> None:
    begins = at(0, 0)
    program = held_program(valid=(begins, begins + 86_400), openings=[(begins + 3_600, 20)])
    device, asked = lone_device(
        tmp_path, program, begins, begins + 86_400, lambda _: httpx.Response(410)
    )
    assert [round(each - begins) for each in asked] == [0, 21_600, 43_200, 64_800]
    assert (device.opened, len(device.alarms)) == ([], 1)


def test_a_server_that_only_has_the_expired_program_does_not_extend_the_seven_days(
    tmp_path: Path,
) -> None:
    expired = at(0, 0)
    program = held_program(
        valid=(expired - 86_400, expired), openings=[], fallback=[[1, "05:30", 40]]
    )
    device, asked = lone_device(tmp_path, program, expired, at(9, 0), unchanged)
    assert asked[-1] > at(8, 23)
    assert near(device.opened, [(at(day, 5, 30), 1, 40 * 60) for day in range(7)])
    assert device.alarms == [
        "the program is over and no new one came: running the fallback",
        "no program for 7 days: stopped",
    ]


def test_an_opening_past_midnight_counts_for_the_day_on_which_it_opened(tmp_path: Path) -> None:
    late, morning = (at(0, 23, 30), 60), (at(1, 5), 60)
    program = held_program(
        valid=(at(0, 0), at(2, 0)), openings=[late, morning], daily_maximum_min=60
    )
    device, _ = lone_device(tmp_path, program, at(0, 20), at(1, 8))
    assert near(device.opened, [(start, 1, 60 * minutes) for start, minutes in (late, morning)])


def test_an_opening_that_does_not_fit_in_the_day_runs_for_the_minutes_left(tmp_path: Path) -> None:
    starts = [at(0, hour) for hour in (5, 7, 9)]
    program = held_program(
        valid=(at(0, 0), at(1, 0)),
        openings=[(start, 40) for start in starts],
        daily_maximum_min=60,
    )
    device, _ = lone_device(tmp_path, program, at(0, 4), at(0, 12))
    lengths_s = [length_s for _, _, length_s in device.opened]
    assert near(device.opened[:1], [(starts[0], 1, 40 * 60)])
    assert len(lengths_s) == 2
    assert sum(lengths_s) == 60 * 60


def test_a_program_that_begins_in_the_future_leaves_the_one_in_force(tmp_path: Path) -> None:
    held = held_program(valid=(at(0, 0), at(1, 0)), openings=[(at(0, 5), 40)])
    future = held_program(valid=(at(1, 0), at(2, 0)), openings=[(at(1, 5), 30)], version=2)

    def answer(now: float) -> httpx.Response:
        return httpx.Response(200, content=answer_with(future, now))

    device, _ = lone_device(tmp_path, held, at(0, 4), at(1, 8), answer)
    wanted = [(at(0, 5), 1, 40 * 60), (at(1, 5), 1, 30 * 60)]
    assert near(device.opened, wanted)
    with pytest.raises(BadProgram, match="begins in the future"):
        parse_program(answer_with(future, at(0, 23)), SHED)


@pytest.mark.parametrize("error_s", [-365 * 86_400.0, 365 * 86_400.0])
def test_clock_off_by_a_year(field_: Field, error_s: float) -> None:
    field_.device.error_s = error_s
    field_.client = field_.power_up()
    field_.run_until(at(1, 0))
    assert near(field_.device.opened, field_.planned())


def test_a_clock_that_went_back_opens_nothing_until_the_server_was_asked(field_: Field) -> None:
    field_.run_until(EVENING + 600)
    field_.stop()
    field_.device.error_s = -EVENING  # the board starts in 1970
    field_.client = field_.power_up()
    field_.run_until(at(0, 12))
    assert field_.device.opened == []
    assert field_.device.alarms == ["the clock is wrong and the server cannot be asked"]
    field_.start()
    field_.run_until(at(1, 0))
    rest = [each for each in field_.planned() if each[0] > at(0, 12, 16)]
    assert near(field_.device.opened, rest)


def test_starts_that_were_slept_through_are_skipped(field_: Field) -> None:
    field_.run_until(EVENING + 600)
    first = field_.planned()[0]
    field_.device.true_epoch_s = first[0] + 601
    field_.run_until(at(1, 0))
    assert near(field_.device.opened, field_.planned()[1:])


def test_a_late_opening_ends_when_it_was_to_end(field_: Field) -> None:
    field_.run_until(EVENING + 600)
    start, channel, length_s = field_.planned()[0]
    field_.device.true_epoch_s = start + 300
    field_.run_until(start + 310)
    assert field_.device.opened == [(start + 300, channel, length_s - 300)]


def test_a_restart_neither_repeats_an_opening_nor_leaves_a_valve_open(field_: Field) -> None:
    field_.run_until(EVENING + 600)
    start, channel, _ = field_.planned()[0]
    field_.run_until(start + 120)
    assert [each[1] for each in field_.device.opened] == [channel]
    field_.client = field_.power_up()
    assert channel in [each[1] for each in field_.device.closed]
    field_.run_until(start + 590)
    assert len(field_.device.opened) == 1


def flipped(body: bytes) -> bytes:
    """Another length for the first opening; the checksum is that of the right one."""
    return re.sub(rb'",\d+\]', b'",99]', body, count=1)


def halved(body: bytes) -> bytes:
    """JSON of the same length that is no whole program."""
    return body[: len(body) // 2].ljust(len(body))


@pytest.mark.parametrize("change", [flipped, halved, lambda body: b"x" * len(body)])
def test_checksum_broken(field_: Field, change: Callable[[bytes], bytes]) -> None:
    field_.run_until(EVENING + 600)
    planned = field_.planned()
    field_.tamperer.change = change
    bring_weather(field_.service, warmer_c=8.0)
    plan_evening(field_.service)
    assert field_.planned() != planned
    field_.run_until(at(1, 0))
    assert near(field_.device.opened, planned)


def test_after_failures_it_waits_longer_and_longer(field_: Field) -> None:
    field_.stop()
    waits = []
    for _ in range(9):
        field_.client.step()
        waits.append(round(field_.client._poll_at - field_.device.monotonic(), 3))
        field_.device.true_epoch_s += waits[-1] + 1.0
    assert 15 <= waits[0] <= 19
    assert all(later >= earlier for earlier, later in pairwise(waits))
    assert waits[-1] == LONGEST_RETRY_S


@pytest.mark.parametrize(
    ("status", "retry_after", "low", "high"),
    [
        (429, "120", 120, 135),
        (503, "30", 30, 45),
        (503, format_datetime(RUN_AT + timedelta(minutes=3), usegmt=True), 180, 195),
        (429, "99999999", 6 * 3600, 6 * 3600),
        (503, "soon", 15, 19),
        (500, None, 15, 19),
        (302, None, 15, 19),
    ],
)
def test_it_waits_as_long_as_the_server_asks(
    field_: Field, status: int, retry_after: str | None, low: float, high: float
) -> None:
    headers = {} if retry_after is None else {"Retry-After": retry_after}
    field_.tamperer.instead = (status, {**headers, "Location": "http://elsewhere.example/"})
    field_.client.step()
    assert low <= field_.client._poll_at - field_.device.monotonic() <= high
    assert len(field_.tamperer.asked) == 1


def test_key_revoked(field_: Field) -> None:
    field_.run_until(EVENING + 600)
    planned = field_.planned()
    revoke_key(
        field_.key.key_id, unit_of_work=field_.service.unit_of_work, clock=field_.service.clock
    )
    field_.run_until(at(1, 0))
    assert field_.device.alarms[0] == "the server refuses this controller (401)"
    assert near(field_.device.opened, planned)
    field_.device.opened.clear()
    field_.run_until(at(2, 0))
    assert near(field_.device.opened, [(at(1, 5, 30), 1, 40 * 60)])


def test_a_controller_that_is_not_paired_any_more_closes_and_forgets(field_: Field) -> None:
    field_.run_until(EVENING + 600)
    start, channel, _ = field_.planned()[0]
    field_.run_until(start + 60)
    pair(field_.service, FARM_ID)
    field_.run_until(start + POLL_EVERY_S + 120)
    assert field_.device.alarms == ["this controller is not paired any more"]
    assert field_.device.closed[-1][1] == channel
    field_.device.opened.clear()
    field_.client = field_.power_up()
    field_.run_until(at(3, 0))
    assert field_.device.opened == []

    pair(field_.service, FARM_ID, SHED_CONTROLLER)
    field_.run_until(at(3, 7))
    assert json.loads((field_.folder / "state.json").read_text())["program"] is not None


def test_program_superseded_mid_day(field_: Field) -> None:
    field_.run_until(EVENING + 600)
    before = field_.planned()
    first, second = before[0], before[1]
    field_.run_until(first[0] + 60)
    assert len(field_.device.opened) == 1
    # A pause for the whole rest of the day takes every opening out of the program.
    with field_.service.unit_of_work(write=True) as unit:
        controller = unit.controllers.get_controller(SHED)
        row = unit.controllers.read_programs(_keys(controller.controller_key))[0]
        program = json.loads("{" + row.json_text)["program"]
        json_text, csv_text = render_program(
            SHED_CONTROLLER,
            [
                (each["channel"], "hold", each["daily_maximum_min"], [])
                for each in program["channels"]
            ],
            version=row.version + 1,
            issued_epoch_s=int(field_.device.true_epoch_s),
            valid_epoch_s=(program["valid_from_epoch_s"], program["valid_until_epoch_s"]),
            zone=program["zone"],
        )
        unit.marks.bump("programs")
        unit.controllers.save_programs(
            [
                replace(
                    row,
                    version=row.version + 1,
                    digest="paused",
                    json_text=json_text,
                    csv_text=csv_text,
                )
            ],
            mark=unit.marks.read_all()["programs"],
        )
    field_.run_until(first[0] + 60 + POLL_EVERY_S + 120)
    assert field_.device.closed[-1][1] == first[1]
    assert field_.device.closed[-1][0] < first[0] + first[2]
    field_.run_until(at(1, 0))
    assert len(field_.device.opened) == 1
    assert second[0] > first[0]


def _keys(key: int) -> Any:
    return np.array([key], dtype=np.int64)


def test_no_more_than_the_daily_maximum_is_run_whatever_else_applies(field_: Field) -> None:
    field_.run_until(EVENING + 600)
    state = json.loads((field_.folder / "state.json").read_text())
    for channel in state["program"]["channels"]:
        channel["daily_maximum_min"] = 100
    (field_.folder / "state.json").write_text(json.dumps(state))
    field_.stop()
    field_.client = field_.power_up()
    field_.run_until(at(1, 0))
    for channel in (1, 2):
        assert sum(each[2] for each in field_.device.opened if each[1] == channel) == 100 * 60


@pytest.mark.parametrize(
    "damage",
    [
        lambda _text: "",
        lambda text: text[: len(text) // 2],
        lambda _text: "[]",
        lambda text: text.replace('"zone": "America/New_York"', '"zone": "Nowhere/None"'),
    ],
)
def test_a_damaged_memory_is_an_empty_one(field_: Field, damage: Callable[[str], str]) -> None:
    field_.run_until(EVENING + 600)
    path = field_.folder / "state.json"
    path.write_text(damage(path.read_text()))
    field_.stop()
    field_.client = field_.power_up()
    field_.run_until(at(1, 0))
    assert field_.device.opened == []


def test_an_opening_without_a_length_is_refused() -> None:
    program = {
        "format": 1,
        "controller_id": SHED,
        "program_id": f"{SHED}/1",
        "version": 1,
        "issued_epoch_s": 1,
        "valid_from_epoch_s": 1,
        "valid_until_epoch_s": 2,
        "zone": "UTC",
        "channels": [
            {"channel": 1, "mode": "run", "daily_maximum_min": 9, "openings": [[1, "01T00:00", 0]]}
        ],
        "fallback": {"policy": "stop", "days": 7, "openings": []},
    }
    text = json.dumps(program, separators=(",", ":"))
    body = f'{{"server_time_epoch_s":1,"crc32":"{zlib.crc32(text.encode()):08x}","program":{text}}}'
    with pytest.raises(BadProgram, match="without a length"):
        parse_program(body.encode(), SHED)
