"""Sessions of the pages that were ended before their time."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from sqlalchemy import Engine, func, select

from service.database.session import UnitOfWorkFactory
from service.database.tables import ended_session
from service.operations.access.end_session import end_session, has_ended
from tests.api.invented_farm import FixedClock

NOW = datetime(2026, 7, 14, 22, tzinfo=UTC)


def test_an_ended_session_stays_ended_and_no_other_does(open_unit: UnitOfWorkFactory) -> None:
    ends_at = NOW + timedelta(days=14)
    for _ in range(2):  # a second sign-out is no fault
        end_session("one", ends_at=ends_at, unit_of_work=open_unit, clock=FixedClock(NOW))
    assert has_ended("one", unit_of_work=open_unit)
    assert not has_ended("two", unit_of_work=open_unit)


def test_a_session_is_remembered_as_long_as_its_cookie_lasts_and_its_cookie_nowhere(
    open_unit: UnitOfWorkFactory, engine: Engine
) -> None:
    clock = FixedClock(NOW)
    ends_at = NOW + timedelta(days=1)
    end_session("one", ends_at=ends_at, unit_of_work=open_unit, clock=clock)
    with engine.connect() as connection:
        assert connection.execute(select(ended_session.c.cookie_digest)).scalar_one() != "one"
    clock.instant = ends_at
    end_session("two", ends_at=ends_at + timedelta(1), unit_of_work=open_unit, clock=clock)
    with engine.connect() as connection:
        assert connection.execute(select(func.count()).select_from(ended_session)).scalar() == 1
