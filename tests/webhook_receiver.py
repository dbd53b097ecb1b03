"""A receiver of events on this machine, which verifies as the library of Standard Webhooks does."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import orjson


@dataclass(frozen=True, slots=True)
class Received:
    """One request as it came in."""

    path: str
    headers: Mapping[str, str]
    body: bytes

    @property
    def event(self) -> Any:
        """The event."""
        return orjson.loads(self.body)

    @property
    def event_id(self) -> str:
        """Its id, by the header."""
        return self.headers["webhook-id"]


@dataclass(frozen=True, slots=True)
class Answer:
    """What the receiver says."""

    status: int = 204
    headers: Mapping[str, str] = field(default_factory=dict)
    body: bytes = b""


@dataclass(slots=True)
class Receiver:
    """What has come in, and how it is answered."""

    port: int = 0
    requests: list[Received] = field(default_factory=list)
    answer: Callable[[Received], Answer] = lambda _: Answer()

    @property
    def url(self) -> str:
        """Where it listens."""
        return f"http://127.0.0.1:{self.port}/events"

    @property
    def event_ids(self) -> list[str]:
        """Ids of the events in the order in which they came."""
        return [each.event_id for each in self.requests]


class _Server(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, *_args: object) -> None:
        """A sender that dies while it is answered is what some tests are about."""


@contextmanager
def running_receiver() -> Iterator[Receiver]:
    """A receiver on a free port of loopback."""
    receiver = Receiver()

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["content-length"]))
            headers = {name.lower(): value for name, value in self.headers.items()}
            received = Received(self.path, headers, body)
            receiver.requests.append(received)
            answer = receiver.answer(received)
            self.send_response(answer.status)
            for name, value in answer.headers.items():
                self.send_header(name, value)
            self.send_header("content-length", str(len(answer.body)))
            self.end_headers()
            self.wfile.write(answer.body)

        def log_message(self, *_args: object) -> None:
            """Say nothing."""

    server = _Server(("127.0.0.1", 0), Handler)
    receiver.port = server.server_port
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield receiver
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
