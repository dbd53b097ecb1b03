"""What the operations need from outside where it varies: a clock, weather services, a mail relay.

The database does not vary: its stores (:mod:`service.database.session`) are used as they are.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Protocol

from service.agronomy.records import Ints, WallWindow
from service.database.session import UnitOfWork
from service.records.farms import FarmBundle, SiteDefinition
from service.records.letters import AnyLetter, MailStamp
from service.records.mail import Person
from service.records.weather import (
    Attribution,
    BreakerState,
    SourceAnswer,
    SourceProblem,
    StoredPayload,
)


class Clock(Protocol):
    """Tells the time; the only source of "now"."""

    def now(self) -> datetime:
        """The present instant, aware, UTC."""
        ...


@dataclass(frozen=True, slots=True)
class FarmDefaults:
    """What counts in a farm's document where nothing is said."""

    issue_wall_min: int
    """Time of day by which plans are issued, minutes since 00:00."""
    windows: tuple[WallWindow, ...]
    """When a supply may run."""
    block_numbers: Mapping[str, float]
    """Numbers of a block that have one default, by their name in the block's definition."""


class FarmFormat(Protocol):
    """A farm as people and programs write it, and back."""

    def parse(self, document: Mapping[str, object], *, below: str = "") -> FarmBundle:
        """The farm that a JSON document describes; raises FarmFileInvalid.

        Faults below the pointer ``below`` are told relative to it.
        """
        ...

    def schema(self, parts: Collection[str], *, refs: str) -> Mapping[str, Any]:
        """The JSON Schema of documents with these parts: ``properties``, and ``definitions`` that
        they refer to by the prefix ``refs``.
        """
        ...

    def defaults(self) -> FarmDefaults:
        """What counts where a document says nothing."""
        ...

    def document(self, bundle: FarmBundle) -> dict[str, object]:
        """The bundle as a JSON document; parsing it gives the same bundle."""
        ...

    def text(self, bundle: FarmBundle) -> str:
        """The bundle as the text of a farm file."""
        ...


class WeatherSource(Protocol):
    """A weather service: asked for sites and days, answers in this project's units and days."""

    name: str
    attribution: Attribution

    async def fetch(
        self, sites: Sequence[SiteDefinition], *, first_day: date, last_day: date, now: datetime
    ) -> SourceAnswer:
        """Weather of local civil days at these sites; ``site_keys`` of the rows are positions in
        ``sites``.

        Never raises for what a provider does wrong: that ends as problems in the answer, and as
        days or fields that are missing. Never gives a sentinel as a value.
        """
        ...


class RefreshWeather(Protocol):
    """Asks one weather service for news of some sites and stores what it says."""

    def __call__(self, site_keys: Ints, *, now: datetime) -> Sequence[SourceProblem]:
        """What could not be had; a problem without a site means that nothing could.

        The same call again stores nothing twice. The caller holds no write transaction meanwhile.
        """
        ...


class BreakerStore(Protocol):
    """Breaker states shared by all processes."""

    def read(self, key: str) -> BreakerState:
        """The state; a closed one where nothing is stored."""
        ...

    def write(self, state: BreakerState) -> None:
        """Store a state under its key."""
        ...

    def list_states(self) -> list[BreakerState]:
        """All that are stored, by key."""
        ...


class PayloadStore(Protocol):
    """Raw answers of weather services."""

    def find(self, url_digest: str) -> StoredPayload | None:
        """The newest answer to a request."""
        ...

    def save(self, payload: StoredPayload) -> None:
        """Keep an answer; the same body again for the same request only renews its times."""
        ...

    def prune(self, *, before: datetime) -> int:
        """Delete what was fetched before; returns how many."""
        ...


class AfterPublish(Protocol):
    """What else is to be done where new plans are published, in the same transaction."""

    def __call__(
        self, unit: UnitOfWork, farm_keys: Ints, *, day: date, issued_at: datetime
    ) -> object:
        """Do it for some farms and a day; the same plans again must do nothing more."""
        ...


class ComposeMail(Protocol):
    """Writes a letter as the bytes of one mail to one person."""

    def __call__(self, letter: AnyLetter, reader: Person, stamp: MailStamp) -> bytes:
        """The message, ready to be sent; the same letter and stamp say the same."""
        ...


class MailSession(Protocol):
    """An open connection to the relay."""

    def send(self, message: bytes, *, recipient: str) -> str:
        """Hand over one mail for one recipient; returns the relay's reply.

        Raises MailRefused where the relay says no, MailUnavailable where it cannot be talked to.
        """
        ...

    def close(self) -> None:
        """End the connection; never raises."""
        ...


class MailTransport(Protocol):
    """The way to the relay."""

    def __call__(self) -> MailSession:
        """Connect; raises MailUnavailable."""
        ...
