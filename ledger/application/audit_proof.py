"""Proofs for a stranger from the live ledger: one entry, or everything that ever moved a lot."""

from __future__ import annotations

from ledger.application.ledger import Ledger
from ledger.application.reports_types import basis
from ledger.errors import BadInput
from ledger.store.canonical import line_of
from ledger.trace.marks import find
from ledger.trace.proof import Proof, TreeHead, make_proof
from ledger.trace.queries import entries_of_lot


def proof(ledger: Ledger, asked: str, *, earlier: TreeHead | None = None, known: int | str | None = None) -> Proof:
    """The proof of an entry (its number) or of a lot (every entry that ever moved it, corrected or not).

    known: in the ledger as it was at an entry or at the end of a day, so that it ends in the very root that a report of then carries; entries
    made later are not in it. Raises UnknownThing for no such lot, BadInput for no such entry or an earlier head this ledger does not begin with.
    """
    at = None if known is None else basis(ledger, known).known
    if asked.strip().isdigit():
        positions, about = [int(asked)], f"entry {int(asked)}"
    else:
        found = find(ledger.queries, asked)
        positions, about = entries_of_lot(ledger.queries, found.lots), f"{found.kind} {found.mark}"
    with ledger.store.read() as reader:
        leaves = list(reader.leaves(upto=at))
        if at is not None and not asked.strip().isdigit():
            positions = [p for p in positions if p <= at]
        if not positions:
            raise BadInput(f"Nothing of {about} was recorded up to entry {at}.", value=asked, limit=at)
        lines = []
        for position in positions:
            if not 1 <= position <= len(leaves):
                raise BadInput(
                    f"There is no entry {position}; the ledger has {len(leaves)}.", value=position, limit=len(leaves)
                )
            event = next(iter(reader.events(after=position - 1, upto=position)))
            lines.append((position, line_of(event)))
        last = next(iter(reader.events(after=len(leaves) - 1, upto=len(leaves)))).recorded_at
        return make_proof(ledger.store.site, lines, leaves, at=last, earlier=earlier, about=about)


def read_head(text: str) -> TreeHead:
    """A tree head as printed: `SIZE:ROOT`. Raises BadInput."""
    size, _, root = text.strip().partition(":")
    root = root.strip().lower()
    if not size.isdigit() or len(root) != 64 or set(root) - set("0123456789abcdef"):
        raise BadInput(
            f"`{text}` is no checkpoint; give it as printed, SIZE:ROOT with a root of 64 letters and digits.",
            value=text,
        )
    return TreeHead(int(size), root, told="given by the reader")
