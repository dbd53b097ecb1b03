"""Receives a farm's events, verifies them, and prints each once.

    pip install standardwebhooks
    WEBHOOK_SECRET=whsec_... python event_receiver.py 8050

The secret is shown when the subscription is made. Put a TLS proxy in front: events go to https
addresses only, unless the operator of the service lists yours. Real receivers keep the ids that
they have seen in their database, and put the event into a queue before they answer.
"""

from __future__ import annotations

import os
import sys
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from standardwebhooks.webhooks import Webhook, WebhookVerificationError

LARGEST_BODY_BYTES = 64_000


class EventReceiver(ThreadingHTTPServer):
    """A server that takes events signed with a secret."""

    def __init__(self, port: int, secret: str) -> None:
        super().__init__(("127.0.0.1", port), _Handler)
        self.webhook = Webhook(secret)
        self.events: dict[str, Any] = {}
        """Events by id: one that comes again, as any may, is taken and not counted twice."""

    def receive(self, headers: dict[str, str], body: bytes) -> int:
        """The status that answers a request: 204 taken, 401 not signed by the service."""
        try:
            # Over the bytes as they came: parsed and written again, they would differ.
            event = self.webhook.verify(body, headers)
        except (WebhookVerificationError, ValueError):
            return 401
        if event["id"] not in self.events:
            self.events[event["id"]] = event
            print(event["time"], event["type"], event["subject"], event["data"], flush=True)
        return 204


class _Handler(BaseHTTPRequestHandler):
    server: EventReceiver
    protocol_version = "HTTP/1.1"

    def do_POST(self) -> None:
        """Answer a request."""
        length = int(self.headers.get("content-length") or 0)
        if length > LARGEST_BODY_BYTES:
            self.send_error(413)
            return
        status = self.server.receive(dict(self.headers.items()), self.rfile.read(length))
        self.send_response(status)
        self.send_header("content-length", "0")
        self.end_headers()

    def log_message(self, *_args: object) -> None:
        """Requests are not logged; events are printed."""


if __name__ == "__main__":
    with EventReceiver(int(sys.argv[1]), os.environ["WEBHOOK_SECRET"]) as server:
        server.serve_forever()
