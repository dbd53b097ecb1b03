"""Run by Alembic for every command: finds the database and migrates it in one transaction.

The database comes from ``config.attributes["connection"]`` (an Engine or a Connection), else from
``config.attributes["url"]``, else from the setting RILLWRIGHT_DATABASE_URL. Either every pending
migration is applied or none. On PostgreSQL an advisory lock lets one process migrate at a time. On
SQLite, altering a table copies it, so foreign keys are off meanwhile and all rows are checked
against them before the commit.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext

from alembic import context
from sqlalchemy import Connection, Engine, create_engine, text
from sqlalchemy.pool import NullPool

from service.database.month_parts import is_part
from service.database.tables import metadata
from service.errors import StorageFailed

# Any number will do, as long as it stays the same: it is what two migrating processes meet at.
MIGRATION_LOCK = 5_261_977_112

# A migration that cannot get a table lock gives up rather than hold up everybody queued behind it.
LOCK_TIMEOUT_S = 10


def database_url() -> str:
    """The database URL; raises StorageFailed if none is configured."""
    url = context.config.attributes.get("url") or os.environ.get("RILLWRIGHT_DATABASE_URL")
    if not url:
        raise StorageFailed(
            "no database to migrate: RILLWRIGHT_DATABASE_URL is not set; allowed: "
            "sqlite:///path/to/file or postgresql+psycopg://user@host/name"
        )
    return str(url)


def migrate_offline() -> None:
    """Write the migrations as SQL to standard output (``--sql``; PostgreSQL only)."""
    url = database_url()
    if url.startswith("sqlite"):
        raise StorageFailed(
            "SQL scripts cannot be written for SQLite: altering a table needs to look at it first"
        )
    context.configure(
        url=url,
        target_metadata=metadata,
        literal_binds=True,
        dialect_opts={"paramstyle": "named"},
        compare_type=True,
    )
    with context.begin_transaction():
        context.run_migrations()


def migrate_online(connection: Connection) -> None:
    """Migrate in one transaction, or in the caller's if there is one."""
    if connection.dialect.name == "sqlite":
        with sqlite_without_foreign_keys(connection):
            run_migrations(connection)
            refuse_broken_references(connection)
    else:
        with nullcontext() if connection.in_transaction() else connection.begin():
            # First the advisory lock, for which waiting is right, then the limit for all others.
            connection.execute(
                text("SELECT pg_advisory_xact_lock(:number)"), {"number": MIGRATION_LOCK}
            )
            connection.execute(text(f"SET LOCAL lock_timeout = '{LOCK_TIMEOUT_S}s'"))
            run_migrations(connection)


def run_migrations(connection: Connection) -> None:
    """Hand the open connection to Alembic."""
    context.configure(
        connection=connection,
        target_metadata=metadata,
        compare_type=True,
        include_name=lambda name, kind, _: kind != "table" or not is_part(name),
        render_as_batch=connection.dialect.name == "sqlite",
        transactional_ddl=True,
    )
    with context.begin_transaction():
        context.run_migrations()


@contextmanager
def sqlite_without_foreign_keys(connection: Connection) -> Iterator[None]:
    """One transaction during which SQLite does not enforce foreign keys.

    SQLite ignores the pragma inside a transaction, so it is given on the driver's connection before
    the transaction begins, and put back as it was afterwards.
    """
    if connection.in_transaction():
        raise StorageFailed(
            "SQLite migrations need a connection without an open transaction: foreign keys "
            "cannot be switched off inside one"
        )
    driver = connection.connection.driver_connection
    if driver is None:
        raise StorageFailed("the connection to migrate on is closed")
    enforced = driver.execute("PRAGMA foreign_keys").fetchone()[0]
    driver.execute("PRAGMA foreign_keys = OFF")
    try:
        with connection.begin():
            # Python's driver opens no transaction for CREATE and ALTER of its own accord.
            if not driver.in_transaction:
                connection.exec_driver_sql("BEGIN IMMEDIATE")
            yield
    finally:
        driver.execute(f"PRAGMA foreign_keys = {enforced:d}")


def refuse_broken_references(connection: Connection) -> None:
    """Raise, and so roll back, if a migration left rows that refer to nothing."""
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    if broken:
        rows = ", ".join(f"{row[0]} row {row[1]} -> {row[2]}" for row in broken[:10])
        raise StorageFailed(
            f"migration undone: {len(broken)} rows would refer to rows that are not there: {rows}"
        )


def main() -> None:
    """Choose between the two ways in which Alembic may have called."""
    if context.is_offline_mode():
        migrate_offline()
        return
    given: Connection | Engine | None = context.config.attributes.get("connection")
    if isinstance(given, Connection):
        migrate_online(given)
        return
    engine = given if given is not None else create_engine(database_url(), poolclass=NullPool)
    with engine.connect() as connection:
        migrate_online(connection)


main()
