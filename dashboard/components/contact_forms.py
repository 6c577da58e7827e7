"""Names, addresses and telephone of workers, suppliers and customers: a part of the Book page, and plain forms to enter and erase them.

They go into the one table that is edited, never into the log, and no API answers with them. A write from another site's page is refused.
"""

from __future__ import annotations

from html import escape
from typing import Any
from urllib.parse import parse_qsl, urlencode, urlsplit

from dash import html
from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from dashboard.components.parts import empty, table_of
from dashboard.forms.markup import tag
from ledger.application.contacts import KINDS, erase_contact, set_contact
from ledger.application.ledger import Ledger
from ledger.domain.books import entries as e
from ledger.errors import SlabbookError, UnknownThing

router = APIRouter(include_in_schema=False)
STYLE = """main{max-width:34rem} form{display:flex;flex-direction:column;gap:1rem;margin:1rem 0} label{font-weight:600;display:block}
input{font:inherit;font-size:1.2rem;width:100%;min-height:54px;padding:.5rem .9rem;border:1.5px solid var(--soft);border-radius:12px;background:var(--card);color:var(--ink)}"""
THEME = 'try{const t=localStorage.getItem("slabbook.theme")||(matchMedia("(prefers-color-scheme: dark)").matches?"dark":"light");document.documentElement.setAttribute("data-mantine-color-scheme",t)}catch(e){}'


def contact_rows(ledger: Ledger) -> list[dict[str, str]]:
    """Everyone the book or the table of contacts knows: kind, id, name, address, phone (empty where nothing is kept)."""
    found = {(r["kind"], r["id"]): {k: str(v or "") for k, v in r.items()} for r in ledger.queries.contacts().to_dict("records")}  # fmt: skip
    book = ledger.book()
    for kind, things in (("shop", book.all(e.Site)), ("worker", book.all(e.Worker)), ("partner", book.all(e.Partner))):
        for thing in things:
            if not any(
                other == thing.id and (k == kind or (kind == "partner" and k not in ("worker", "shop"))) for k, other in found
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


def _page(title: str, body: str, refusal: str = "", status: int = 200) -> HTMLResponse:
    told = tag("p", refusal, class_="refusal", role="alert") if refusal else ""
    return HTMLResponse(
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>{escape(title)}</title>'
        f'<script>{THEME}</script><link rel="stylesheet" href="/assets/slabbook.css"><style>{STYLE}</style></head><body><main><h1>{escape(title)}</h1>{told}{body}'
        '<p><a href="/book?kind=contacts">Back to the book</a></p></main></body></html>',
        status, headers={"Cache-Control": "no-store"},
    )  # fmt: skip


def _field(name: str, label: str, value: str, required: bool = False) -> str:
    return tag("div", tag("label", label, for_=name), tag("input", id=name, name=name, value=value, required=required, autocomplete="off"))  # fmt: skip


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
        "form", _field("name", "Name", shown["name"], True), _field("address", "Address", shown["address"]), _field("phone", "Telephone", shown["phone"]),
        tag("button", "Keep it", type="submit", class_="button"), method="post", action=f"/contact?{_who(row)}",
    )  # fmt: skip


def _act(ledger: Ledger, erase: bool, given: dict[str, str]) -> None:
    _form(ledger, erase, given)  # refuses whoever is not in the book
    if erase:
        erase_contact(ledger, given["kind"], given["id"])
    else:
        set_contact(ledger, given["kind"], given["id"], given.get("name", ""), given.get("address", ""), given.get("phone", ""))  # fmt: skip


async def _serve(request: Request, erase: bool) -> Response:
    ledger: Ledger = request.app.state.ledger
    given = dict(request.query_params)
    refusal = ""
    try:
        if request.method == "POST":
            origin, host = request.headers.get("origin"), request.headers.get("host", "")
            if origin and urlsplit(origin).netloc != host:
                return _page("Not from here", "", f"A page of {origin} may not write here.", 403)
            given |= dict(parse_qsl((await request.body()).decode("utf-8", "replace"), keep_blank_values=True))
            try:
                await run_in_threadpool(_act, ledger, erase, given)
                return RedirectResponse("/book?kind=contacts", 303)
            except UnknownThing:
                raise
            except SlabbookError as error:
                refusal = error.message
        title, body = await run_in_threadpool(_form, ledger, erase, given)
    except SlabbookError as error:
        return _page("This form cannot be opened", "", error.message, 404)
    return _page(title, body, refusal, 422 if refusal else 200)


@router.api_route("/contact", methods=["GET", "POST"])
async def enter(request: Request) -> Response:
    """Enter a name."""
    return await _serve(request, False)


@router.api_route("/contact/erase", methods=["GET", "POST"])
async def erase(request: Request) -> Response:
    """Ask, then erase a name."""
    return await _serve(request, True)
