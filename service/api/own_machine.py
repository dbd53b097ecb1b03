"""Whether a request comes from a program or a browser on this machine and was meant for it.

While no key is stored, the service is open to this machine. Three things can make a request from
elsewhere look local: a relay on this machine that passes it on, a name of somebody else's that was
made to point here (the browser of whoever sits at the machine then sends it, with that name as
``Host``), and a server that listens for others as well. So the peer's address and the ``Host`` must
both be of this machine, and no header may be there that relays add. A relay that adds none of them
and writes ``localhost`` into ``Host`` cannot be recognized; the first key closes that door too.
"""

from __future__ import annotations

import ipaddress
from functools import lru_cache
from typing import Final

from starlette.types import Scope

_ADDED_BY_RELAYS: Final = frozenset(
    {b"forwarded", b"via", b"x-real-ip", b"true-client-ip", b"x-client-ip", b"x-original-host"}
)
_PREFIXES_OF_RELAYS: Final = (b"x-forwarded", b"cf-", b"x-envoy", b"x-original-forwarded")


def is_loopback(address: str) -> bool:
    """Whether only this machine can reach an address, or an address can only be this machine's.

    >>> is_loopback("127.0.0.1"), is_loopback("::1"), is_loopback("localhost"), is_loopback("::")
    (True, True, True, False)
    """
    try:
        return ipaddress.ip_address(address.partition("%")[0]).is_loopback
    except ValueError:
        return address.lower() == "localhost"


def is_from_this_machine(scope: Scope) -> bool:
    """Whether a request's peer and the host it was sent to are both this machine, without a relay
    between them as far as its headers tell.
    """
    client = scope.get("client")
    if client is None or not _is_own_peer(str(client[0])):
        return False
    hosts = 0
    for name, value in scope["headers"]:
        if name == b"host":
            hosts += 1
            if hosts > 1 or not _is_own_host(value):
                return False
        elif name in _ADDED_BY_RELAYS or name.startswith(_PREFIXES_OF_RELAYS):
            return False
    return hosts == 1


@lru_cache(maxsize=64)
def _is_own_peer(address: str) -> bool:
    return is_loopback(address)


@lru_cache(maxsize=64)
def _is_own_host(host: bytes) -> bool:
    """Whether a Host header names this machine, with or without a port.

    A name is compared, never resolved: that it points here is what an attacker can arrange.
    """
    text = host.decode("latin-1").strip().lower()
    if text.startswith("["):
        name, closing, port = text[1:].partition("]")
        port = port.removeprefix(":") if closing else "?"
    else:
        name, _, port = text.partition(":")
    return is_loopback(name) and (not port or port.isdecimal())
