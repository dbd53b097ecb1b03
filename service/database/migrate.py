"""Upgrades a database to the schema this version expects, and checks whether it is current."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from alembic.util import CommandError
from sqlalchemy import Engine
from sqlalchemy.engine import URL

import service
from service.database.engine import connect, make_engine, storage_failures
from service.errors import StorageFailed

__all__ = [
    "check_schema",
    "current_revision",
    "downgrade",
    "find_scripts",
    "head_revision",
    "known_revisions",
    "upgrade",
]


def find_scripts(package: Path | None = None) -> Path:
    """Folder of the migrations: inside the installed package, or next to it in a checkout."""
    room = Path(service.__file__).parent if package is None else package
    for folder in (room / "migrations", room.parent / "migrations"):
        if (folder / "env.py").is_file():
            return folder
    raise StorageFailed(
        f"migrations: neither {room / 'migrations'} nor {room.parent / 'migrations'} holds them; "
        "the installation is incomplete"
    )


@cache
def head_revision() -> str:
    """The revision that this version of the service expects; the migrations are read once."""
    head = ScriptDirectory.from_config(_config()).get_current_head()
    if head is None:
        raise StorageFailed(f"migrations: {find_scripts()} holds no revision")
    return head


def known_revisions() -> frozenset[str]:
    """The revisions that this version of the service can start from."""
    scripts = ScriptDirectory.from_config(_config())
    return frozenset(each.revision for each in scripts.walk_revisions())


def current_revision(engine_or_url: Engine | URL | str) -> str | None:
    """The revision a database is at; None where nothing has been created yet."""
    with _engine(engine_or_url) as engine, connect(engine, write=False) as connection:
        return MigrationContext.configure(connection).get_current_revision()


def check_schema(engine: Engine) -> None:
    """Raise StorageFailed unless the database is at the revision that this version expects."""
    found, expected = current_revision(engine), head_revision()
    if found != expected:
        where = engine.url.render_as_string(hide_password=True)
        state = "has no schema yet" if found is None else f"is at revision {found}"
        raise StorageFailed(
            f"database {where}: {state}, this version expects {expected}; run `rillwright migrate`"
        )


def upgrade(engine_or_url: Engine | URL | str, *, revision: str = "head") -> str | None:
    """Apply the migrations that are missing; returns the revision reached.

    They run in one transaction, so either all are applied or none. Nothing happens if the database
    is up to date.
    """
    with _engine(engine_or_url) as engine:
        command.upgrade(_config(engine), revision)
        return current_revision(engine)


def downgrade(engine_or_url: Engine | URL | str, *, revision: str) -> str | None:
    """Take migrations back down to ``revision`` (``base``: all); loses what they added."""
    with _engine(engine_or_url) as engine:
        command.downgrade(_config(engine), revision)
        return current_revision(engine)


def _config(engine: Engine | None = None) -> Config:
    """Alembic's settings, complete without the project file, which a wheel does not have."""
    config = Config()
    config.set_main_option("script_location", str(find_scripts()).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    if engine is not None:
        config.attributes["connection"] = engine
    return config


@contextmanager
def _engine(engine_or_url: Engine | URL | str) -> Iterator[Engine]:
    """The engine given, or one for the URL that is closed afterwards; errors are translated."""
    given = isinstance(engine_or_url, Engine)
    engine = engine_or_url if isinstance(engine_or_url, Engine) else make_engine(engine_or_url)
    try:
        with storage_failures(engine):
            yield engine
    except CommandError as error:
        where = engine.url.render_as_string(hide_password=True)
        raise StorageFailed(f"database {where}: migrations: {error}") from error
    finally:
        if not given:
            engine.dispose()
