"""Fixtures: an empty ledger on every database the product supports.

``ledger_url`` gives a fresh ledger at the newest schema, once on SQLite and once on PostgreSQL; ``empty_url`` a
database
without any tables. A test that is only about one of them takes ``sqlite_url`` or ``postgres_url``. Making a ledger is
cheap:
the schema is built once a session, then copied.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import make_url

from ledger.store import open_store
from tests.support.postgres import MISSING, Server, running_server


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[Server]:
    """One private server for this test process."""
    with running_server() as server:
        if server is None:
            pytest.skip(MISSING)
        yield server


@pytest.fixture(scope="session")
def _sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("template") / "ledger.db"
    store = open_store(f"sqlite:///{path}")
    store.create()
    store.close()
    return path


@pytest.fixture(scope="session")
def _postgres_template(postgres_server: Server) -> str:
    url = postgres_server.new_database()
    store = open_store(url)
    store.create()
    store.close()
    return str(make_url(url).database)


@pytest.fixture
def sqlite_url(_sqlite_template: Path, tmp_path: Path) -> str:
    """A fresh ledger in a file of its own."""
    path = tmp_path / "ledger.db"
    shutil.copy(_sqlite_template, path)
    return f"sqlite:///{path}"


@pytest.fixture
def postgres_url(postgres_server: Server, _postgres_template: str) -> Iterator[str]:
    """A fresh ledger in a database of its own."""
    url = postgres_server.new_database(template=_postgres_template)
    yield url
    postgres_server.drop(url)


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def ledger_url(request: pytest.FixtureRequest) -> str:
    """A fresh ledger on each supported database in turn."""
    url: str = request.getfixturevalue("sqlite_url" if request.param == "sqlite" else "postgres_url")
    return url


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """A database without any tables, on each supported database in turn."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'new.db'}"
        return
    server: Server = request.getfixturevalue("postgres_server")
    url = server.new_database()
    yield url
    server.drop(url)
