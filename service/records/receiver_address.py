"""Where events may be sent to: public addresses by https, and what the operator lists besides.

A farm names its receivers, and the service runs where more can be reached than from the farm: other
services of the machine, the operator's network, the provider's metadata. So a name is only as good
as the address that it stands for when the connection is made (``service/delivery/webhook.py``).
"""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlsplit

from service.errors import Fault, InputInvalid

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network

LONGEST_URL = 500
PORT = 443
_PUBLIC_IPV6 = ipaddress.IPv6Network("2000::/3")  # global unicast, RFC 4291
_SIX_TO_FOUR = ipaddress.IPv6Network("2002::/16")  # carries an IPv4 address, RFC 3056
_RELAY = ipaddress.IPv4Network("192.88.99.0/24")  # the relays of 6to4, RFC 7526
_HOST = re.compile(r"[A-Za-z0-9]([A-Za-z0-9.-]{0,251}[A-Za-z0-9])?\.?")


@dataclass(frozen=True, slots=True)
class ReceiverUrl:
    """An address that events are sent to, taken apart."""

    host: str
    port: int
    is_plain: bool
    """http, and not https."""
    target: str
    """Path and query."""


def is_public(address: Address) -> bool:
    """Whether an address is that of one host on the public internet.

    >>> [is_public(ipaddress.ip_address(each)) for each in ("8.8.8.8", "10.0.0.1", "::1")]
    [True, False, False]
    """
    if isinstance(address, ipaddress.IPv6Address):
        if address.ipv4_mapped is not None:
            return is_public(address.ipv4_mapped)
        return address in _PUBLIC_IPV6 and address not in _SIX_TO_FOUR and address.is_global
    is_special = address.is_multicast or address.is_reserved or address in _RELAY
    return address.is_global and not is_special


def is_listed(address: Address, networks: Sequence[Network]) -> bool:
    """Whether the operator lists an address."""
    plain = address.ipv4_mapped if isinstance(address, ipaddress.IPv6Address) else None
    return any((plain or address) in network for network in networks)


def may_receive(
    address: Address, *, port: int, is_plain: bool, networks: Sequence[Network]
) -> bool:
    """Whether events may go to a port of an address; ``networks`` are those that are listed."""
    if is_listed(address, networks):
        return True
    return is_public(address) and port == PORT and not is_plain


def checked_url(text: str, networks: Sequence[Network]) -> ReceiverUrl:
    """A receiver's address; raises InputInvalid for one that nothing can be sent to.

    What a name stands for is not looked up here.
    """
    found = _taken_apart(text)
    reason = "an address of at most 500 characters such as https://example.org/events"
    if found is not None:
        reason = _why_not(found, networks)
    if found is None or reason:
        raise InputInvalid("events cannot be sent there", [Fault("url", text[:80], reason)])
    return found


def _taken_apart(text: str) -> ReceiverUrl | None:
    if len(text) > LONGEST_URL or not text.isascii() or not text.isprintable() or " " in text:
        return None
    try:
        parts = urlsplit(text)
        port = parts.port
    except ValueError:
        return None
    host = parts.hostname or ""
    if parts.scheme not in ("http", "https") or not host or port == 0 or "#" in text:
        return None
    if "@" in parts.netloc or "\\" in text or (":" not in host and not _HOST.fullmatch(host)):
        return None
    is_plain = parts.scheme == "http"
    target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return ReceiverUrl(host, port or (80 if is_plain else PORT), is_plain, target)


def _why_not(url: ReceiverUrl, networks: Sequence[Network]) -> str:
    """What would have been allowed; empty if this address is, as far as it can be seen."""
    try:
        address = ipaddress.ip_address(url.host)
    except ValueError:
        if networks:
            return ""  # only the look-up tells whether the name is listed
        return "https, at port 443" if url.is_plain or url.port != PORT else ""
    if may_receive(address, port=url.port, is_plain=url.is_plain, networks=networks):
        return ""
    return "a public address by https at port 443, or one that the operator lists"
