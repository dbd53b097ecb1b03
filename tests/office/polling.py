"""Controllers that poll through the proxy, each with its key, checking certificate and program."""

from __future__ import annotations

import http.client
import json
import ssl
import threading
import time
import zlib
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Self

POLLS_A_SECOND = 5.0
"""Of each controller; a key may ask 600 times a minute."""
TIMEOUT_S = 30.0


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back."""

    status: int
    headers: dict[str, str]
    body: bytes


class Door:
    """A connection to the office through TLS, opened again where the other side has closed it."""

    def __init__(self, site: str, authority: Path) -> None:
        host, _, port = site.removeprefix("https://").partition(":")
        # Nobody else's authorities are believed, and the certificate must be for the name.
        self._trust = ssl.create_default_context(cafile=str(authority))
        self._line = http.client.HTTPSConnection(
            host, int(port), timeout=TIMEOUT_S, context=self._trust
        )

    def get(self, path: str, **headers: str) -> Answer:
        """Ask once; raises OSError or HTTPException if no whole answer comes."""
        try:
            self._line.request(
                "GET",
                path,
                headers={name.replace("_", "-"): text for name, text in headers.items()},
            )
            answer = self._line.getresponse()
            body = answer.read()
        except (OSError, http.client.HTTPException):
            self._line.close()
            raise
        named = {name.lower(): text for name, text in answer.getheaders()}
        if answer.will_close:
            self._line.close()
        return Answer(answer.status, named, body)

    def close(self) -> None:
        """Hang up."""
        self._line.close()

    def __enter__(self) -> Self:
        """Nothing is opened before the first question."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        """Hang up."""
        self.close()


def is_whole(body: bytes) -> bool:
    """Whether the checksum of a program is right, as deploy/controller-contract.md says."""
    text = body[body.find(b'"program":') + len(b'"program":') : -1]
    return bool(json.loads(body)["crc32"] == f"{zlib.crc32(text):08x}")


@dataclass(slots=True)
class Tally:
    """What controllers saw while something was done to the office."""

    statuses: Counter[int] = field(default_factory=Counter)
    failures: list[str] = field(default_factory=list)
    slowest_s: float = 0.0

    @property
    def poll_count(self) -> int:
        """Polls that were answered or not."""
        return self.statuses.total() + len(self.failures)

    @property
    def bad_count(self) -> int:
        """Polls without a program: no answer, or none of 200 and 304."""
        good = self.statuses[200] + self.statuses[304]
        return self.poll_count - good

    def __str__(self) -> str:
        """In a line."""
        seen = ", ".join(f"{count} x {status}" for status, count in sorted(self.statuses.items()))
        lost = f", {len(self.failures)} without an answer" if self.failures else ""
        first = f" ({self.failures[0]})" if self.failures else ""
        return f"{self.poll_count} polls: {seen}{lost}{first}; slowest {self.slowest_s:.2f} s"


@contextmanager
def polling(site: str, authority: Path, keys: Sequence[tuple[str, str]]) -> Iterator[Tally]:
    """Controllers (id and key) poll while the block runs; the tally is whole when it ends."""
    tally, stopping, lock = Tally(), threading.Event(), threading.Lock()

    def poll(controller_id: str, key: str) -> None:
        etag, door = "", Door(site, authority)
        while not stopping.wait(1.0 / POLLS_A_SECOND):
            asked_at = time.monotonic()
            failure, answer = "", None
            try:
                answer = door.get(
                    f"/v1/controllers/{controller_id}/program",
                    Authorization=f"Bearer {key}",
                    If_None_Match=etag,
                )
                if answer.status == 200:
                    etag = answer.headers["etag"]
                    if not is_whole(answer.body):
                        failure = "a program with a wrong checksum"
            except (OSError, http.client.HTTPException, ValueError) as error:
                failure = f"{type(error).__name__}: {error}"
            with lock:
                tally.slowest_s = max(tally.slowest_s, time.monotonic() - asked_at)
                if failure or answer is None:
                    tally.failures.append(failure)
                else:
                    tally.statuses[answer.status] += 1
        door.close()

    threads = [threading.Thread(target=poll, args=each, daemon=True) for each in keys]
    for thread in threads:
        thread.start()
    try:
        yield tally
    finally:
        stopping.set()
        for thread in threads:
            thread.join(TIMEOUT_S + 5.0)
