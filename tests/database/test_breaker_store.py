"""What every BreakerStore does, whatever is behind it."""

from __future__ import annotations

from datetime import UTC, datetime

from service.database.session import UnitOfWorkFactory
from service.records.weather import BreakerState

AT = datetime(2026, 7, 14, 12, 0, 0, 250_000, tzinfo=UTC)
HOST = BreakerState(
    key="made-up|weather.example.org",
    failure_count=5,
    window_began_at=AT,
    open_until=AT.replace(hour=13),
    last_reason="http-502",
)
CELL = BreakerState(
    key="made-up|weather.example.org|ABC/1,2",
    failure_count=0,
    window_began_at=None,
    open_until=None,
    last_reason="",
)


def test_a_breaker_nobody_knows_is_closed(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=False) as unit:
        assert unit.breakers.read(CELL.key) == CELL
        assert unit.breakers.list_states() == []


def test_what_is_written_is_read_in_another_unit(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=True) as unit:
        unit.breakers.write(CELL)
        unit.breakers.write(HOST)
    with open_unit(write=False) as unit:
        assert unit.breakers.read(HOST.key) == HOST
        assert unit.breakers.list_states() == [HOST, CELL]


def test_a_state_replaces_the_one_before(open_unit: UnitOfWorkFactory) -> None:
    closed = BreakerState(
        key=HOST.key, failure_count=0, window_began_at=None, open_until=None, last_reason=""
    )
    with open_unit(write=True) as unit:
        unit.breakers.write(HOST)
        unit.breakers.write(closed)
        assert unit.breakers.list_states() == [closed]
