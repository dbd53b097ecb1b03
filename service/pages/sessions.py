"""Sessions of the pages: a signed cookie that expires by itself.

The cookie names a key, never holds it, or the mail address of somebody who came by a link; every
page checks again that the key or person is still valid, so that removing one takes effect at once.
It is signed with a secret of the operator's choosing; without one the process makes its own, and
everybody signs in again after a restart. A form carries a token that is bound to the reader's
cookie, so that no other site can send it.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

LASTS: Final = timedelta(days=14)
LONGEST_COOKIE: Final = 500
"""A mail address of 254 characters, in base64, fits in."""
_SESSION: Final = b"session:"
_FORM: Final = b"form:"
_BY_MAIL: Final = "@"
"""Before a mail address; no key's name begins so."""


@dataclass(frozen=True, slots=True)
class Session:
    """What a session cookie says."""

    key_id: str
    """Empty for somebody who came by a link."""
    mail_address: str
    ends_at: datetime


class Seals:
    """Signs and checks the cookies and form tokens of one service."""

    def __init__(self, secret: str) -> None:
        self._secret = secret.encode() or secrets.token_bytes(32)

    def session_cookie(self, key_id: str, *, now: datetime) -> str:
        """The cookie of somebody who just signed in with a key."""
        return self._cookie(key_id, now)

    def mail_session_cookie(self, mail_address: str, *, now: datetime) -> str:
        """The cookie of somebody who just signed in with a link."""
        named = base64.urlsafe_b64encode(mail_address.encode()).decode()
        return self._cookie(f"{_BY_MAIL}{named}", now)

    def _cookie(self, who: str, now: datetime) -> str:
        ends = int((now + LASTS).timestamp())
        content = f"{who}.{ends}.{secrets.token_urlsafe(12)}"
        return f"{content}.{self._sign(_SESSION, content)}"

    def read_session(self, cookie: str, *, now: datetime) -> Session | None:
        """What a cookie says, None unless this service signed it and its time is not over."""
        content, _, signature = cookie[:LONGEST_COOKIE].rpartition(".")
        if not hmac.compare_digest(
            self._sign(_SESSION, content).encode(), signature.encode("utf-8", "replace")
        ):
            return None
        who, ends, _ = content.split(".", 2)
        ends_at = datetime.fromtimestamp(int(ends), UTC)
        if now >= ends_at:
            return None
        if who.startswith(_BY_MAIL):
            mail_address = base64.urlsafe_b64decode(who.removeprefix(_BY_MAIL)).decode()
            return Session("", mail_address, ends_at)
        return Session(who, "", ends_at)

    def form_token(self, cookie: str) -> str:
        """The token of forms shown to the holder of a cookie.

        Every page has another, so that the length of the compressed page, which onlookers see,
        does not help to guess it.
        """
        salt = secrets.token_urlsafe(12)
        return f"{salt}.{self._sign(_FORM, f'{salt}.{cookie}')}"

    def accepts_form(self, token: str, cookie: str) -> bool:
        """Whether a form was shown to the holder of the cookie that it came back with."""
        salt, _, signature = token.partition(".")
        return bool(cookie) and hmac.compare_digest(
            self._sign(_FORM, f"{salt}.{cookie}").encode(), signature.encode("utf-8", "replace")
        )

    def _sign(self, purpose: bytes, content: str) -> str:
        return hmac.new(
            self._secret, purpose + content.encode("utf-8", "replace"), hashlib.sha256
        ).hexdigest()


def new_form_cookie() -> str:
    """A random cookie for a reader who is not signed in."""
    return secrets.token_urlsafe(18)
