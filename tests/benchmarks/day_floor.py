"""The floor of an evening run: its rows, its reference ET and its documents, and nothing else."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import orjson
import pyet
import xarray
from sqlalchemy import Connection, Executable, Table, create_engine, delete, insert, select

from service.database.tables import metadata

WEATHER_DAYS = 38


def floor_seconds(after: Path, before: Path, on: date) -> dict[str, float]:
    """Seconds of each part of the floor; ``before`` and ``after`` are the file around the run."""
    today, tomorrow = on, on + timedelta(days=1)
    done = create_engine(f"sqlite:///{after}").connect()
    fresh = create_engine(f"sqlite:///{before}").connect()
    ledger, plan = metadata.tables["balance_day"], metadata.tables["plan"]
    state, basis = metadata.tables["balance_state"], metadata.tables["weather_basis"]
    text = metadata.tables["plan_text"]
    written: dict[Table, list[dict[str, object]]] = {
        ledger: _rows(done, select(ledger).where(ledger.c.day >= today - timedelta(days=1))),
        state: _rows(done, select(state)),
        basis: _rows(done, select(basis).where(basis.c.day == tomorrow)),
        plan: _rows(done, select(plan).where(plan.c.day == tomorrow)),
        text: _rows(done, select(text).where(text.c.day == tomorrow)),
    }
    documents = [orjson.loads(_bytes(row["numbers"])) for row in written[plan]]
    texts = [orjson.loads(_bytes(row["text"])) for row in written[text]]
    site_documents = [orjson.loads(_bytes(row["document"])) for row in written[basis]]
    weather = metadata.tables["weather_day"]
    read = [
        select(metadata.tables["block_version"]),
        select(metadata.tables["supply"]),
        select(state),
        select(plan).where(plan.c.day >= today - timedelta(days=1)),
        select(weather).where(weather.c.day >= today - timedelta(days=WEATHER_DAYS - 8)),
    ]
    site_count = len(site_documents)
    seconds = {
        "reading": _timed(lambda: [fresh.execute(statement).fetchall() for statement in read]),
        "reference ET": _timed(lambda: _reference_et(site_count, today)),
        "serialising": _timed(
            lambda: [orjson.dumps(document) for document in (*documents, *texts, *site_documents)]
        ),
    }
    for table in (text, plan, basis):
        fresh.execute(delete(table).where(table.c.day == tomorrow))
    fresh.execute(delete(ledger).where(ledger.c.day >= today - timedelta(days=1)))
    fresh.execute(delete(state))
    fresh.commit()
    seconds["writing"] = _timed(lambda: _write(fresh, written))
    return seconds


def _rows(connection: Connection, statement: Executable) -> list[dict[str, object]]:
    return [dict(row) for row in connection.execute(statement).mappings()]


def _bytes(value: object) -> bytes:
    return value if isinstance(value, bytes) else str(value).encode()


def _timed(work: Callable[[], object]) -> float:
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def _write(connection: Connection, written: dict[Table, list[dict[str, object]]]) -> None:
    basis = metadata.tables["weather_basis"]
    for table in (basis, *(each for each in written if each is not basis)):
        if written[table]:
            connection.execute(insert(table), written[table])
    connection.commit()


def _reference_et(site_count: int, on: date) -> object:
    days = np.arange(np.datetime64(on) - WEATHER_DAYS + 8, np.datetime64(on) + 8)
    shape = (days.size, site_count)

    def table(value: float) -> xarray.DataArray:
        return xarray.DataArray(
            np.full(shape, value),
            dims=("time", "site"),
            coords={"time": days.astype("datetime64[ns]"), "site": np.arange(site_count)},
        )

    latitude = xarray.DataArray(np.radians(np.full(site_count, 35.0)), dims=("site",))
    return pyet.pm_fao56(
        table(25.0), table(2.0), rs=table(20.0), tmax=table(30.0), tmin=table(20.0),
        ea=table(2.0), elevation=100.0, lat=latitude,
    )  # fmt: skip
