"""Request limits per key and per address, as the ``limits`` package writes them.

On PostgreSQL all processes and hosts that share the database count together, within a second
(``windows.py``). On SQLite each process counts for itself: with several, a caller gets that many
times the limit, which is still enough to stop a runaway device and the guessing of keys.
"""

from __future__ import annotations

import hashlib
import ipaddress
import math
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from limits import RateLimitItem, parse

from service.api.windows import Exchange, Windows
from service.bootstrap import Service
from service.errors import Fault, SettingsInvalid
from service.records.access import RequestTally

LINKS_TO_ONE: Final = "3 per 15 minutes"
"""Sign-in links sent to one mail address, within the lifetime of a link."""
LINKS_PER_ADDRESS: Final = "20 per 15 minutes"
"""Sign-in links that one network address may request; a whole packing house or school may share
it.
"""
_ALLOWED = "a limit such as '600/minute' or '20 per second'"
PRUNE_EVERY_S: Final = 60.0


@dataclass(frozen=True, slots=True, eq=False)
class _Rule:
    name: str
    item: RateLimitItem
    most: int
    window_s: int


@dataclass(frozen=True, slots=True)
class OverLimit:
    """A request over a limit: which limit, and when there is room again."""

    policy: str
    most: int
    """Requests within a window."""
    window_s: int
    seconds: int

    def headers(self) -> dict[str, str]:
        """What an answer says of it, with the fields of draft-ietf-httpapi-ratelimit-headers-11.

        Only refusals have them: to count aloud for every answer would have each poll of a
        controller look up a window that it now only counts.
        """
        return {
            "Retry-After": str(self.seconds),
            "RateLimit-Policy": f'"{self.policy}";q={self.most};w={self.window_s}',
            "RateLimit": f'"{self.policy}";r=0;t={self.seconds}',
        }


@lru_cache(maxsize=16_384)
def _counted_as(rule: _Rule, who: str) -> str:
    """The name of a rule's counter for one caller; cached because it is slow to build."""
    return rule.item.key_for(rule.name, who)


class Limits:
    """The limits of this service; raises SettingsInvalid for one that cannot be read."""

    def __init__(self, service: Service) -> None:
        settings = service.settings
        self._windows = Windows(_exchange(service) if service.shares_counts else None)
        self._per_key = _rule("requests_per_key", settings.requests_per_key)
        self._per_address = _rule("requests_per_address", settings.requests_per_address)
        self._failures = _rule("refused_keys_per_address", settings.refused_keys_per_address)
        self._links_to_one = _rule("links_to_one", LINKS_TO_ONE)
        self._links_per_address = _rule("links_per_address", LINKS_PER_ADDRESS)

    def share(self) -> None:
        """Exchange counts with the other processes now, rather than within a second."""
        self._windows.share()

    def over(self, *, key_id: str, address: str) -> OverLimit | None:
        """Count a request; the limit that it is over, or None."""
        if not self._count(self._per_key, key_id):
            return self._over(self._per_key, key_id)
        if not self._count(self._per_address, address):
            return self._over(self._per_address, address)
        return None

    def over_refused(self, *, address: str) -> OverLimit | None:
        """Count a key that was refused; as :meth:`over`."""
        if not self._count(self._failures, address):
            return self._over(self._failures, address)
        return None

    def link_wait_s(self, *, mail_address: str, address: str) -> int | None:
        """Count a link that ``address`` asks for to a mail address; the seconds to wait."""
        to_one = hashlib.sha256(mail_address.lower().encode()).hexdigest()
        for rule, who in ((self._links_per_address, address), (self._links_to_one, to_one)):
            if not self._count(rule, who):
                return self._seconds_left(rule, who)
        return None

    def _count(self, rule: _Rule, who: str) -> bool:
        """Count one more; False if that is over the limit."""
        counted = self._windows.count(
            _counted_as(rule, who), window_s=rule.window_s, most=rule.most
        )
        return counted <= rule.most

    def _over(self, rule: _Rule, who: str) -> OverLimit:
        return OverLimit(
            policy=rule.name,
            most=rule.most,
            window_s=rule.window_s,
            seconds=self._seconds_left(rule, who),
        )

    def _seconds_left(self, rule: _Rule, who: str) -> int:
        return max(1, math.ceil(self._windows.seconds_left(_counted_as(rule, who))))


def _exchange(service: Service) -> Exchange:
    """Adds counts to those in the database; deletes those that are over now and then."""
    prune_at = time.monotonic() + PRUNE_EVERY_S

    def exchange(counts: Mapping[str, RequestTally]) -> Mapping[str, RequestTally]:
        nonlocal prune_at
        with service.unit_of_work(write=True, farm_keys=()) as unit:
            now = unit.runs.server_time() or service.clock.now()
            totals = unit.tallies.add(counts, now=now)
            if time.monotonic() >= prune_at:
                prune_at = time.monotonic() + PRUNE_EVERY_S
                unit.tallies.prune(now=now)
        return totals

    return exchange


def address_of(client: Sequence[object] | None) -> str:
    """The address that requests are counted under; for IPv6 the /64 network, one household."""
    return "unknown" if client is None else _household(str(client[0]))


@lru_cache(maxsize=4096)
def _household(host: str) -> str:
    try:
        address = ipaddress.ip_address(host.partition("%")[0])
    except ValueError:
        return host[:64]
    if isinstance(address, ipaddress.IPv6Address):
        if address.ipv4_mapped is not None:
            return str(address.ipv4_mapped)
        return str(ipaddress.ip_network((address, 64), strict=False))
    return str(address)


def _rule(name: str, text: str) -> _Rule:
    try:
        item = parse(text)
    except ValueError as error:
        raise SettingsInvalid(
            "the settings cannot be used",
            [Fault(f"RILLWRIGHT_{name.upper()}", repr(text), _ALLOWED)],
        ) from error
    return _Rule(name, item, item.amount, item.get_expiry())
