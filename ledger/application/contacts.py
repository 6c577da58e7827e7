"""Names, addresses and telephone numbers: the one table that is edited, so that a person can be forgotten.

Entries of the log hold ids only (initials, partner codes). What is written here is not an entry and leaves no trace when erased;
backups and files made before still hold it, which `docs` tell the owner.
"""

from __future__ import annotations

from sqlalchemy import bindparam, delete

from ledger.application.ledger import Ledger
from ledger.domain.books.book import Book
from ledger.domain.books.entries import Partner, Site, Worker
from ledger.errors import BadInput
from ledger.projections.tables import contacts
from ledger.store.statements import Statement, upsert

KINDS = ("worker", "partner", "supplier", "customer", "shop")
"""Whose names are kept; `shop` with the site's own id is the shop itself, whose telephone stands on a recall's notice."""
PUT = upsert(contacts)
ERASE = Statement(
    delete(contacts).where(
        contacts.c.site == bindparam("b_site"),
        contacts.c.kind == bindparam("b_kind"),
        contacts.c.id == bindparam("b_id"),
    ),
    ["b_site", "b_kind", "b_id"],
)


def whose(book: Book, kind: str, typed: str) -> str:
    """The id that a contact belongs to, from one as it was typed: `mk` is worker MK."""
    return book.meant({"worker": Worker, "shop": Site}.get(kind, Partner), typed)


def set_contact(ledger: Ledger, kind: str, id: str, name: str, address: str = "", phone: str = "") -> None:
    """Write or overwrite the name, address and telephone of one worker or business.

    Raises BadInput for an unknown kind, an empty id or an empty name.
    """
    _check(kind, id)
    if not name.strip():
        raise BadInput(f"The contact of {kind} `{id}` needs a name; to remove one, erase it.", kind=kind, id=id)
    row = (ledger.store.site, kind, id, name.strip(), address.strip(), phone.strip())
    ledger.store.run(lambda unit: unit.write(PUT, [row]), exclusive=True)


def set_contacts(ledger: Ledger, rows: list[tuple[str, str, str, str, str]]) -> None:
    """Many at once, in one transaction: (kind, id, name, address, phone)."""
    for kind, id, *_ in rows:
        _check(kind, id)
    ledger.store.run(lambda unit: unit.write(PUT, [(ledger.store.site, *row) for row in rows]), exclusive=True)


def erase_contact(ledger: Ledger, kind: str, id: str) -> None:
    """Forget a name. The log keeps the id, which says nothing by itself. Nothing happens when there is none."""
    _check(kind, id)
    ledger.store.run(lambda unit: unit.write(ERASE, [(ledger.store.site, kind, id)]), exclusive=True)


def _check(kind: str, id: str) -> None:
    if kind not in KINDS:
        raise BadInput(f"`{kind}` is no kind of contact; known are {', '.join(KINDS)}.", value=kind)
    if not id:
        raise BadInput("A contact belongs to an id: initials of a worker, or the code of a business.", kind=kind)
