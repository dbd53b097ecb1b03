"""Plans and balances in parts by month: who reads and writes them sees one table."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from sqlalchemy import Engine
from sqlalchemy.engine import URL

from service.agronomy.records import Ints
from service.database import migrate
from service.database.month_parts import is_part
from service.database.session import UnitOfWorkFactory
from tests.database.stored_plans import make_plans, publish, save_basis, weather_document

FIRST = date(2060, 12, 30)
"""Later than any clock that these tests run by, so that no part holds it yet."""
DAYS = [FIRST + timedelta(days=step) for step in range(5)]


@pytest.fixture
def database_url(own_url: URL) -> URL:
    """A database of its own, since the tests change its schema."""
    return own_url


def prepare(open_unit: UnitOfWorkFactory, today: date) -> int:
    with open_unit(write=True) as unit:
        return unit.retention.prepare_months(today=today)


def fill(open_unit: UnitOfWorkFactory, keys: Ints, days: list[date]) -> None:
    for day in days:
        basis = save_basis(open_unit, weather_document(et0_mm=5.0), day=day)
        publish(open_unit, make_plans(keys, basis, day=day))


def planned(open_unit: UnitOfWorkFactory) -> list[tuple[date, str, int]]:
    with open_unit(write=False) as unit:
        return [
            (plan.day, plan.block_id, plan.version)
            for day in DAYS
            for plan in unit.plans.list_plans(day=day)
        ]


def parts_of_plans(engine: Engine) -> list[str]:
    with engine.connect() as connection:
        return list(
            connection.exec_driver_sql(
                "SELECT CAST(tableoid::regclass AS text) FROM plan ORDER BY day, block_key"
            ).scalars()
        )


def test_rows_that_came_before_their_month_are_moved_into_it(
    open_unit: UnitOfWorkFactory, keys: Ints, engine: Engine
) -> None:
    fill(open_unit, keys, DAYS[:3])
    before = planned(open_unit)
    made = prepare(open_unit, FIRST)
    fill(open_unit, keys, DAYS[3:])

    assert planned(open_unit)[: len(before)] == before
    assert len(planned(open_unit)) == 2 * len(DAYS)
    assert prepare(open_unit, FIRST) == 0
    if engine.dialect.name == "postgresql":
        assert made == 2 * 3  # of plans and of balances: this month and two
        assert parts_of_plans(engine) == ["plan_2060_12"] * 4 + ["plan_2061_01"] * 6
    else:
        assert made == 0


def test_a_clock_that_jumped_ahead_leaves_no_month_out(
    open_unit: UnitOfWorkFactory, engine: Engine
) -> None:
    ahead, back = prepare(open_unit, date(2070, 5, 1)), prepare(open_unit, FIRST)
    if engine.dialect.name == "postgresql":
        assert (ahead, back) == (6, 6)


def test_plans_stay_when_the_schema_goes_down_and_up_again(
    open_unit: UnitOfWorkFactory, keys: Ints, engine: Engine
) -> None:
    fill(open_unit, keys, DAYS[:2])
    prepare(open_unit, FIRST)
    fill(open_unit, keys, DAYS[2:])
    before = planned(open_unit)

    migrate.downgrade(engine, revision="202611302230")
    migrate.upgrade(engine)

    assert planned(open_unit) == before
    publish(open_unit, make_plans(keys, save_basis(open_unit, weather_document(et0_mm=4.0))))
    if engine.dialect.name == "postgresql":
        assert set(parts_of_plans(engine)) == {"plan_until"}


@pytest.mark.parametrize(
    ("name", "is_one"),
    [("plan_2027_01", True), ("balance_day_beyond", True), ("plan_text", False), ("plan", False)],
)
def test_parts_differ_from_tables_by_their_names(name: str, is_one: bool) -> None:
    assert is_part(name) == is_one
