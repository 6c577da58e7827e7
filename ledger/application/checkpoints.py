"""Tree heads at any size: what leaves the house on a report, also on one that is asked as it was known earlier.

The tree only grows, so the root over the first N entries is the same whenever it is asked: a report printed today "as known at entry N"
carries the very root that a report printed at entry N carried. Whoever kept the old paper can hold the two against each other.
"""

from __future__ import annotations

from ledger.application.ledger import Ledger
from ledger.store.store import Store
from ledger.trace.proof import TreeHead


def root_at(store: Store, size: int) -> str:
    """The root over the first ``size`` entries, as hexadecimal text. Raises BadInput for more entries than there are."""
    with store.read() as reader:
        return reader.root(size).hex()


def checkpoint(ledger: Ledger, known: int | None = None) -> TreeHead:
    """Size, root and time of the ledger's tree as it stands, or as it stood at an entry."""
    with ledger.store.read() as reader:
        if known is None or known == reader.head.position:
            return TreeHead(reader.head.position, reader.root().hex(), reader.head.recorded_at)
        last = next(iter(reader.events(after=known - 1, upto=known)), None) if known > 0 else None
    return TreeHead(known, root_at(ledger.store, known), "" if last is None else last.recorded_at)


__all__ = ["checkpoint", "root_at"]
