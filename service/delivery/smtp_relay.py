"""The way to the operator's mail relay: SMTP, one connection for many mails.

The standard library's client, since mails are sent one after the other by a thread of their own. A
refusal of one mail is MailRefused; a refusal of this service (greeting, login, sender) or a lost
connection is MailUnavailable, so that a wrong password does not look like five hundred wrong
addresses.
"""

from __future__ import annotations

import smtplib
import ssl
from dataclasses import dataclass
from typing import Literal

from service.errors import MailRefused, MailUnavailable

TIMEOUT_S = 20.0
Security = Literal["starttls", "tls", "none"]
_CLOSING = 421
_SENDER_REFUSED = {530, 534, 535, 538}
"""Replies that ask for a login, whatever they answer to."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RelayAddress:
    """Where the relay is and how it knows this service."""

    host: str
    port: int
    security: Security
    user: str
    password: str
    sender_address: str
    """Envelope sender: where bounces go."""
    own_name: str
    """Name that this service greets with."""

    def __repr__(self) -> str:
        return f"RelayAddress({self.host}:{self.port}, {self.security})"


class SmtpSession:
    """A MailSession on an open SMTP connection."""

    def __init__(self, client: smtplib.SMTP, sender_address: str) -> None:
        self._client = client
        self._sender_address = sender_address

    def send(self, message: bytes, *, recipient: str) -> str:
        """Hand over one mail for one recipient; the relay's reply to its end."""
        try:
            self._expect(self._client.mail(self._sender_address), of_sender=True)
            self._expect(self._client.rcpt(recipient))
            code, reply = self._client.data(message)
        except smtplib.SMTPDataError as error:
            self._refuse(error.smtp_code, error.smtp_error)
        except (smtplib.SMTPException, OSError) as error:
            raise MailUnavailable(f"{type(error).__name__}: {error}") from error
        self._expect((code, reply))
        return _reply_text(code, reply)

    def _expect(self, answer: tuple[int, bytes], *, of_sender: bool = False) -> None:
        code, reply = answer
        if not 200 <= code < 300:
            self._refuse(code, reply, of_sender=of_sender)

    def _refuse(self, code: int, reply: bytes | str, *, of_sender: bool = False) -> None:
        """Raise the error for a refusal, leaving the connection ready for the next mail."""
        reply_text = _reply_text(code, reply)
        if code == _CLOSING or of_sender or code in _SENDER_REFUSED or code < 400:
            raise MailUnavailable(reply_text)
        try:
            self._client.rset()
        except (smtplib.SMTPException, OSError) as error:
            raise MailUnavailable(f"{reply_text}; then {type(error).__name__}") from error
        raise MailRefused(code, reply_text.partition(" ")[2])

    def close(self) -> None:
        """Quit politely, or drop the connection if the relay is gone."""
        try:
            self._client.quit()
        except (smtplib.SMTPException, OSError):
            self._client.close()


class SmtpRelay:
    """A MailTransport to one relay."""

    def __init__(self, address: RelayAddress, *, timeout_s: float = TIMEOUT_S) -> None:
        self._address = address
        self._timeout_s = timeout_s

    def __call__(self) -> SmtpSession:
        """Connect, greet, encrypt, log in; raises MailUnavailable."""
        address = self._address
        client: smtplib.SMTP | None = None
        try:
            if address.security == "tls":
                client = smtplib.SMTP_SSL(
                    address.host,
                    address.port,
                    local_hostname=address.own_name,
                    timeout=self._timeout_s,
                    context=ssl.create_default_context(),
                )
            else:
                client = smtplib.SMTP(
                    address.host,
                    address.port,
                    local_hostname=address.own_name,
                    timeout=self._timeout_s,
                )
                if address.security == "starttls":
                    client.starttls(context=ssl.create_default_context())
            client.ehlo_or_helo_if_needed()
            if address.user:
                client.login(address.user, address.password)
        except (smtplib.SMTPException, OSError) as error:
            if client is not None:
                client.close()
            raise MailUnavailable(
                f"relay {address.host}:{address.port}: {type(error).__name__}: {_safe_reply(error)}"
            ) from error
        return SmtpSession(client, address.sender_address)


def _safe_reply(error: Exception) -> str:
    """The relay's reply without what was sent to it, so that a failed login reveals no password."""
    if isinstance(error, smtplib.SMTPResponseException):
        return _reply_text(error.smtp_code, error.smtp_error)
    return str(error)


def _reply_text(code: int, reply: bytes | str) -> str:
    text = reply.decode("utf-8", "replace") if isinstance(reply, bytes) else reply
    return f"{code} {' '.join(text.split())}"
