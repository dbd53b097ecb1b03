"""Many rows at once: statements for the driver's executemany, and results as arrays.

The bulk paths bypass the row objects of SQLAlchemy. Statements are still built from the table
definitions, so that names are written once; values are exchanged with the driver as plain Python
numbers and text. Rows are sent in chunks, so that memory does not grow with the number of blocks.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from functools import lru_cache
from itertools import chain, islice
from typing import Any

import numpy as np
import orjson
from numpy.typing import NDArray
from sqlalchemy import (
    ARRAY,
    BigInteger,
    Boolean,
    ColumnElement,
    Connection,
    Date,
    Double,
    Integer,
    Select,
    Table,
    Text,
    func,
    literal,
    select,
)
from sqlalchemy.dialects import postgresql, sqlite

from service.agronomy.records import Days, Floats, Ints
from service.database.tables import UtcInstant, read_instant

CHUNK_ROWS = 5_000
"""Rows sent or fetched at a time."""

_FEW_ROWS = 500  # below this, single inserts are faster on PostgreSQL than setting up COPY


# --- writing -----------------------------------------------------------------------------------


def insert_rows(
    connection: Connection, table: Table, columns: tuple[str, ...], rows: Iterable[tuple[Any, ...]]
) -> None:
    """Insert rows given as tuples of these columns."""
    few, more = _split(rows)
    if more is None or connection.dialect.name == "sqlite":
        statement = _insert_text(table, connection.dialect.name, columns)
        _execute_chunks(connection, statement, _all_of(few, more))
    else:
        _copy(connection, table.name, columns, _all_of(few, more))


def upsert_rows(
    connection: Connection, table: Table, columns: tuple[str, ...], rows: Iterable[tuple[Any, ...]]
) -> None:
    """Insert rows, overwriting those with the same primary key; no key may come twice."""
    _insert_or(connection, _overwrite_text(table, columns), table, columns, rows)


def insert_new_rows(
    connection: Connection, table: Table, columns: tuple[str, ...], rows: Iterable[tuple[Any, ...]]
) -> None:
    """Insert rows, leaving those alone that another transaction has stored or is storing.

    Who stores some of them at the same time must do so in the same order.
    """
    _insert_or(connection, "ON CONFLICT DO NOTHING", table, columns, rows)


def _insert_or(
    connection: Connection,
    on_conflict: str,
    table: Table,
    columns: tuple[str, ...],
    rows: Iterable[tuple[Any, ...]],
) -> None:
    few, more = _split(rows)
    if more is None or connection.dialect.name == "sqlite":
        insertion = _insert_text(table, connection.dialect.name, columns)
        _execute_chunks(connection, f"{insertion} {on_conflict}", _all_of(few, more))
        return
    arrived, names = f"arrived_{table.name}", ", ".join(columns)
    connection.exec_driver_sql(
        f"CREATE TEMPORARY TABLE {arrived} ON COMMIT DROP AS SELECT {names} FROM {table.name} "
        "WITH NO DATA"
    )
    _copy(connection, arrived, columns, _all_of(few, more))
    connection.exec_driver_sql(
        f"INSERT INTO {table.name} ({names}) SELECT {names} FROM {arrived} {on_conflict}"
    )
    connection.exec_driver_sql(f"DROP TABLE {arrived}")


def insert_into(dialect_name: str, table: Table) -> Any:
    """An insert that supports ON CONFLICT, for the connection's dialect."""
    return _INSERTS[dialect_name](table)


_INSERTS: Mapping[str, Callable[[Table], Any]] = {
    "sqlite": sqlite.insert,
    "postgresql": postgresql.insert,
}


@lru_cache(maxsize=64)
def _insert_text(table: Table, dialect_name: str, columns: tuple[str, ...]) -> str:
    holder = "?" if dialect_name == "sqlite" else "%s"
    holders = ", ".join([holder] * len(columns))
    return f"INSERT INTO {table.name} ({', '.join(columns)}) VALUES ({holders})"


@lru_cache(maxsize=64)
def _overwrite_text(table: Table, columns: tuple[str, ...]) -> str:
    key = [column.name for column in table.primary_key]
    changes = ", ".join(f"{name} = excluded.{name}" for name in columns if name not in key)
    return f"ON CONFLICT ({', '.join(key)}) DO UPDATE SET {changes}"


def _split(
    rows: Iterable[tuple[Any, ...]],
) -> tuple[list[tuple[Any, ...]], Iterator[tuple[Any, ...]] | None]:
    """The first rows, and the others if there are any."""
    source = iter(rows)
    few = list(islice(source, _FEW_ROWS))
    return few, source if len(few) == _FEW_ROWS else None


def _all_of(
    few: list[tuple[Any, ...]], more: Iterator[tuple[Any, ...]] | None
) -> Iterator[tuple[Any, ...]]:
    return chain(few, more or ())


def _execute_chunks(
    connection: Connection, statement: str, rows: Iterator[tuple[Any, ...]]
) -> None:
    while chunk := list(islice(rows, CHUNK_ROWS)):
        connection.exec_driver_sql(statement, chunk)


def _copy(
    connection: Connection, table_name: str, columns: tuple[str, ...], rows: Iterator[Any]
) -> None:
    """Stream rows into a table of PostgreSQL, in the transaction of the connection."""
    driver: Any = connection.connection.driver_connection
    with (
        driver.cursor() as cursor,
        cursor.copy(f"COPY {table_name} ({', '.join(columns)}) FROM STDIN") as copy,
    ):
        for row in rows:
            copy.write_row(row)


def rows_of(columns: Sequence[Any]) -> Iterator[tuple[Any, ...]]:
    """Rows as tuples from columns: arrays or sequences of the same length, or one value for all.

    NaN and NaT become None. Columns are cut into chunks first, so that only a chunk at a time
    exists as Python objects.
    """
    count = max(len(column) for column in columns if _is_column(column))
    for start in range(0, count, CHUNK_ROWS):
        stop = min(start + CHUNK_ROWS, count)
        yield from zip(
            *(
                _values(column[start:stop]) if _is_column(column) else [column] * (stop - start)
                for column in columns
            ),
            strict=True,
        )


def _is_column(column: object) -> bool:
    return isinstance(column, (np.ndarray, list, tuple))


def _values(column: Any) -> Sequence[Any]:
    if not isinstance(column, np.ndarray):
        return column  # type: ignore[no-any-return]  # a slice of a list or tuple, see rows_of
    if column.dtype.kind == "M":
        missing = np.isnat(column)
        values = np.datetime_as_string(column.astype("datetime64[D]")).tolist()
    elif column.dtype.kind == "f":
        missing = np.isnan(column)
        values = column.tolist()
    else:
        return column.tolist()  # type: ignore[no-any-return]  # tolist() of an unknown dtype
    if missing.any():
        for index in np.flatnonzero(missing).tolist():
            values[index] = None
    return values  # type: ignore[no-any-return]  # as above


# --- choosing ----------------------------------------------------------------------------------


def is_among(connection: Connection, column: ColumnElement[Any], keys: Ints) -> ColumnElement[bool]:
    """Condition that an integer column is one of the keys, however many there are.

    It uses one parameter however many keys there are, because SQLite accepts at most 32,766.
    PostgreSQL gets a set of rows to join, because it would scan a long array for every row.
    """
    if connection.dialect.name == "sqlite":
        text = "[" + ",".join(map(str, keys.tolist())) + "]"
        each = func.json_each(text).table_valued("value")
        return column.in_(select(each.c.value))
    array = literal(keys.tolist(), ARRAY(BigInteger))
    return column.in_(select(func.unnest(array).column_valued("key")))


def is_one_of(
    connection: Connection, column: ColumnElement[Any], texts: Sequence[str]
) -> ColumnElement[bool]:
    """As :func:`is_among`, for texts."""
    if connection.dialect.name == "sqlite":
        each = func.json_each(orjson.dumps(list(texts)).decode()).table_valued("value")
        return column.in_(select(each.c.value))
    array = literal(list(texts), ARRAY(Text))
    return column.in_(select(func.unnest(array).column_valued("text")))


def positions(keys: Ints, wanted: Ints) -> Ints:
    """Index in ``keys`` (any order, no duplicates) of each wanted key; all must be there."""
    order = np.argsort(keys, kind="stable")
    found: Ints = order[np.searchsorted(keys, wanted, sorter=order)]
    return found


# --- reading -----------------------------------------------------------------------------------


class ColumnSet:
    """A result as columns: arrays for numbers, days and yes/no, lists for text."""

    def __init__(self, columns: Mapping[str, Any], count: int) -> None:
        self._columns = columns
        self._count = count

    def __len__(self) -> int:
        return self._count

    def in_order_of(self, name: str) -> ColumnSet:
        """The same rows in ascending order of an integer column.

        Cheaper than having the database sort wide rows, especially as they are mostly in order
        already.
        """
        keys = self.ints(name)
        if (keys[1:] >= keys[:-1]).all():
            return self
        order = np.argsort(keys, kind="stable")
        return ColumnSet(
            {
                each: values[order]
                if isinstance(values, np.ndarray)
                else [values[index] for index in order.tolist()]
                for each, values in self._columns.items()
            },
            self._count,
        )

    def floats(self, name: str) -> Floats:
        """A column of numbers; NULL is NaN."""
        found: Floats = self._columns[name]
        return found

    def ints(self, name: str) -> Ints:
        """A column of whole numbers, none of them NULL."""
        found: Ints = self._columns[name]
        return found

    def days(self, name: str) -> Days:
        """A column of dates; NULL is NaT."""
        found: Days = self._columns[name]
        return found

    def flags(self, name: str) -> NDArray[np.bool_]:
        """A column of yes/no, none of them NULL."""
        found: NDArray[np.bool_] = self._columns[name]
        return found

    def texts(self, name: str) -> list[str]:
        """A column of text."""
        found: list[str] = self._columns[name]
        return found

    def blobs(self, name: str) -> list[bytes]:
        """A column of bytes, none of them NULL."""
        found: list[bytes] = self._columns[name]
        return found

    def instants(self, name: str) -> list[datetime]:
        """A column of instants, none of them NULL, as aware UTC datetimes."""
        known: dict[str | datetime, datetime] = {}
        result = []
        for value in self._columns[name]:
            instant = known.get(value)
            if instant is None:
                instant = known[value] = read_instant(value)
            result.append(instant)
        return result


def read_columns(connection: Connection, statement: Select[Any]) -> ColumnSet:
    """Run a query and return its columns, converted by the type that the table gives them."""
    result = connection.execute(statement)
    cursor = result.cursor
    parts: dict[str, list[Any]] = {column.name: [] for column in statement.selected_columns}
    kinds = [(column.name, column.type) for column in statement.selected_columns]
    count = 0
    while cursor is not None:
        rows = cursor.fetchmany(CHUNK_ROWS)
        if not rows:
            break
        count += len(rows)
        for (name, kind), values in zip(kinds, zip(*rows, strict=True), strict=True):
            parts[name].append(_converted(kind, values))
    result.close()
    return ColumnSet(
        {name: _joined(kind, parts[name]) for name, kind in kinds},
        count,
    )


def _converted(kind: object, values: tuple[Any, ...]) -> Any:
    dtype = _dtype(kind)
    if dtype is None:
        return values
    return np.array(values, dtype=dtype)


def _joined(kind: object, chunks: list[Any]) -> Any:
    dtype = _dtype(kind)
    if dtype is None:
        return [value for chunk in chunks for value in chunk]
    return np.concatenate(chunks) if chunks else np.array([], dtype=dtype)


def _dtype(kind: object) -> str | None:
    if isinstance(kind, UtcInstant):
        return None
    if isinstance(kind, Double):
        return "float64"
    if isinstance(kind, Boolean):
        return "bool"
    if isinstance(kind, Integer):
        return "int64"
    if isinstance(kind, Date):
        return "datetime64[D]"
    return None
