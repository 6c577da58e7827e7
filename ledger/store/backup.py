"""A copy of the ledger in one file, taken while others go on writing."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from ledger.errors import BadInput, LedgerDamaged
from ledger.store.dump import dump_lines
from ledger.store.sqlite_backend import SqliteBackend
from ledger.store.store import Store


def backup(store: Store, path: str | os.PathLike[str]) -> Path:
    """Write the ledger, as of one moment, to a new file, and return its path.

    From SQLite the copy is a database again, with every site and every table; from PostgreSQL it is the JSON lines of
    this site
    (``restore_lines`` reads them; the server's own dump tools copy the rest). The file appears under its name only
    when it is whole.

    Raises BadInput if the file exists, LedgerDamaged if the copy does not pass SQLite's own check.
    """
    target = Path(path)
    if target.exists():
        raise BadInput(f"{target} exists already; name a new file for the backup", value=str(target))
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(target.name + ".part")
    part.unlink(missing_ok=True)
    try:
        write: Callable[[Store, Path], None] = _copy if isinstance(store.backend, SqliteBackend) else _dump
        write(store, part)
        _force_to_disk(part)
        os.replace(part, target)
    finally:
        part.unlink(missing_ok=True)
    return target


def _copy(store: Store, part: Path) -> None:
    backend = store.backend
    assert isinstance(backend, SqliteBackend)
    store.require_ready()
    backend.copy_to(str(part))
    with closing(sqlite3.connect(part)) as copy:
        told = copy.execute("PRAGMA quick_check").fetchall()
    if told != [("ok",)]:
        raise LedgerDamaged(f"the database does not pass SQLite's check: {told[0][0]}", told=told)


def _dump(store: Store, part: Path) -> None:
    with store.read() as reader, part.open("w", encoding="utf-8", newline="\n") as file:
        for line in dump_lines(reader):
            file.write(line)
            file.write("\n")


def _force_to_disk(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())
