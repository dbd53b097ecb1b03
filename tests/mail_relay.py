"""A real SMTP server on loopback that can be told to refuse, put off or hang up."""

from __future__ import annotations

import socket
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

from aiosmtpd.controller import Controller

from service.delivery.smtp_relay import RelayAddress, SmtpRelay
from tests.patience import PATIENCE_S

ACCEPT = "250 OK"


class Relay:
    """Takes mail; ``rcpt_replies`` and ``data_replies`` are used up in order, by recipient."""

    def __init__(self) -> None:
        self.accepted: list[tuple[str, bytes]] = []
        self.rcpt_replies: dict[str, list[str]] = {}
        self.data_replies: dict[str, list[str]] = {}
        self.hang_ups_after_data: Counter[str] = Counter()
        """By recipient: how often the mail is taken and the connection then lost."""
        self.mail_reply = ACCEPT
        self.connection_count = 0
        self.port = 0

    async def handle_EHLO(  # noqa: N802 - aiosmtpd calls its hooks so
        self, server: Any, session: Any, envelope: Any, hostname: str, responses: list[str]
    ) -> list[str]:
        self.connection_count += 1
        session.host_name = hostname
        return responses

    async def handle_MAIL(  # noqa: N802 - aiosmtpd calls its hooks so
        self, server: Any, session: Any, envelope: Any, address: str, options: list[str]
    ) -> str:
        if self.mail_reply == ACCEPT:
            envelope.mail_from = address
        return self.mail_reply

    async def handle_RCPT(  # noqa: N802 - aiosmtpd calls its hooks so
        self, server: Any, session: Any, envelope: Any, address: str, options: list[str]
    ) -> str:
        reply = self._next(self.rcpt_replies, address)
        if reply == ACCEPT:
            envelope.rcpt_tos.append(address)
        return reply

    async def handle_DATA(  # noqa: N802 - aiosmtpd calls its hooks so
        self, server: Any, session: Any, envelope: Any
    ) -> str:
        (recipient,) = envelope.rcpt_tos
        reply = self._next(self.data_replies, recipient)
        if reply == ACCEPT:
            self.accepted.append((recipient, envelope.original_content))
        if self.hang_ups_after_data[recipient] > 0:
            self.hang_ups_after_data[recipient] -= 1
            server.transport.abort()
        return reply

    def _next(self, replies: dict[str, list[str]], recipient: str) -> str:
        waiting = replies.get(recipient)
        return waiting.pop(0) if waiting else ACCEPT

    @property
    def recipients(self) -> list[str]:
        """Who got mail, in order."""
        return [recipient for recipient, _ in self.accepted]

    @property
    def messages(self) -> list[EmailMessage]:
        """What came, parsed back."""
        return [message_from_bytes(content, policy=policy.default) for _, content in self.accepted]

    def connect(self) -> SmtpRelay:
        """The way to this relay."""
        return SmtpRelay(
            RelayAddress(
                host="127.0.0.1",
                port=self.port,
                security="none",
                user="",
                password="",
                sender_address="plans@mail.example.org",
                own_name="mail.example.org",
            ),
            timeout_s=PATIENCE_S,
        )


@contextmanager
def running_relay() -> Iterator[Relay]:
    """A relay that answers while the block runs."""
    relay = Relay()
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        relay.port = probe.getsockname()[1]
    controller = Controller(relay, hostname="127.0.0.1", port=relay.port, ready_timeout=PATIENCE_S)
    controller.start()
    try:
        yield relay
    finally:
        controller.stop()
