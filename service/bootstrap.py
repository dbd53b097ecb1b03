"""Puts the service together: settings in, parts ready to call out; only it names adapters."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime

from service.database.engine import make_engine
from service.database.migrate import check_schema, upgrade
from service.database.session import unit_of_work_factory
from service.ports import Clock, RefreshWeather, UnitOfWorkFactory
from service.settings import Settings, read_settings


class SystemClock:
    """The machine's clock."""

    def now(self) -> datetime:
        """The present instant, UTC."""
        return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Service:
    """The parts that every entrance works with."""

    settings: Settings
    unit_of_work: UnitOfWorkFactory
    clock: Clock
    refreshers: Mapping[str, RefreshWeather] = field(default_factory=dict)
    """What asks the weather services, by source."""

    @property
    def source_order(self) -> Mapping[str, int]:
        """Rank of each weather source, higher is better."""
        return {name: rank + 1 for rank, name in enumerate(self.settings.source_order)}


def open_service(settings: Settings | None = None, *, clock: Clock | None = None) -> Service:
    """The service on its database; raises StorageFailed where that is not migrated."""
    chosen = settings or read_settings()
    engine = make_engine(chosen.database_url)
    check_schema(engine)
    return Service(
        settings=chosen,
        unit_of_work=unit_of_work_factory(engine),
        clock=clock or SystemClock(),
    )


def migrate_database(settings: Settings | None = None) -> str | None:
    """Bring the database to this version's schema; returns the revision reached."""
    return upgrade((settings or read_settings()).database_url)
