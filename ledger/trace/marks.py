"""What a typed or scanned mark means: a lot, a batch, the code on a jar, or the number of a delivery."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from sqlalchemy import bindparam, column, select, text

from ledger.errors import BadInput, UnknownThing
from ledger.projections.queries import Queries, believed
from ledger.projections.tables import batches, lots, on_a_lot, postings
from ledger.store.reader import Reader
from ledger.store.statements import Statement, among

LOT = Statement(
    select(lots.c.lot).where(lots.c.site == bindparam("site"), lots.c.lot == bindparam("lot")), ["site", "lot"]
)
BATCH = Statement(
    select(batches.c.batch).where(batches.c.site == bindparam("site"), batches.c.batch == bindparam("batch")),
    ["site", "batch"],
)
LOTS_OF_BATCH = Statement(
    select(lots.c.lot)
    .where(lots.c.site == bindparam("site"), lots.c.batch == bindparam("batch"))
    .order_by(lots.c.position),
    ["site", "batch"],
)
DOCUMENTS = Statement(
    text(
        "SELECT position FROM events WHERE site = :site AND name IN ('shelf.shipped', 'shelf.returned', 'lot.received', 'ledger.amended') "
        "AND REPLACE(payload, :wanted, '') <> payload"
    ).columns(column("position")),
    ["site", "wanted"],
)
"""Entries whose payload holds a piece of text, whatever signs it has: nothing in it is a pattern."""
MOVED = Statement(
    select(postings.c.account, postings.c.mass_mg)
    .where(
        postings.c.site == bindparam("site"),
        among(postings.c.known_from, "positions"),
        on_a_lot(),
        believed(postings, None),
    )
    .order_by(postings.c.known_from, postings.c.line),
    ["site", "positions"],
)


@dataclass(frozen=True, slots=True)
class Found:
    """What a typed or scanned mark means: a lot, a batch or a document, and the lots behind it (mass that left by a document)."""

    kind: Literal["lot", "batch", "document"]
    mark: str
    lots: tuple[str, ...]
    masses: tuple[int, ...] = ()


def find(queries: Queries, typed: str) -> Found:
    """What somebody typed or scanned: a lot, a batch, the address or element string on a jar, or a delivery document.

    Raises:
        BadInput: nothing was given.
        UnknownThing: no lot, batch or document has this mark.
    """
    mark = plain_mark(typed)
    if not mark:
        raise BadInput("Type or scan a lot, a batch, the code on a jar, or the number of a delivery.", value=typed)
    site = queries.store.site
    with queries.store.read() as reader:
        for code in dict.fromkeys((mark, mark.upper())):
            if reader.rows(LOT, (site, code)):
                return Found("lot", code, (code,))
            if reader.rows(BATCH, (site, code)):
                return Found("batch", code, tuple(row[0] for row in reader.rows(LOTS_OF_BATCH, (site, code))))
            wanted = json.dumps({"document": code}, separators=(",", ":"), ensure_ascii=False)[1:-1]
            papers = reader.rows(DOCUMENTS, (site, wanted))
            moved = _moved(reader, site, [int(p) for (p,) in papers])
            if moved:
                return Found("document", code, tuple(moved), tuple(moved.values()))
    raise UnknownThing(
        f"`{typed.strip()}` is no lot, batch or delivery document of this ledger. Check the mark on the label: the usual form is "
        "year-day and a letter, such as 26302A or 26302A-J1.",
        kind="lot", id=mark,
    )  # fmt: skip


def _moved(reader: Reader, site: str, positions: Sequence[int]) -> dict[str, int]:
    """Lots, with the mass, that the believed entries at these positions moved."""
    if not positions:
        return {}
    moved: dict[str, int] = {}
    for lot, mass in reader.rows(MOVED, (site, json.dumps(sorted(positions)))):
        moved[lot] = moved.get(lot, 0) + abs(mass)
    return moved


def plain_mark(typed: str) -> str:
    """The bare mark out of what a scanner or a hand gives: `L 26302A`, `HTTPS://SHOP/L/26302A`, `(01)...(10)26302A`."""
    mark = typed.strip()
    if "/" in mark and "://" in mark:
        mark = mark.split("?")[0].rstrip("/").rsplit("/", 1)[-1]
    if "(10)" in mark:
        mark = mark.rsplit("(10)", 1)[-1].split("(")[0]
    return mark[2:].strip() if mark[:2].upper() == "L " else mark
