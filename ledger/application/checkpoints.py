"""Tree heads at any size: what leaves the house on a report, also on one that is asked as it was known earlier.

The tree only grows, so the root over the first N entries is the same whenever it is asked: a report printed today "as known at entry N"
carries the very root that a report printed at entry N carried. Whoever kept the old paper can hold the two against each other.
"""

from __future__ import annotations

from weakref import WeakKeyDictionary

from ledger.application.ledger import Ledger
from ledger.errors import BadInput
from ledger.store.merkle import Frontier
from ledger.store.store import Store
from ledger.trace.proof import TreeHead

KEPT = 256
EVERY = 1 << 14
_known: WeakKeyDictionary[Store, dict[int, str]] = WeakKeyDictionary()
_marks: WeakKeyDictionary[Store, dict[int, bytes]] = WeakKeyDictionary()
"""Frontiers of the tree at every so many entries: what lies before one is never read again."""


def root_at(store: Store, size: int) -> str:
    """The root over the first ``size`` entries, as hexadecimal text. Raises BadInput for more entries than there are.

    Roots of the past never change, so those asked last are kept (the newest is read off the head at once), and so are marks on the way:
    the first question reads every leaf up to it (1.8 s at a million), the next one only those after the last mark.
    """
    kept, marks = _known.setdefault(store, {}), _marks.setdefault(store, {0: b""})
    found = kept.get(size)
    if found is None:
        with store.read() as reader:
            if not 0 <= size <= reader.head.position:
                raise BadInput(
                    f"the ledger has {reader.head.position} events, not {size}", size=size, limit=reader.head.position
                )
            start = max(mark for mark in tuple(marks) if mark <= size)
            tree = Frontier(start, marks[start])
            for leaf in reader.leaves(start, size):
                tree.append(leaf)
                if tree.size % EVERY == 0:
                    marks[tree.size] = bytes(tree)
        found = tree.root().hex()
        if len(kept) >= KEPT:
            kept.pop(next(iter(kept)))
        kept[size] = found
    return found


def checkpoint(ledger: Ledger, known: int | None = None) -> TreeHead:
    """Size, root and time of the ledger's tree as it stands, or as it stood at an entry."""
    with ledger.store.read() as reader:
        if known is None or known == reader.head.position:
            return TreeHead(reader.head.position, reader.root().hex(), reader.head.recorded_at)
        last = next(iter(reader.events(after=known - 1, upto=known)), None) if known > 0 else None
    return TreeHead(known, root_at(ledger.store, known), "" if last is None else last.recorded_at)


__all__ = ["checkpoint", "root_at"]
