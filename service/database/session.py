"""The unit of work: one transaction over all stores."""

from __future__ import annotations

from types import TracebackType
from typing import Self

from sqlalchemy import Connection, Engine

from service.database.answer_store import SqlAnswerStore
from service.database.block_store import SqlBlockStore
from service.database.breaker_store import SqlBreakerStore
from service.database.calendar_store import SqlCalendarStore
from service.database.change_mark_store import SqlChangeMarks
from service.database.controller_store import SqlControllerStore
from service.database.engine import connect, make_engine, storage_failure
from service.database.key_store import SqlKeyStore
from service.database.ledger_store import SqlLedgerStore
from service.database.migrate import check_schema
from service.database.outbox_store import SqlOutboxStore
from service.database.pause_store import SqlPauseStore
from service.database.payload_store import SqlPayloadStore
from service.database.people_store import SqlPeopleStore
from service.database.plan_store import SqlPlanStore
from service.database.run_ledger_store import SqlRunLedger
from service.database.sign_in_store import SqlSignInStore
from service.database.soil_store import SqlSoilStore
from service.database.station_store import SqlStationStore
from service.database.waterworks_store import SqlWaterworksStore
from service.database.weather_archive import SqlWeatherArchive
from service.ports import (
    AnswerStore,
    BlockStore,
    BreakerStore,
    CalendarStore,
    ChangeMarks,
    ControllerStore,
    KeyStore,
    LedgerStore,
    OutboxStore,
    PauseStore,
    PayloadStore,
    PeopleStore,
    PlanStore,
    RunLedger,
    SignInStore,
    SoilStore,
    StationStore,
    UnitOfWork,
    UnitOfWorkFactory,
    WaterworksStore,
    WeatherArchive,
)

__all__ = ["SqlUnitOfWork", "check_schema", "make_engine", "unit_of_work_factory"]


class SqlUnitOfWork:
    """One transaction: commits once on clean exit, rolls back otherwise.

    The stores exist inside the ``with`` block only. What the database refuses leaves the block as
    StorageFailed. A unit that only reads sees one state of the data throughout.
    """

    blocks: BlockStore
    weather: WeatherArchive
    ledger: LedgerStore
    plans: PlanStore
    stations: StationStore
    waterworks: WaterworksStore
    runs: RunLedger
    breakers: BreakerStore
    payloads: PayloadStore
    keys: KeyStore
    answers: AnswerStore
    soil: SoilStore
    pauses: PauseStore
    marks: ChangeMarks
    controllers: ControllerStore
    calendars: CalendarStore
    people: PeopleStore
    outbox: OutboxStore
    sign_ins: SignInStore

    def __init__(self, engine: Engine, *, write: bool) -> None:
        self._engine = engine
        self._write = write
        self._connection: Connection | None = None

    def __enter__(self) -> Self:
        """Open the transaction; a writing one waits here for the write lock."""
        if self._connection is not None:
            raise RuntimeError("this unit of work is open already; each one is used once at a time")
        connection = None
        try:
            connection = connect(self._engine, write=self._write)
            connection.begin()
        except Exception as error:
            if connection is not None:
                connection.close()
            failure = storage_failure(error, self._engine)
            if failure is None:
                raise
            raise failure from error
        self._connection = connection
        self.blocks = SqlBlockStore(connection)
        self.weather = SqlWeatherArchive(connection)
        self.ledger = SqlLedgerStore(connection)
        self.plans = SqlPlanStore(connection)
        self.stations = SqlStationStore(connection)
        self.waterworks = SqlWaterworksStore(connection)
        self.runs = SqlRunLedger(connection)
        self.breakers = SqlBreakerStore(connection)
        self.payloads = SqlPayloadStore(connection)
        self.keys = SqlKeyStore(connection)
        self.answers = SqlAnswerStore(connection)
        self.soil = SqlSoilStore(connection)
        self.pauses = SqlPauseStore(connection)
        self.marks = SqlChangeMarks(connection)
        self.controllers = SqlControllerStore(connection)
        self.calendars = SqlCalendarStore(connection)
        self.people = SqlPeopleStore(connection)
        self.outbox = SqlOutboxStore(connection)
        self.sign_ins = SqlSignInStore(connection)
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
        del self.blocks, self.weather, self.ledger, self.plans, self.stations, self.waterworks
        del self.runs, self.breakers, self.payloads
        del self.keys, self.answers, self.soil, self.pauses
        del self.marks, self.controllers, self.calendars
        del self.people, self.outbox, self.sign_ins
        try:
            if error is None:
                connection.commit()
            else:
                connection.rollback()
        except Exception as late_error:
            failure = storage_failure(late_error, self._engine)
            if failure is None:
                raise
            raise failure from late_error
        finally:
            connection.close()
        if error is not None:
            failure = storage_failure(error, self._engine)
            if failure is not None:
                raise failure from error


def unit_of_work_factory(engine: Engine) -> UnitOfWorkFactory:
    """Opens units of work on this engine; ``write`` ones take the write lock at once."""

    def open_unit(*, write: bool) -> UnitOfWork:
        return SqlUnitOfWork(engine, write=write)

    return open_unit
