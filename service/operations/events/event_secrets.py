"""The secrets that sign events: derived whenever they are needed, and stored nowhere.

A secret follows from the operator's own (``RILLWRIGHT_EVENT_SECRET``) and a random salt in the
database, by one block of HKDF-Expand (RFC 5869): neither gives it alone. The digest that is kept of
it, as of keys, tells whether the operator's secret is still the one it was made with.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
from datetime import datetime

from service.errors import Conflict
from service.records.events import SigningSecret, Subscription

SHORTEST_OWN_SECRET = 32
SALT_BYTES = 32
_PURPOSE = b"rillwright event signing 1"


def new_secret(own_secret: str) -> tuple[SigningSecret, str]:
    """A new signing secret: what is stored of it, and itself, to be shown once.

    Raises Conflict where the operator has set no secret, as nothing can be signed without one.
    """
    if len(own_secret) < SHORTEST_OWN_SECRET:
        raise Conflict(
            "this service tells nobody of events: its operator has to set RILLWRIGHT_EVENT_SECRET,"
            f" {SHORTEST_OWN_SECRET} characters or more that nobody can guess"
        )
    salt = secrets.token_hex(SALT_BYTES)
    shown = _derived(own_secret, salt)
    return SigningSecret(salt=salt, sha256=_digest(shown)), shown


def signing_secrets(
    subscription: Subscription, own_secret: str, *, now: datetime
) -> tuple[str, ...]:
    """The secrets that sign for a receiver now, the newest first; empty where none can.

    For a while after a rotation the former one signs too. There is none if the operator's secret
    has changed since.
    """
    known = [subscription.secret]
    if subscription.former_secret is not None and subscription.former_until is not None:
        known += [subscription.former_secret] if now < subscription.former_until else []
    derived = [(each, _derived(own_secret, each.salt)) for each in known]
    return tuple(
        shown for each, shown in derived if hmac.compare_digest(_digest(shown), each.sha256)
    )


def _derived(own_secret: str, salt: str) -> str:
    """A secret of 32 bytes as Standard Webhooks writes it."""
    made = hmac.digest(own_secret.encode(), _PURPOSE + bytes.fromhex(salt) + b"\x01", "sha256")
    return f"whsec_{base64.b64encode(made).decode()}"


def _digest(shown: str) -> str:
    return hashlib.sha256(shown.encode()).hexdigest()
