"""Alembic's entry: which database, which tables.

The database comes from the connection ``Store.create`` hands over, or on the command line from ``-x url=...`` or the
environment variable SLABBOOK_URL; without either, from a new SQLite file in a temporary folder that is first brought
to the
newest schema, so that ``alembic check`` works anywhere.
"""

from __future__ import annotations

import atexit
import os
import shutil
import subprocess
import sys
import tempfile
from importlib import import_module, util

from alembic import context
from sqlalchemy import Connection, make_url

from ledger.store import schema, tables  # noqa: F401  (registers the tables)
from ledger.store.metadata import metadata

if util.find_spec("ledger.projections") and util.find_spec("ledger.projections.tables"):
    import_module("ledger.projections.tables")


def run(connection: Connection) -> None:
    """Migrate, or compare, over one connection."""
    context.configure(
        connection=connection,
        target_metadata=metadata,
        render_as_batch=connection.dialect.name == "sqlite",
        compare_type=True,
        compare_server_default=True,
    )
    with context.begin_transaction():
        context.run_migrations()


def address() -> str:
    """The database named on the command line or in the environment, or a passing one."""
    named = context.get_x_argument(as_dictionary=True).get("url") or os.environ.get("SLABBOOK_URL")
    if named:
        return named
    folder = tempfile.mkdtemp(prefix="slabbook-schema-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    passing = f"sqlite:///{folder}/passing.db"
    # in a process of its own, because Alembic keeps one context a process and this one is open
    make = "import sys; from ledger.store import open_store; open_store(sys.argv[1]).create()"
    subprocess.run([sys.executable, "-c", make, passing], check=True)
    return passing


handed_over = context.config.attributes.get("connection")
if context.is_offline_mode():
    raise SystemExit("migrations need a live database: they ask it what it already has")
if handed_over is not None:
    run(handed_over)
else:
    url = make_url(address())
    if url.get_backend_name() == "postgresql":
        url = url.set(drivername="postgresql+psycopg")
    with schema.migration_engine(url).begin() as own:
        run(own)
