"""Reads the whole log once and folds it into the rows of the kept tables. Used by the rebuild and by the check."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import chain

from ledger.domain.world import ALWAYS, Entry, World
from ledger.projections import rows, statements
from ledger.projections.sql_world import decode_amendment, stored_entry
from ledger.store.reader import Reader

Progress = Callable[[int, int], None]
"""(entries done, entries in all); called now and then."""


@dataclass(slots=True)
class Replay(World):
    """A world in memory that reads old entries back from the log only when a correction speaks of them."""

    reader: Reader = None  # type: ignore[assignment]
    edges_new: list[rows.Row] = field(default_factory=list)
    papers_new: list[rows.Row] = field(default_factory=list)
    book_new: list[rows.Row] = field(default_factory=list)
    closed: dict[int, int] = field(default_factory=dict)

    def load_entry(self, position: int) -> Entry | None:
        """One entry, from the log."""
        found = self.reader.rows(statements.ENTRY, (self.reader.site, position))
        return stored_entry(found[0]) if found else None

    def entries(self) -> Iterator[Entry]:
        """The whole log in order, as it stands in the reader's snapshot."""
        after, reader = 0, self.reader
        while page := reader.rows(statements.LOG, (reader.site, after)):
            yield from map(stored_entry, page)
            after = page[-1][0]

    def postings(self, progress: Progress | None = None) -> Iterator[rows.Row]:
        """Posting rows of every entry in order; edges, papers and book rows are collected on the way.

        Rows that were later closed are still open here; `closed` says which to close (known_from -> known_to).
        """
        return chain.from_iterable(self._postings(progress))

    def _postings(self, progress: Progress | None) -> Iterator[list[rows.Row]]:
        site, whole = self.reader.site, self.reader.head.position
        record = rows.posting_rows
        for entry in self.entries():
            position = entry.position
            effects = self.apply(entry)
            if effects.closed:
                self.closed[effects.closed] = position
            if effects.movement is not None:
                yield record(site, position, effects)
                if effects.edges:
                    self.edges_new.extend(rows.edge_rows(site, position, effects))
            else:
                self.book_new.extend(rows.book_rows(site, entry))
                self.papers_new.extend(rows.paper_rows(site, entry))
            if progress is not None and (position % 2000 == 0 or position == whole):
                progress(position, whole)

    def closings(self) -> list[rows.Row]:
        """(known_to, site, known_from) of every closed entry."""
        return [(to, self.reader.site, since) for since, to in self.closed.items()]


def replay(reader: Reader) -> Replay:
    """An empty world about to read this ledger."""
    return Replay(decode=decode_amendment, track=False, reader=reader)


__all__ = ["ALWAYS", "Progress", "Replay", "replay"]
