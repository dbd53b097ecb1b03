"""Breakers and payloads in memory, opened the way a unit-of-work factory opens them."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime

from service.records.weather import BreakerState, StoredPayload


class BreakersInMemory:
    def __init__(self) -> None:
        self.states: dict[str, BreakerState] = {}

    def read(self, key: str) -> BreakerState:
        return self.states.get(key, BreakerState(key, 0, None, None))

    def write(self, state: BreakerState) -> None:
        self.states[state.key] = state

    def list_states(self) -> list[BreakerState]:
        return [self.states[key] for key in sorted(self.states)]


class PayloadsInMemory:
    def __init__(self) -> None:
        self.kept: list[StoredPayload] = []

    def find(self, url_digest: str) -> StoredPayload | None:
        found = [each for each in self.kept if each.url_digest == url_digest]
        return max(found, key=lambda each: each.fetched_at, default=None)

    def save(self, payload: StoredPayload) -> None:
        newest = self.find(payload.url_digest)
        if newest is not None and newest.body_digest == payload.body_digest:
            self.kept.remove(newest)
            payload = replace(payload, body=newest.body)
        self.kept.append(payload)

    def prune(self, *, before: datetime) -> int:
        stale = [each for each in self.kept if each.fetched_at < before]
        self.kept = [each for each in self.kept if each.fetched_at >= before]
        return len(stale)


@dataclass
class StoresInMemory:
    """Both stores; the object itself opens them."""

    breakers: BreakersInMemory = field(default_factory=BreakersInMemory)
    payloads: PayloadsInMemory = field(default_factory=PayloadsInMemory)
    locked_count: int = 0
    """How often they were opened with the lock of everything."""

    @contextmanager
    def open(
        self, *, write: bool, farm_keys: Collection[int] | None = None
    ) -> Iterator[StoresInMemory]:
        if write and farm_keys is None:
            self.locked_count += 1
        yield self
