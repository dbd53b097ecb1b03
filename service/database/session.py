"""The unit of work: one transaction over all stores."""

from __future__ import annotations

from collections.abc import Callable, Collection
from datetime import datetime
from types import TracebackType
from typing import Protocol, Self, get_type_hints

from sqlalchemy import Connection, Engine

from service.database.answer_store import AnswerStore
from service.database.audit_trail import AuditTrail, system_time
from service.database.block_store import BlockStore
from service.database.boundary_store import BoundaryStore
from service.database.breaker_store import BreakerStore
from service.database.calendar_store import CalendarStore
from service.database.change_mark_store import ChangeMarks
from service.database.controller_store import ControllerStore
from service.database.engine import connect, storage_failure, storage_failures
from service.database.event_store import EventStore
from service.database.feed_store import FeedStore
from service.database.forecast_store import ForecastStore
from service.database.key_store import KeyStore
from service.database.ledger_store import LedgerStore
from service.database.member_store import MemberStore
from service.database.nutrition_store import NutritionStore
from service.database.outbox_store import OutboxStore
from service.database.pause_store import PauseStore
from service.database.payload_store import PayloadStore
from service.database.people_store import PeopleStore
from service.database.plan_store import PlanStore
from service.database.plan_text_store import PlanTextStore
from service.database.poll_store import PollStore
from service.database.rain_store import RainStore
from service.database.report_store import ReportStore
from service.database.retention_store import RetentionStore
from service.database.run_ledger_store import RunLedger
from service.database.shadow_store import ShadowStore
from service.database.sign_in_store import SignInStore
from service.database.soil_store import SoilStore
from service.database.standing_store import StandingStore
from service.database.station_store import StationStore
from service.database.subscription_store import SubscriptionStore
from service.database.tally_store import TallyStore
from service.database.timer_store import TimerStore
from service.database.visit_note_store import VisitNoteStore
from service.database.waterworks_store import WaterworksStore
from service.database.weather_archive import WeatherArchive


class UnitOfWork:
    """One transaction: commits once on clean exit, rolls back otherwise.

    The stores exist inside the ``with`` block only. Database errors leave the block as
    StorageFailed. A read-only unit sees one snapshot throughout.
    """

    blocks: BlockStore
    boundaries: BoundaryStore
    weather: WeatherArchive
    forecasts: ForecastStore
    members: MemberStore
    ledger: LedgerStore
    shadows: ShadowStore
    plans: PlanStore
    texts: PlanTextStore
    reports: ReportStore
    feeds: FeedStore
    rain: RainStore
    stations: StationStore
    waterworks: WaterworksStore
    nutrition: NutritionStore
    visit_notes: VisitNoteStore
    runs: RunLedger
    breakers: BreakerStore
    payloads: PayloadStore
    keys: KeyStore
    answers: AnswerStore
    soil: SoilStore
    pauses: PauseStore
    timers: TimerStore
    marks: ChangeMarks
    controllers: ControllerStore
    polls: PollStore
    calendars: CalendarStore
    people: PeopleStore
    outbox: OutboxStore
    sign_ins: SignInStore
    tallies: TallyStore
    subscriptions: SubscriptionStore
    events: EventStore
    standings: StandingStore
    retention: RetentionStore
    audit: AuditTrail

    def __init__(
        self,
        engine: Engine,
        *,
        write: bool,
        farm_keys: Collection[int] | None = None,
        now: Callable[[], datetime] = system_time,
    ) -> None:
        self._engine = engine
        self._write = write
        self._farm_keys = farm_keys
        self._now = now
        self._connection: Connection | None = None

    def __enter__(self) -> Self:
        """Open the transaction; a writing one waits here for the write lock."""
        if self._connection is not None:
            raise RuntimeError(
                "this unit of work is already open; it cannot be opened twice at once"
            )
        connection = None
        try:
            connection = connect(self._engine, write=self._write, farm_keys=self._farm_keys)
            connection.begin()
        except Exception as error:
            if connection is not None:
                connection.close()
            failure = storage_failure(error, self._engine)
            if failure is None:
                raise
            raise failure from error
        self._connection = connection
        for name, store in _STORES.items():
            setattr(self, name, store(connection))
        self.audit = AuditTrail(connection, now=self._now)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Commit or roll back, and give the connection back in either case."""
        connection, self._connection = self._connection, None
        if connection is None:
            return
        for name in _STORES:
            delattr(self, name)
        try:
            with storage_failures(self._engine):
                if error is None:
                    connection.commit()
                else:
                    connection.rollback()
        finally:
            connection.close()
        if error is not None:
            failure = storage_failure(error, self._engine)
            if failure is not None:
                raise failure from error


_STORES = get_type_hints(UnitOfWork)
"""Every store of a unit of work, by attribute name."""


class UnitOfWorkFactory(Protocol):
    """Opens units of work; ``write`` ones take their lock at once."""

    def __call__(self, *, write: bool, farm_keys: Collection[int] | None = None) -> UnitOfWork:
        """A new unit of work, not yet begun.

        A writing one has the database to itself, unless ``farm_keys`` says that it changes what
        belongs to these farms and nothing else that another unit may read first and then change;
        empty: nothing at all of that kind. DEVELOPERS.md lists who may say so.
        """
        ...


def unit_of_work_factory(
    engine: Engine, *, now: Callable[[], datetime] = system_time
) -> UnitOfWorkFactory:
    """Opens units of work on this engine; ``now`` dates the changes that they note."""

    def open_unit(*, write: bool, farm_keys: Collection[int] | None = None) -> UnitOfWork:
        return UnitOfWork(engine, write=write, farm_keys=farm_keys, now=now)

    return open_unit
