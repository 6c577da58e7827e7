"""A private PostgreSQL server for tests: made in a temporary folder, reached by a local socket, gone afterwards.

``SLABBOOK_TEST_PG`` names a server to use instead (a URL whose user may create databases). Without either PostgreSQL's
programs or that, the tests that need it are skipped with a plain reason.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
from sqlalchemy import URL, make_url

MISSING = (
    "PostgreSQL is not installed (no initdb under /usr/lib/postgresql or on PATH); "
    "install it, or name a server in SLABBOOK_TEST_PG"
)


def programs() -> Path | None:
    """The folder of the newest installed initdb and postgres, if there is one."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    if found:
        return found[-1].parent
    on_path = shutil.which("initdb")
    return Path(on_path).resolve().parent if on_path else None


class Server:
    """A running server: makes and drops databases, from a template when one is named."""

    def __init__(self, admin: URL) -> None:
        self.admin = admin
        self._made: list[str] = []

    def new_database(self, template: str | None = None) -> str:
        """The URL of a new database of its own name."""
        name = f"slabbook_test_{uuid.uuid4().hex[:12]}"
        self._do(f"CREATE DATABASE {name}" + (f" TEMPLATE {template}" if template else ""))
        self._made.append(name)
        return self.admin.set(database=name).render_as_string(hide_password=False)

    def drop(self, url: str) -> None:
        """Remove a database, whoever is still connected."""
        name = str(make_url(url).database)
        self._do(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
        self._made.remove(name)

    def drop_all(self) -> None:
        """Remove every database made here."""
        for name in list(self._made):
            self.drop(name_url(self.admin, name))

    def _do(self, sql: str) -> None:
        with psycopg.connect(conninfo(self.admin), autocommit=True) as connection:
            connection.execute(sql.encode())


def name_url(admin: URL, name: str) -> str:
    """The URL of the database ``name`` on the same server."""
    return admin.set(database=name).render_as_string(hide_password=False)


def conninfo(url: URL | str) -> str:
    """What psycopg itself wants for a SQLAlchemy URL."""
    return make_url(url).set(drivername="postgresql").render_as_string(hide_password=False)


@contextmanager
def running_server(*, durable: bool = False) -> Iterator[Server | None]:
    """A server for the length of the block; None if there is no way to have one.

    ``durable=True`` keeps fsync on, for measuring; tests go without, since no power is cut there.
    """
    named = os.environ.get("SLABBOOK_TEST_PG")
    if named:
        server = Server(make_url(named).set(drivername="postgresql+psycopg"))
        try:
            yield server
        finally:
            server.drop_all()
        return
    folder = programs()
    if folder is None:
        yield None
        return
    home = Path(tempfile.mkdtemp(prefix="slabbook-pg-", dir=None if os.name == "nt" else "/tmp"))
    process = None
    try:
        process = _start(folder, home, durable)
        admin = URL.create("postgresql+psycopg", username="postgres", database="postgres", query={"host": str(home)})
        yield Server(admin)
    finally:
        if process is not None:
            process.send_signal(signal.SIGINT)
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                process.kill()
        shutil.rmtree(home, ignore_errors=True)


def _start(folder: Path, home: Path, durable: bool) -> subprocess.Popen[bytes]:
    as_user: list[str] = []
    if os.geteuid() == 0:  # the server refuses to run as root
        shutil.chown(home, "postgres", "postgres")
        as_user = ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups"]
        if sys.platform == "linux":
            as_user += ["--pdeathsig", "INT"]  # no server outlives a killed test run
    data = home / "data"
    subprocess.run(
        [*as_user, folder / "initdb", "-D", data, "-U", "postgres", "--auth=trust", "-E", "UTF8", "--locale=C", "-N"],
        check=True,
        stdout=subprocess.DEVNULL,
        cwd=home,
    )
    settings = {"listen_addresses": "", "unix_socket_directories": str(home), "max_connections": "60"}
    settings |= {"shared_buffers": "64MB", "autovacuum": "off"}
    if not durable:
        settings |= {"fsync": "off", "full_page_writes": "off"}
    command = [*as_user, str(folder / "postgres"), "-D", str(data)]
    for name, value in settings.items():
        command += ["-c", f"{name}={value}"]
    log = (home / "log").open("wb")
    process = subprocess.Popen(command, stdout=log, stderr=log, cwd=home)
    for _ in range(300):
        if process.poll() is not None:
            raise RuntimeError(f"PostgreSQL did not start:\n{(home / 'log').read_text()}")
        try:
            psycopg.connect(f"host={home} user=postgres dbname=postgres").close()
        except psycopg.OperationalError:
            time.sleep(0.05)
        else:
            return process
    process.kill()
    raise RuntimeError(f"PostgreSQL did not answer within 15 s:\n{(home / 'log').read_text()}")
