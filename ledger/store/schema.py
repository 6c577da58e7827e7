"""Bringing a database to the newest schema with Alembic, and telling quickly whether it is there already.

The migrations travel inside the installed package (top-level package ``migrations``); no ``alembic.ini`` is needed.
"""

from __future__ import annotations

import sqlite3
from importlib import import_module, resources
from pathlib import Path

from sqlalchemy import URL, Engine, create_engine, event, inspect
from sqlalchemy.exc import OperationalError
from sqlalchemy.pool import NullPool

from ledger.store.errors import LedgerNotReady, LedgerUnreachable
from ledger.store.statements import SQLITE

REVISION_QUERY = "SELECT version_num FROM alembic_version"


def newest_revision() -> str:
    """The revision this program works with: migrations are files ``NNNN_what.py`` whose revision is ``NNNN``."""
    names = (entry.name for entry in resources.files("migrations.versions").iterdir())
    return max(name[:4] for name in names if name.endswith(".py") and name[:4].isdigit())


def migration_engine(url: URL) -> Engine:
    """An engine for changing the schema: every migration is one transaction, on SQLite too."""
    engine = create_engine(url, poolclass=NullPool)
    if url.get_backend_name() == SQLITE:

        @event.listens_for(engine, "connect")
        def set_up(connection, _record) -> None:  # type: ignore[no-untyped-def]
            connection.isolation_level = None
            try:
                connection.execute("PRAGMA journal_mode = WAL")
            except sqlite3.DatabaseError as error:
                raise LedgerNotReady(
                    f"{url.database} is no ledger ({error}); name another file with --ledger.", file=url.database
                ) from error
            connection.execute("PRAGMA busy_timeout = 30000")

        @event.listens_for(engine, "begin")
        def begin(connection) -> None:  # type: ignore[no-untyped-def]
            connection.exec_driver_sql("BEGIN IMMEDIATE")

    return engine


def upgrade(url: URL) -> None:
    """Bring an empty or old database to the newest schema. Does nothing to one that is there already.

    Raises LedgerNotReady for a database made by a newer program.
    """
    if url.get_backend_name() == SQLITE and url.database:
        Path(url.database).parent.mkdir(parents=True, exist_ok=True)
    engine = migration_engine(url)
    try:
        found = current_revision(engine)
        if found == newest_revision():
            return
        if found is not None and found > newest_revision():
            raise not_ready(url, found)
        from alembic import command
        from alembic.config import Config

        config = Config()
        folder = import_module("migrations").__file__
        assert folder is not None
        config.set_main_option("script_location", str(Path(folder).parent).replace("%", "%%"))
        with engine.begin() as connection:
            config.attributes["connection"] = connection
            command.upgrade(config, "head")
    finally:
        engine.dispose()


def found_revision(url: URL) -> str | None:
    """The schema revision of the ledger at an address; None if there is none. Makes no file where there was none."""
    if url.get_backend_name() == SQLITE and not Path(url.database or "").exists():
        return None
    engine = migration_engine(url)
    try:
        return current_revision(engine)
    finally:
        engine.dispose()


def current_revision(engine: Engine) -> str | None:
    """The schema revision a database is at; None for a database without a ledger.

    Raises LedgerUnreachable if the database cannot be opened.
    """
    try:
        with engine.connect() as connection:
            if not inspect(connection).has_table("alembic_version"):
                return None
            return connection.exec_driver_sql(REVISION_QUERY).scalar()
    except OperationalError as error:
        raise LedgerUnreachable(f"the database at {_place(engine.url)} cannot be opened: {error.orig}") from error


def _place(url: URL) -> str:
    return url.render_as_string(hide_password=True)


def not_ready(url: URL, found: str | None) -> LedgerNotReady:
    """The error for a database at another revision than this program's."""
    wanted = newest_revision()
    if found is None:
        message = f"there is no ledger at {_place(url)} yet; create one first, or name another place"
    elif found < wanted:
        message = f"this ledger has schema {found}, the program works with {wanted}; bring it up to date with create()"
    else:
        message = f"this ledger has schema {found}, newer than this program's {wanted}; install the newer release"
    return LedgerNotReady(message, found=found, wanted=wanted)
