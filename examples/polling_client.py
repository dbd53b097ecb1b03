"""The controller's side of the program contract, as a reference to read, port and test against.

It polls `GET /v1/controllers/{id}/program`, keeps the last good program on disk and opens valves by
it. `deploy/controller-contract.md` is the contract it follows; where the two differ, the contract
is authoritative. It needs Python 3.11 and httpx.

CAUTIONS

- Water does harm. Test with the valves' power off, then with the pump off, then under watch.
- This program never opens a valve without a length, and your valve driver must close by itself when
  the time is up, with its own timer: a program that hangs closes nothing.
- Close all valves at power-up, in hardware if you can.
- The fallback takes no account of rain, harvest or spraying. Agree on it, and on the policy, with
  the grower. Give people a switch at the valve that works without any of this.
- The key gives access to its scopes. One key per device; keep it out of logs and URLs.

What it does when things go wrong:

| what happens                         | what it does                                              |
| ------------------------------------ | --------------------------------------------------------- |
| no answer, 5xx, redirect, odd answer | keeps what it has; asks again after 15 s, up to 15 min    |
| 429 or 503 with Retry-After          | waits so long (six hours at most)                         |
| checksum, size or form is wrong      | keeps what it has, as if there had been no answer         |
| own clock off by more than a minute  | goes by the server's clock                                |
| clock older than the last answer     | opens nothing until it has asked the server               |
| a start more than ten minutes ago    | skips it                                                  |
| program over, no new one             | fallback for at most 7 days, or nothing, as agreed; then  |
|                                      | stops and raises the alarm                                |
| 401, 403, 404                        | raises the alarm; keeps what it has; asks again in a      |
|                                      | quarter of an hour                                        |
| 410                                  | not paired any more: closes, forgets the program, alarm;  |
|                                      | asks again every six hours                                |
| an opening passes the daily maximum  | runs it for the minutes left                              |
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import sys
import time
import zlib
from dataclasses import asdict, dataclass, field
from datetime import UTC, date, datetime, timedelta
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import Any, Protocol
from zoneinfo import ZoneInfo

import httpx

POLL_EVERY_S = 900
FIRST_RETRY_S = 15
LONGEST_RETRY_S = 900
LONGEST_WAIT_S = 6 * 3600
UNPAIRED_POLL_S = 6 * 3600
STALE_START_S = 600
CLOCK_SLACK_S = 60
LARGEST_ANSWER_BYTES = 16_384
FORMAT = 1
FALLBACK_MOST_DAYS = 7
MINUTE = timedelta(minutes=1)
_PROGRAM_AT = b'"program":'


class Clock(Protocol):
    """The device's time."""

    def now(self) -> float:
        """Seconds since 1970 by the device's own clock, which may be wrong."""
        ...

    def monotonic(self) -> float:
        """Seconds that never jump, from any beginning."""
        ...


class Valves(Protocol):
    """The valve driver, which closes a valve by itself when its time is up."""

    def open(self, channel: int, duration_s: int) -> None:
        """Open a valve for this long; if it is already open, for this long from now."""
        ...

    def close(self, channel: int) -> None:
        """Close a valve now."""
        ...

    def alarm(self, text: str) -> None:
        """Alert a person."""
        ...


class BadProgram(Exception):
    """An answer that cannot be trusted."""


@dataclass
class State:
    """What survives a power cut."""

    program: dict[str, Any] | None = None
    etag: str | None = None
    last_server_epoch_s: int = 0
    is_unpaired: bool = False
    started: dict[str, int] = field(default_factory=dict)
    """Openings already started: ``channel:start`` to the instant."""
    used_s: dict[str, int] = field(default_factory=dict)
    """Seconds open by ``channel:local day``."""


@dataclass
class _Running:
    """A valve that is open."""

    opening: str
    day: str
    closes_at: float
    """By the monotonic clock."""
    duration_s: int


def parse_program(body: bytes, controller_id: str) -> tuple[dict[str, Any], int]:
    """The program and the server's time from an answer; raises BadProgram."""
    begins = body.find(_PROGRAM_AT)
    if len(body) > LARGEST_ANSWER_BYTES or begins < 0 or not body.endswith(b"}}"):
        raise BadProgram("not a whole program")
    text = body[begins + len(_PROGRAM_AT) : -1]
    try:
        answer = json.loads(body)
        program = answer["program"]
        if f"{zlib.crc32(text):08x}" != answer["crc32"]:
            raise BadProgram("the checksum does not fit")
        if program["format"] != FORMAT or program["controller_id"] != controller_id:
            raise BadProgram("a program of another form, or for another controller")
        _check(program)
        server_epoch_s = int(answer["server_time_epoch_s"])
        if program["valid_from_epoch_s"] > server_epoch_s:
            raise BadProgram("begins in the future: it would end the program in force")
        return program, server_epoch_s
    except (ValueError, KeyError, TypeError, IndexError) as error:
        raise BadProgram(f"not a program: {error!r}") from error


def _check(program: dict[str, Any]) -> None:
    """Check that everything relied on is present and sane."""
    ZoneInfo(program["zone"])
    if not 0 < program["valid_from_epoch_s"] < program["valid_until_epoch_s"]:
        raise BadProgram("not valid at any time")
    for channel in program["channels"]:
        if not 0 <= channel["daily_maximum_min"] <= 1440 or channel["channel"] < 1:
            raise BadProgram("a channel that cannot be")
        for start, _, minutes in channel["openings"]:
            if int(start) <= 0 or not 0 < minutes <= 1440:
                raise BadProgram("an opening without a length")
    for _, start, minutes in program["fallback"]["openings"]:
        datetime.strptime(start, "%H:%M")  # noqa: DTZ007 - a time of day, checked for its form only
        if not 0 < minutes <= 1440:
            raise BadProgram("a fallback opening without a length")


class PollingClient:
    """One controller: call :meth:`step` every few seconds, forever."""

    def __init__(
        self,
        url: str,
        key: str,
        controller_id: str,
        *,
        state_path: Path,
        clock: Clock,
        valves: Valves,
        http: httpx.Client | None = None,
    ) -> None:
        self._url = f"{url.rstrip('/')}/v1/controllers/{controller_id}/program"
        self._id = controller_id
        self._path = state_path
        self._clock = clock
        self._valves = valves
        # A redirect could lead the key anywhere; a proxy of the environment too.
        self._http = http or httpx.Client(timeout=20.0, follow_redirects=False, trust_env=False)
        self._key = key
        self._state = self._read_state()
        self._anchor: tuple[float, float] | None = None
        self._running: dict[int, _Running] = {}
        self._failures = 0
        self._poll_at = clock.monotonic()
        self._alarms: set[str] = set()
        for channel in self._channels():
            self._valves.close(channel)  # whatever was open before a power cut

    def close(self) -> None:
        """Close the connection and all open valves."""
        self._close_all()
        self._http.close()

    # --- time ----------------------------------------------------------------------------------

    def now(self) -> float | None:
        """Best estimate of the seconds since 1970; None: not reliable enough to open valves."""
        if self._anchor is not None:
            epoch_s, at = self._anchor
            return epoch_s + self._clock.monotonic() - at
        own = self._clock.now()
        if own + CLOCK_SLACK_S < self._state.last_server_epoch_s:
            return None  # a clock that has gone back, as after a start without a battery
        return own

    def _set_time(self, server_epoch_s: int) -> None:
        own = self._clock.now()
        best = float(server_epoch_s) if abs(own - server_epoch_s) > CLOCK_SLACK_S else own
        self._anchor = (best, self._clock.monotonic())
        self._state.last_server_epoch_s = server_epoch_s

    # --- the loop ------------------------------------------------------------------------------

    def step(self) -> float:
        """Do what is due; returns the seconds until the next step, 60 at most."""
        self._run_valves()
        if self._clock.monotonic() >= self._poll_at:
            self._poll_at = self._clock.monotonic() + self._poll()
            self._run_valves()
        now = self._clock.monotonic()
        due = [self._poll_at, *(each.closes_at for each in self._running.values())]
        return max(0.0, min(min(due) - now, 60.0))

    # --- asking --------------------------------------------------------------------------------

    def _poll(self) -> float:
        """Poll for the program; returns the seconds until the next poll."""
        headers = {"Authorization": f"Bearer {self._key}", "Accept": "application/json"}
        if self._state.etag is not None and self._state.program is not None:
            headers["If-None-Match"] = self._state.etag
        try:
            answer = self._http.get(self._url, headers=headers)
        except httpx.HTTPError:
            return self._after_failure()
        match answer.status_code:
            case 200:
                return self._take(answer)
            case 304:
                return self._keep(answer)
            case 410:
                return self._unpair()
            case 401 | 403 | 404:
                self._alarm(f"the server refuses this controller ({answer.status_code})")
                return self._slot()
            case 429 | 503:
                return self._wait(answer.headers.get("Retry-After"))
            case _:
                return self._after_failure()

    def _take(self, answer: httpx.Response) -> float:
        try:
            program, server_epoch_s = parse_program(answer.content, self._id)
        except BadProgram:
            return self._after_failure()
        held = self._state.program
        if held is not None and program["version"] < held["version"]:
            return self._after_failure()  # an old copy out of some cache
        self._set_time(server_epoch_s)
        self._state.program = program
        self._state.etag = answer.headers.get("ETag")
        self._state.is_unpaired = False
        self._forget_old()
        self._save()
        self._settle(program)
        return self._after_success()

    def _keep(self, answer: httpx.Response) -> float:
        with contextlib.suppress(TypeError, ValueError):
            moment = parsedate_to_datetime(answer.headers["Date"])
            self._set_time(int(moment.timestamp()))
        self._save()
        return self._after_success()

    def _unpair(self) -> float:
        self._close_all()
        if not self._state.is_unpaired:
            self._state.is_unpaired, self._state.program, self._state.etag = True, None, None
            self._save()
        self._alarm("this controller is not paired any more")
        return UNPAIRED_POLL_S

    def _after_success(self) -> float:
        self._failures = 0
        program, now = self._state.program, self.now()
        # An answer that brings no program in force, such as the expired one again, ends no alarm.
        if program is not None and now is not None and now < program["valid_until_epoch_s"]:
            self._alarms.clear()
        return self._slot()

    def _after_failure(self) -> float:
        """15 s, doubling to 15 min, plus up to a quarter, so that devices do not poll in step."""
        base: float = min(FIRST_RETRY_S * 2**self._failures, LONGEST_RETRY_S)
        self._failures = min(self._failures + 1, 10)
        spread = zlib.crc32(f"{self._id}:{self._failures}".encode()) % 1000 / 1000
        return min(base * (1.0 + 0.25 * spread), LONGEST_RETRY_S)

    def _wait(self, retry_after: str | None) -> float:
        wanted = _seconds(retry_after, self.now() or self._clock.now())
        if wanted is None:
            return self._after_failure()
        spread = zlib.crc32(self._id.encode()) % 15
        return min(max(wanted, 1.0) + spread, LONGEST_WAIT_S)

    def _slot(self) -> float:
        """Seconds until this device's own slot in the quarter hour."""
        phase = zlib.crc32(self._id.encode()) % POLL_EVERY_S
        now = self.now() or self._clock.now()
        rest = (phase - now) % POLL_EVERY_S
        return rest if rest >= POLL_EVERY_S / 10 else rest + POLL_EVERY_S

    # --- watering ------------------------------------------------------------------------------

    def _run_valves(self) -> None:
        """Close valves whose time is up, open those that are due."""
        for channel, running in list(self._running.items()):
            if self._clock.monotonic() >= running.closes_at:
                self._close(channel)
        program, now = self._state.program, self.now()
        if program is None or self._state.is_unpaired:
            return
        if now is None:
            self._close_all()
            self._alarm("the clock is wrong and the server cannot be asked")
            return
        if now < program["valid_from_epoch_s"]:
            return
        if now < program["valid_until_epoch_s"]:
            for channel in program["channels"]:
                if channel["mode"] == "run":
                    for start, _, minutes in channel["openings"]:
                        ends = min(start + 60 * minutes, program["valid_until_epoch_s"])
                        self._consider(channel["channel"], start, ends, now)
            return
        fallback = program["fallback"]
        days = min(fallback["days"], FALLBACK_MOST_DAYS)
        if fallback["policy"] != "fallback":
            self._alarm("the program is over and no new one came: stopped, as agreed")
        elif now < program["valid_until_epoch_s"] + days * 86_400:
            self._alarm("the program is over and no new one came: running the fallback")
            for channel, start, minutes in fallback["openings"]:
                begins = self._today_at(start, now)
                self._consider(channel, begins, begins + 60 * minutes, now)
        else:
            self._alarm(f"no program for {days} days: stopped")

    def _consider(self, channel: int, start: float, ends: float, now: float) -> None:
        """Start an opening if it is due, has not been started before, and fits in the daily
        maximum.
        """
        opening = f"{channel}:{start:.0f}"
        if now < start or opening in self._state.started or channel in self._running:
            return
        if now - start > STALE_START_S:
            return  # a device that wakes up late does not make up for missed openings
        self._state.started[opening] = int(now)
        day = self._local(now).date().isoformat()  # all of it counts for the day it opens on
        left_s = 60 * self._daily_maximum_min(channel) - self._state.used_s.get(
            f"{channel}:{day}", 0
        )
        duration_s = int(min(ends - now, left_s))
        if duration_s <= 0:
            self._save()
            return
        # Recorded on disk before the valve opens: after a power cut it counts as used.
        self._state.used_s[f"{channel}:{day}"] = (
            self._state.used_s.get(f"{channel}:{day}", 0) + duration_s
        )
        self._save()
        self._valves.open(channel, duration_s)
        self._running[channel] = _Running(
            opening, day, self._clock.monotonic() + duration_s, duration_s
        )

    def _close(self, channel: int) -> None:
        running = self._running.pop(channel, None)
        self._valves.close(channel)
        if running is not None:
            unused_s = max(0, int(running.closes_at - self._clock.monotonic()))
            self._state.used_s[f"{channel}:{running.day}"] -= min(unused_s, running.duration_s)
            self._save()

    def _close_all(self) -> None:
        for channel in list(self._running):
            self._close(channel)

    def _settle(self, program: dict[str, Any]) -> None:
        """Close openings that the new program no longer has; the others continue."""
        lengths = {
            f"{channel['channel']}:{start:.0f}": 60 * minutes
            for channel in program["channels"]
            if channel["mode"] == "run"
            for start, _, minutes in channel["openings"]
        }
        now = self.now() or 0.0
        for channel, running in list(self._running.items()):
            wanted_s = lengths.get(running.opening)
            if wanted_s is None:
                self._close(channel)
                continue
            end = float(running.opening.partition(":")[2]) + wanted_s
            rest_s = int(min(end - now, running.closes_at - self._clock.monotonic()))
            if rest_s <= 0:
                self._close(channel)
            elif rest_s < running.closes_at - self._clock.monotonic() - 1:
                self._shorten(channel, running, rest_s)

    def _shorten(self, channel: int, running: _Running, rest_s: int) -> None:
        saved_s = int(running.closes_at - self._clock.monotonic() - rest_s)
        running.closes_at -= saved_s
        running.duration_s -= saved_s
        self._state.used_s[f"{channel}:{running.day}"] -= saved_s
        self._save()
        self._valves.open(channel, rest_s)

    def _channels(self) -> list[int]:
        program = self._state.program
        return [] if program is None else [each["channel"] for each in program["channels"]]

    def _daily_maximum_min(self, channel: int) -> int:
        program = self._state.program or {"channels": []}
        return next(
            (
                int(each["daily_maximum_min"])
                for each in program["channels"]
                if each["channel"] == channel
            ),
            0,
        )

    def _local(self, now: float) -> datetime:
        zone = "UTC" if self._state.program is None else self._state.program["zone"]
        return datetime.fromtimestamp(now, ZoneInfo(zone))

    def _today_at(self, start: str, now: float) -> float:
        """The instant of a local time of day: the first of two, or the first after a gap."""
        hour, minute = (int(part) for part in start.split(":"))
        here = self._local(now)
        local = here.replace(hour=hour, minute=minute, second=0, microsecond=0, fold=0)
        begins = local.astimezone(UTC)
        # A time that a clock change skips comes out as long after the gap as it lies in it.
        while (begins - MINUTE).astimezone(here.tzinfo).replace(tzinfo=None) > local.replace(
            tzinfo=None
        ):
            begins -= MINUTE
        return begins.timestamp()

    def _alarm(self, text: str) -> None:
        """Alert a person once; again only after a recovery."""
        if text not in self._alarms:
            self._alarms.add(text)
            self._valves.alarm(text)

    # --- memory --------------------------------------------------------------------------------

    def _forget_old(self) -> None:
        """Drop entries that no longer matter, so that the file does not grow."""
        now = self.now() or 0.0
        oldest: date = (self._local(now) - timedelta(days=10)).date()
        self._state.started = {
            opening: at for opening, at in self._state.started.items() if at > now - 10 * 86_400
        }
        self._state.used_s = {
            place: used
            for place, used in self._state.used_s.items()
            if date.fromisoformat(place.partition(":")[2]) >= oldest
        }

    def _read_state(self) -> State:
        try:
            content = json.loads(self._path.read_text("utf-8"))
            state = State(**content)
            if state.program is not None:
                _check(state.program)
            return state
        except (OSError, ValueError, TypeError, KeyError, BadProgram):
            return State()

    def _save(self) -> None:
        """Write the state atomically: a new file replaces the old one."""
        fresh = self._path.with_suffix(".new")
        with fresh.open("w", encoding="utf-8") as file:
            json.dump(asdict(self._state), file)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(self._path)


def _seconds(retry_after: str | None, now: float) -> float | None:
    """Retry-After as seconds, given as a number or as a date."""
    if retry_after is None:
        return None
    if retry_after.strip().isdigit():
        return float(retry_after)
    try:
        return parsedate_to_datetime(retry_after).timestamp() - now
    except (TypeError, ValueError):
        return None


class SystemClock:
    """This machine's clocks."""

    def now(self) -> float:
        """Seconds since 1970."""
        return time.time()

    def monotonic(self) -> float:
        """Seconds that never jump."""
        return time.monotonic()


class PrintedValves:
    """Valves that only print what they would do."""

    def open(self, channel: int, duration_s: int) -> None:
        """Print that a valve would open."""
        print(f"open channel {channel} for {duration_s / 60:.0f} min", flush=True)

    def close(self, channel: int) -> None:
        """Print that a valve would close."""
        print(f"close channel {channel}", flush=True)

    def alarm(self, text: str) -> None:
        """Print the alert."""
        print(f"ALARM: {text}", file=sys.stderr, flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description="Poll a program and print what valves would do.")
    parser.add_argument("controller_id", help="farm.controller")
    parser.add_argument("--url", default="http://127.0.0.1:8040")
    parser.add_argument("--state", type=Path, default=Path("controller-state.json"))
    options = parser.parse_args()
    client = PollingClient(
        options.url,
        os.environ.get("CONTROLLER_KEY", ""),
        options.controller_id,
        state_path=options.state,
        clock=SystemClock(),
        valves=PrintedValves(),
    )
    while True:
        time.sleep(min(client.step(), 1.0))


if __name__ == "__main__":
    main()
