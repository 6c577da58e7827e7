"""Names, addresses and telephone of workers, suppliers and customers: a part of the Book page, and plain forms to enter and erase them.

They go into the one table that is edited, never into the log, and no API answers with them. A write from another site's page is refused.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from dash import html
from fastapi import APIRouter, Request
from fastapi.responses import Response

from dashboard.components.parts import empty, table_of
from dashboard.components.plain_forms import serve, text
from dashboard.forms.markup import tag
from ledger.analytics.records import records
from ledger.application.contacts import KINDS, erase_contact, set_contact
from ledger.application.ledger import Ledger
from ledger.domain.books import entries as e
from ledger.errors import UnknownThing

router = APIRouter(include_in_schema=False)
BACK = ("/book?kind=contacts", "Back to the book")


def contact_rows(ledger: Ledger) -> list[dict[str, str]]:
    """Everyone the book or the table of contacts knows: kind, id, name, address, phone (empty where nothing is kept)."""
    found = {(r["kind"], r["id"]): {k: str(v or "") for k, v in r.items()} for r in records(ledger.queries.contacts())}  # fmt: skip
    book = ledger.book()
    for kind, things in (("shop", book.all(e.Site)), ("worker", book.all(e.Worker)), ("partner", book.all(e.Partner))):
        for thing in things:
            if not any(
                other == thing.id and (k == kind or (kind == "partner" and k not in ("worker", "shop")))
                for k, other in found
            ):
                found[(kind, thing.id)] = {"kind": kind, "id": thing.id, "name": "", "address": "", "phone": ""}
    return [found[key] for key in sorted(found)]


def contacts_part(ledger: Ledger) -> list[Any]:
    """The part of the Book page."""
    rows = contact_rows(ledger)
    told = html.P(
        "Names stand here only, never in the log: erasing one forgets it. Files and backups made before still hold it.",
        className="quiet",
    )
    if not rows:
        return [told, empty("Nobody is in the book yet", "Enter workers, suppliers and customers first; their names are then kept here.")]  # fmt: skip
    shown = [
        [r["id"], html.Span([
            html.A("Enter", href=f"/contact?{_who(r)}", **{"aria-label": f"Enter the name of {r['kind']} {r['id']}"}),
            *([" ", html.A("Erase", href=f"/contact/erase?{_who(r)}", **{"aria-label": f"Erase the name of {r['kind']} {r['id']}"})] if r["name"] else []),
        ]), r["kind"], r["name"], r["address"], r["phone"]] for r in rows
    ]  # fmt: skip
    return [told, table_of("Names and addresses", ["id", "change", "kind", "name", "address", "telephone"], shown)]


def _who(row: dict[str, str]) -> str:
    return urlencode({"kind": row["kind"], "id": row["id"]})


def _form(ledger: Ledger, erase: bool, given: dict[str, str]) -> tuple[str, str]:
    kind, id = given.get("kind", ""), given.get("id", "")
    row = next((r for r in contact_rows(ledger) if r["kind"] == kind and r["id"] == id), None)
    if row is None:
        raise UnknownThing(f"There is no `{id}` among the {kind or 'contact'}s; known kinds are {', '.join(KINDS)}. Enter it on the Book page first.", kind="contact", id=id)  # fmt: skip
    if erase:
        words = f"The name, address and telephone of {kind} {id} are forgotten. The log keeps the id alone. This cannot be taken back."
        return f"Erase the name of {id}?", tag("form", tag("p", words, class_="caution"), tag("button", "Erase for good", type="submit", class_="button"), method="post", action=f"/contact/erase?{_who(row)}")  # fmt: skip
    shown = {**row, **given}
    return f"Name of {kind} {id}", tag(
        "form", text("name", "Name", shown["name"], required=True), text("address", "Address", shown["address"]), text("phone", "Telephone", shown["phone"]),
        tag("button", "Keep it", type="submit", class_="button"), method="post", action=f"/contact?{_who(row)}",
    )  # fmt: skip


def _act(ledger: Ledger, erase: bool, given: dict[str, str]) -> None:
    _form(ledger, erase, given)  # refuses whoever is not in the book
    if erase:
        erase_contact(ledger, given["kind"], given["id"])
    else:
        set_contact(ledger, given["kind"], given["id"], given.get("name", ""), given.get("address", ""), given.get("phone", ""))  # fmt: skip


async def _serve(request: Request, erase: bool) -> Response:
    def act(ledger: Ledger, given: dict[str, str]) -> str:
        _act(ledger, erase, given)
        return BACK[0]

    return await serve(request, lambda ledger, given: _form(ledger, erase, given), act, BACK)


@router.api_route("/contact", methods=["GET", "POST"])
async def enter(request: Request) -> Response:
    """Enter a name."""
    return await _serve(request, False)


@router.api_route("/contact/erase", methods=["GET", "POST"])
async def erase(request: Request) -> Response:
    """Ask, then erase a name."""
    return await _serve(request, True)
