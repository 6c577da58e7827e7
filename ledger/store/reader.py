"""Reading a site's ledger from one consistent snapshot."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

from sqlalchemy import bindparam, select
from sqlalchemy.sql.elements import ClauseElement

from ledger.errors import BadInput
from ledger.store import merkle
from ledger.store.records import NO_HEAD, Head, StoredEvent
from ledger.store.session import Session
from ledger.store.statements import Params, Row, Statement, compile_for
from ledger.store.tables import events, marks
from ledger.store.unit import HEAD

if TYPE_CHECKING:
    import pandas

PAGE = 2000
"""Events fetched at a time: memory stays flat however long the ledger is."""

_in_order = select(events).where(
    events.c.site == bindparam("site"),
    events.c.position > bindparam("after"),
    events.c.position <= bindparam("upto"),
)
EVENTS = Statement(_in_order.order_by(events.c.position).limit(PAGE), ["site", "after", "upto"])
EVENTS_OF_STREAM = Statement(
    _in_order.where(events.c.stream == bindparam("stream"), events.c.version > bindparam("version"))
    .order_by(events.c.version)
    .limit(PAGE),
    ["site", "after", "upto", "stream", "version"],
)
MARK = Statement(
    select(marks.c.position, marks.c.frontier)
    .where(marks.c.site == bindparam("site"), marks.c.position <= bindparam("upto"))
    .order_by(marks.c.position.desc())
    .limit(1),
    ["site", "upto"],
)
MARKS = Statement(select(marks.c.position, marks.c.frontier).where(marks.c.site == bindparam("site")), ["site"])
LEAVES = Statement(
    select(events.c.position, events.c.leaf_hash)
    .where(
        events.c.site == bindparam("site"),
        events.c.position > bindparam("after"),
        events.c.position <= bindparam("upto"),
    )
    .order_by(events.c.position)
    .limit(20_000),
    ["site", "after", "upto"],
)
RECORDED_AT = Statement(
    select(events.c.recorded_at).where(events.c.site == bindparam("site"), events.c.position == bindparam("position")),
    ["site", "position"],
)


class Reader:
    """A site's ledger at one moment. Made by ``Store.read``; others may write meanwhile without being seen."""

    def __init__(self, session: Session, site: str) -> None:
        self.site = site
        self._session = session
        self._leaves: list[bytes] | None = None
        found = session.rows(HEAD, (site,))
        self.head: Head = Head._make(found[0]) if found else NO_HEAD
        """Where the ledger stands in this snapshot."""

    @property
    def dialect(self) -> str:
        """``sqlite`` or ``postgresql``."""
        return self._session.dialect

    def rows(self, statement: Statement, params: Params = ()) -> list[Row]:
        """All rows of a statement."""
        return self._session.rows(statement, params)

    def rows_of(self, asked: Sequence[tuple[Statement, Params]]) -> list[list[Row]]:
        """The rows of several statements; one trip to a PostgreSQL server instead of one each."""
        return self._session.rows_of(asked)

    def frame(self, query: ClauseElement | Statement, params: Params = ()) -> pandas.DataFrame:
        """The rows of a Core select as a DataFrame; columns are named as in the select, values are the driver's own."""
        import pandas

        statement = query if isinstance(query, Statement) else _Once(compile_for(self.dialect, query))
        columns = statement.on(self.dialect).columns
        return pandas.DataFrame.from_records(self.rows(statement, params), columns=list(columns))

    def events(self, after: int = 0, upto: int | None = None, stream: str | None = None) -> Iterator[StoredEvent]:
        """The events at positions ``after`` < p <= ``upto`` in order, of one stream if named; fetched page by page."""
        last = self.head.position if upto is None else min(upto, self.head.position)
        make: Callable[[Row], StoredEvent] = StoredEvent._make
        version = 0
        while after < last:
            if stream is None:
                page = self.rows(EVENTS, (self.site, after, last))
            else:
                page = self.rows(EVENTS_OF_STREAM, (self.site, after, last, stream, version))
            yield from map(make, page)
            if len(page) < PAGE:
                return
            after, version = page[-1][1], page[-1][3]

    def position_at(self, utc_text: str) -> int:
        """The position of the last event recorded at or before a time; 0 if there was none yet.

        Times never go backwards along the positions, so this halves the ledger some twenty times.
        """
        low, high = 0, self.head.position
        if utc_text >= self.head.recorded_at:
            return high
        while low < high:
            middle = (low + high + 1) // 2
            if self.rows(RECORDED_AT, (self.site, middle))[0][0] <= utc_text:
                low = middle
            else:
                high = middle - 1
        return low

    def leaves(self, after: int = 0, upto: int | None = None) -> Iterator[bytes]:
        """The stored leaf hashes of positions ``after`` < p <= ``upto``."""
        last = self.head.position if upto is None else upto
        while after < last:
            page = self.rows(LEAVES, (self.site, after, last))
            if not page:
                return
            for _position, leaf in page:
                yield bytes(leaf)
            after = page[-1][0]

    def root(self, size: int | None = None) -> bytes:
        """The Merkle root over the first ``size`` events (left out: all of them), from the mark before it and the leaves since."""
        if size is None or size == self.head.position:
            return merkle.Frontier(self.head.position, bytes(self.head.frontier)).root()
        found = self.rows(MARK, (self.site, self._within(size)))
        tree = merkle.Frontier(found[0][0], bytes(found[0][1])) if found else merkle.Frontier()
        for leaf in self.leaves(tree.size, size):
            tree.append(leaf)
        return tree.root()

    def marks(self) -> dict[int, bytes]:
        """The frontiers kept on the way, by size."""
        return {position: bytes(frontier) for position, frontier in self.rows(MARKS, (self.site,))}

    def inclusion_proof(self, position: int, size: int | None = None) -> list[bytes]:
        """The hashes that prove that the event at ``position`` is in the tree of the first ``size`` events."""
        size = self._within(self.head.position if size is None else size)
        if not 1 <= position <= size:
            raise BadInput(f"there is no event {position} among the first {size}", position=position, size=size)
        return merkle.inclusion_proof(self._first_leaves(size), position - 1)

    def consistency_proof(self, first: int, second: int | None = None) -> list[bytes]:
        """The hashes that prove that the ledger of ``first`` events is the beginning of that of ``second``."""
        second = self._within(self.head.position if second is None else second)
        if not 1 <= first <= second:
            raise BadInput(f"there is no proof from {first} to {second} events", first=first, second=second)
        return merkle.consistency_proof(self._first_leaves(second), first)

    def _within(self, size: int) -> int:
        if not 0 <= size <= self.head.position:
            raise BadInput(
                f"the ledger has {self.head.position} events, not {size}", size=size, limit=self.head.position
            )
        return size

    def _first_leaves(self, size: int) -> list[bytes]:
        if self._leaves is None or len(self._leaves) < size:
            self._leaves = list(self.leaves(0, size))
        return self._leaves[:size]


class _Once(Statement):
    """A statement compiled for one use."""

    __slots__ = ("_only",)

    def __init__(self, compiled: Any) -> None:
        self._only = compiled
        self._compiled = {}
        self.copy_sql = None

    def on(self, dialect: str) -> Any:
        return self._only
