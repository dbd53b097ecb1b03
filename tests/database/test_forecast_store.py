"""The archive of forecasts in the database: its size, and what a second write does."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from numpy.testing import assert_allclose
from sqlalchemy import Connection, Engine, text

from service.database.session import UnitOfWorkFactory
from service.records.forecasts import LEAD_NUMBERS, ForecastIssue, LeadRows, TruthRows
from tests.stored_farms import ints, stored_bundle

NOW = datetime(2026, 7, 7, 23, tzinfo=UTC)
FIRST = date(2026, 7, 7)
DIGITS = {
    "tmax_c": 1, "tmin_c": 1, "ea_kpa": 16, "rhmin_pct": 1, "wind_m_s": 16, "rs_mj_m2": 4,
    "rain_mm": 1, "rain_probability_fraction": 2,
}  # fmt: skip
"""Of the values that services issue; means over hours have all of them."""
TABLES = ("forecast_issue", "forecast_lead", "forecast_truth")
DAY_COUNT = 200
SOURCES = ("open-meteo", "nws-grid")


@pytest.fixture
def site_key(open_unit: UnitOfWorkFactory) -> int:
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(stored_bundle(), effective_day=FIRST, recorded_at=NOW)
        return unit.blocks.get_site_key("hollow")


def issue(site_key: int, on: date, source: str = SOURCES[0]) -> ForecastIssue:
    """Eight days with as many digits as services issue and means over hours have."""
    chosen = np.random.default_rng(on.toordinal())
    return ForecastIssue(
        site_key=site_key,
        source=source,
        issued_on=on,
        issued_at=NOW,
        fetched_at=NOW,
        latitude_deg=36.5,
        longitude_deg=-119.75,
        elevation_m=84.0,
        days=tuple(on + timedelta(days=lead) for lead in range(8)),
        fields={
            name: tuple((30.0 * chosen.random(8)).round(digits).tolist())
            for name, digits in DIGITS.items()
        },
    )


def leads(site_key: int, on: date, source: str = SOURCES[0]) -> LeadRows:
    chosen = np.random.default_rng(on.toordinal())
    return LeadRows(
        site_keys=np.full(7, site_key),
        days=np.datetime64(on, "D") + np.arange(1, 8),
        sources=(source,) * 7,
        lead_days=np.arange(1, 8),
        member_count=np.full(7, 31),
        numbers={name: 10.0 * chosen.random(7) for name in LEAD_NUMBERS},
    )


def without_spread(rows: LeadRows) -> LeadRows:
    """The same from a source without an ensemble."""
    nothing = np.full(len(rows), np.nan)
    numbers = {name: nothing if "_p" in name else rows.numbers[name] for name in LEAD_NUMBERS}
    numbers["rain_probability_fraction"] = rows.numbers["rain_probability_fraction"]
    return replace(rows, member_count=np.zeros(len(rows), dtype=np.int64), numbers=numbers)


def truth(site_key: int, on: date, rain_mm: float = 4.2) -> TruthRows:
    one = np.ones(1)
    return TruthRows(
        site_keys=ints(site_key),
        days=np.array([on], dtype="datetime64[D]"),
        farm_keys=ints(0),
        rain_mm=rain_mm * one,
        et0_mm=5.123456789 * one,
        tmax_c=31.2 * one,
        rain_origins=("observed station",),
        et0_origins=("observed station",),
    )


def test_an_issue_comes_back_with_every_digit(open_unit: UnitOfWorkFactory, site_key: int) -> None:
    kept = issue(site_key, FIRST)
    gap = ForecastIssue(
        **{
            **{name: getattr(kept, name) for name in ForecastIssue.__slots__},
            "issued_on": FIRST + timedelta(days=1),
            "fields": {"rain_mm": (None, 0.1, None, 0.2, 0.3, 0.0, 0.0, None)},
        }
    )
    with open_unit(write=True) as unit:
        unit.forecasts.save_issues([kept, gap])
    with open_unit(write=False) as unit:
        assert unit.forecasts.list_issues(site_key) == [kept, gap]
        assert unit.forecasts.list_issues(site_key, source="another") == []


def test_the_same_day_and_lead_is_one_row_however_often_it_is_written(
    open_unit: UnitOfWorkFactory, site_key: int
) -> None:
    with open_unit(write=True) as unit:
        for _ in range(2):
            unit.forecasts.save_issues([issue(site_key, FIRST)])
            unit.forecasts.save_leads(leads(site_key, FIRST))
        assert len(unit.forecasts.list_issues(site_key)) == 1
        found = unit.forecasts.read_leads(
            ints(site_key), first_day=FIRST, last_day=FIRST + timedelta(days=9)
        )
        near = unit.forecasts.read_leads(
            ints(site_key), first_day=FIRST, last_day=FIRST + timedelta(days=9), lead_days=1
        )
    assert found.lead_days.tolist() == [1, 2, 3, 4, 5, 6, 7] and near.lead_days.tolist() == [1]
    for name in LEAD_NUMBERS:
        written = leads(site_key, FIRST).numbers[name]
        assert_allclose(found.numbers[name], written, rtol=1e-7)


def test_an_observation_is_written_where_it_differs(
    open_unit: UnitOfWorkFactory, site_key: int
) -> None:
    with open_unit(write=True) as unit:
        assert unit.forecasts.save_truth(truth(site_key, FIRST)) == 1
        assert unit.forecasts.save_truth(truth(site_key, FIRST)) == 0
        assert unit.forecasts.save_truth(truth(site_key, FIRST, rain_mm=4.3)) == 1
        found = unit.forecasts.read_truth(ints(site_key), first_day=FIRST, last_day=FIRST)
    assert found.rain_mm.tolist() == [4.3]


def stored_bytes(connection: Connection) -> int:
    """What the tables and their indexes take, in whole pages."""
    if connection.dialect.name == "sqlite":
        names = ",".join(f"'{name}'" for name in TABLES)
        statement = f"SELECT sum(pgsize) FROM dbstat WHERE name IN ({names})"
    else:
        sizes = (f"pg_relation_size('{name}') + pg_indexes_size('{name}')" for name in TABLES)
        statement = "SELECT " + " + ".join(sizes)
    return int(connection.execute(text(statement)).scalar_one())


def test_a_day_of_a_site_takes_less_than_three_kilobytes(
    open_unit: UnitOfWorkFactory, engine: Engine, site_key: int
) -> None:
    # A season of two sources, all of it kept as issued, and of the quantiles of an ensemble.
    with open_unit(write=True) as unit:
        for back in range(DAY_COUNT):
            on = FIRST + timedelta(days=back)
            unit.forecasts.save_truth(truth(site_key, on))
            for source in SOURCES:
                unit.forecasts.save_issues([issue(site_key, on, source)])
                unit.forecasts.save_leads(without_spread(leads(site_key, on, source)))
            unit.forecasts.save_leads(leads(site_key, on, "an ensemble"))
    with engine.connect() as connection:
        assert stored_bytes(connection) / DAY_COUNT < 3_000
