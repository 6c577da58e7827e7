"""What a database must be able to do for the store; SQLite and PostgreSQL each have one implementation."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager
from typing import NamedTuple, Protocol, TypeVar

from ledger.store.statements import Params, Row, Statement

T = TypeVar("T")

GUARD = "LOCK TABLE commands IN ACCESS SHARE MODE"
"""On PostgreSQL every snapshot begins with this: it waits for whoever empties kept tables, and is waited for. PostgreSQL freezes a snapshot only
after such a lock is held, so nobody reads an emptied table with a snapshot from before."""
GUARD_ALONE = "LOCK TABLE commands IN ACCESS EXCLUSIVE MODE"
"""The other side of it. Taken under the site's lock, so a writer that waits there holds nothing that is waited for here."""


class Session(Protocol):
    """Reading inside one attempt of a transaction, or inside one snapshot."""

    dialect: str

    def rows(self, statement: Statement, params: Params = ()) -> list[Row]:
        """All rows of a statement."""

    def rows_of(self, asked: Sequence[tuple[Statement, Params]]) -> list[list[Row]]:
        """The rows of several statements, in one trip to a distant server."""


class Writes(NamedTuple):
    """What an attempt wants written, in order; ``based_on`` is the position the ledger must still have.

    Rows that are not a list are drawn one by one while they are written, so they may be more than fit in memory.
    """

    site: str
    based_on: int
    batches: list[tuple[Statement, Iterable[Row]]]

    @property
    def size(self) -> int | None:
        """The number of rows; None if some are only drawn while writing."""
        total = 0
        for _statement, rows in self.batches:
            if not isinstance(rows, list):
                return None
            total += len(rows)
        return total


class Backend(Protocol):
    """A database that holds ledgers."""

    dialect: str

    def run(self, attempt: Callable[[Session], tuple[T, Writes]], *, site: str, exclusive: bool = False) -> T:
        """One transaction: the attempt reads and says what to write; it is called again if another writer was
        faster.
        """

    def read(self, *, guarded: bool = True) -> AbstractContextManager[Session]:
        """A consistent snapshot to read from. Not ``guarded``: for the job that empties kept tables, of the log only."""

    def close(self) -> None:
        """Give back every connection."""
