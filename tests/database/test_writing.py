"""Whether the database takes writes, as readiness asks it."""

from __future__ import annotations

import shutil
from collections import namedtuple
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.engine import URL

from service.database.engine import connect, make_engine
from service.database.writing import LEAST_FREE_BYTES, check_writing, free_bytes
from service.errors import StorageFailed

Usage = namedtuple("Usage", "total used free")


@pytest.fixture
def lasting(tmp_path: Path) -> Iterator[Engine]:
    """A file of its own, so that its disk and its locks are known."""
    engine = make_engine(f"sqlite:///{tmp_path / 'own.db'}")
    with connect(engine, write=True) as connection, connection.begin():
        connection.execute(text("CREATE TABLE thing (n INTEGER)"))
    yield engine
    engine.dispose()


def test_a_database_that_takes_writes_passes_and_stays_as_it_was(engine: Engine) -> None:
    check_writing(engine)
    check_writing(engine)
    with connect(engine, write=True) as connection, connection.begin():
        waits = (
            "PRAGMA busy_timeout"
            if engine.dialect.name == "sqlite"
            else "SHOW idle_in_transaction_session_timeout"
        )
        assert connection.execute(text(waits)).scalar_one() in (5_000, "2min")


def test_another_writer_at_work_shows_that_writing_works(lasting: Engine) -> None:
    with connect(lasting, write=True) as connection, connection.begin():
        connection.execute(text("INSERT INTO thing VALUES (1)"))
        check_writing(lasting)


def test_a_file_that_can_only_be_read_is_refused(lasting: Engine) -> None:
    reading = make_engine(f"sqlite:///file:{lasting.url.database}?mode=ro&uri=true")
    with pytest.raises(StorageFailed, match="read-only"):
        check_writing(reading)
    reading.dispose()


def test_a_disk_that_is_nearly_full_is_refused_before_writes_fail(
    lasting: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Path] = []

    def nearly_full(folder: Path) -> Usage:
        asked.append(folder)
        return Usage(10**9, 10**9 - LEAST_FREE_BYTES + 1, LEAST_FREE_BYTES - 1)

    monkeypatch.setattr(shutil, "disk_usage", nearly_full)
    with pytest.raises(StorageFailed, match=r"100 MB are left .* make room"):
        check_writing(lasting)
    assert asked == [Path(str(lasting.url.database)).parent]
    assert free_bytes(lasting) == LEAST_FREE_BYTES - 1


def test_a_server_that_only_reads_and_a_file_that_is_nowhere_are_refused(own_url: URL) -> None:
    if own_url.get_backend_name() == "sqlite":
        address, words = own_url.set(database="/nowhere/at/all.db"), "cannot be opened"
    else:
        setting = {"options": "-c default_transaction_read_only=on"}
        address, words = own_url.update_query_dict(setting), "allows reading only"
    refusing = make_engine(address)
    with pytest.raises(StorageFailed, match=words):
        check_writing(refusing)
    refusing.dispose()
