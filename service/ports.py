"""Interfaces to what varies outside the operations: a clock, weather services, a mail relay.

The database does not vary: its stores (:mod:`service.database.session`) are used as they are.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Protocol

from service.agronomy.records import Ints, WallWindow
from service.database.session import UnitOfWork
from service.records.comparison import Against
from service.records.events import Attempt, Parcel
from service.records.farms import FarmBundle, SiteDefinition
from service.records.feedback import RunFile
from service.records.forecast_members import Allowance, MembersAnswer
from service.records.letters import AnyLetter, MailStamp
from service.records.mail import Person
from service.records.studies import Part, Result, Shared, Study, Tick
from service.records.water_use import WaterLimit
from service.records.weather import (
    Attribution,
    BreakerState,
    SourceAnswer,
    SourceProblem,
    StoredPayload,
)
from service.records.what_if import Change, ChangeTexts


class Clock(Protocol):
    """Tells the time; the only source of "now"."""

    def now(self) -> datetime:
        """The present instant, aware, UTC."""
        ...


@dataclass(frozen=True, slots=True)
class FarmDefaults:
    """Defaults for what a farm's document leaves out."""

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

        Faults below the pointer ``below`` are reported relative to it.
        """
        ...

    def schema(self, parts: Collection[str], *, refs: str) -> Mapping[str, Any]:
        """The JSON Schema of documents with these parts: ``properties``, and ``definitions`` that
        they refer to by the prefix ``refs``.
        """
        ...

    def defaults(self) -> FarmDefaults:
        """Defaults for what a document leaves out."""
        ...

    def document(self, bundle: FarmBundle) -> dict[str, object]:
        """The bundle as a JSON document; parsing it gives the same bundle."""
        ...

    def text(self, bundle: FarmBundle) -> str:
        """The bundle as the text of a farm file."""
        ...

    def against(
        self, rule: str, *, days_a_week: int, water_price: str | None, nitrogen: str | None
    ) -> Against:
        """A rule of thumb to compare with, and what water and nitrogen count; InputInvalid."""
        ...

    def water_limit(self, text: str) -> WaterLimit:
        """A permit or budget: a volume, or a depth over the ground; InputInvalid."""
        ...

    def change(self, texts: ChangeTexts) -> Change:
        """What is taken to be otherwise, from the quantities of a question; InputInvalid."""
        ...

    def runs(self, content: bytes, *, name: str) -> RunFile:
        """The runs of a file, which messages call ``name``; InputInvalid with every fault."""
        ...


class WeatherSource(Protocol):
    """A weather service: given sites and days, it answers in this project's units and days."""

    name: str
    attribution: Attribution

    async def fetch(
        self, sites: Sequence[SiteDefinition], *, first_day: date, last_day: date, now: datetime
    ) -> SourceAnswer:
        """Weather of local civil days at these sites; ``site_keys`` of the rows are positions in
        ``sites``.

        Never raises for a provider's mistakes: they become problems in the answer, and missing days
        or fields. Never returns a sentinel as a value.
        """
        ...


class EnsembleSource(Protocol):
    """A service of ensembles: what each member of its models says of the coming days."""

    name: str

    async def fetch(
        self,
        sites: Sequence[SiteDefinition],
        *,
        first_day: date,
        last_day: date,
        now: datetime,
        allowance: Allowance,
    ) -> MembersAnswer:
        """Members over local civil days at these sites, in their order while the allowance lasts.

        Never raises for a provider's mistakes, and never fills a gap: they become problems in the
        answer and NaN.
        """
        ...


class RefreshWeather(Protocol):
    """Asks one weather service for news of some sites and stores what it says."""

    def __call__(self, site_keys: Ints, *, now: datetime) -> Sequence[SourceProblem]:
        """What could not be fetched; a problem without a site means that nothing could.

        The same call again stores nothing twice. The caller must not hold a write transaction.
        """
        ...


class BreakerStore(Protocol):
    """Breaker states shared by all processes."""

    def read(self, key: str) -> BreakerState:
        """The state; closed if nothing is stored."""
        ...

    def write(self, state: BreakerState) -> None:
        """Store a state under its key."""
        ...

    def list_states(self) -> list[BreakerState]:
        """All stored states, by key."""
        ...


class PayloadStore(Protocol):
    """Raw answers of weather services."""

    def find(self, url_digest: str) -> StoredPayload | None:
        """The newest answer to a request."""
        ...

    def save(self, payload: StoredPayload) -> None:
        """Store an answer; the same body again for the same request only updates its times."""
        ...

    def prune(self, *, before: datetime) -> int:
        """Delete answers fetched before; returns how many."""
        ...


class AfterPublish(Protocol):
    """What else to do when new plans are published, in the same transaction."""

    def __call__(
        self, unit: UnitOfWork, farm_keys: Ints, *, day: date, issued_at: datetime
    ) -> object:
        """Do it for some farms and a day; the same plans again must have no further effect."""
        ...


class ComposeMail(Protocol):
    """Writes a letter as the bytes of one mail to one person."""

    def __call__(self, letter: AnyLetter, reader: Person, stamp: MailStamp) -> bytes:
        """The message, ready to be sent; the same letter and stamp give the same content."""
        ...


class MailSession(Protocol):
    """An open connection to the relay."""

    def send(self, message: bytes, *, recipient: str) -> str:
        """Hand over one mail for one recipient; returns the relay's reply.

        Raises MailRefused if the relay refuses, MailUnavailable if it cannot be reached.
        """
        ...

    def close(self) -> None:
        """End the connection; never raises."""
        ...


class MailTransport(Protocol):
    """Opens connections to the relay."""

    def __call__(self) -> MailSession:
        """Connect; raises MailUnavailable."""
        ...


class SendParcels(Protocol):
    """Sends events to the systems that want them."""

    def __call__(
        self, parcels: Sequence[Parcel], *, until: datetime
    ) -> Sequence[Sequence[Attempt]]:
        """The attempts at each parcel's letters, in their order, up to the first that failed.

        None begins after ``until``. Never raises for what a receiver does.
        """
        ...


class StudyRunner(Protocol):
    """Runs the parts of a study, here or on several processes."""

    def run(
        self, study: Study[Shared, Part, Result], *, progress: Tick | None = None
    ) -> list[Result]:
        """The results in the order of the parts; raises what the first part that fails raises."""
        ...
