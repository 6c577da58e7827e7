"""Book: what the shop knows before a burner is lit, each entry with its history. Names of people are kept elsewhere."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from dash import dcc, html

from dashboard.components.book_words import compared, label, value
from dashboard.components.contact_forms import contacts_part
from dashboard.components.grid import LONG, Col, grid
from dashboard.components.parts import FIRST, choose, empty, first_steps, next_to_enter, table_of
from dashboard.page import Asked, Page, address, register
from ledger.analytics.records import records
from ledger.application.ledger import Ledger
from ledger.domain.books.entries import KINDS
from ledger.errors import UnknownThing

PLURAL = {"site": "the shop", "material": "materials", "flavour": "flavours", "design": "designs", "recipe": "recipes", "pack": "packs", "worker": "workers",
          "station": "stations", "feast": "feasts", "partner": "suppliers and customers", "channel": "channels", "planning": "what a plan assumes"}  # fmt: skip
SINGULAR = {"pack": "jar or bag", "worker": "pair of hands", "partner": "supplier or customer", "channel": "place where you sell", "planning": "set of assumptions"}  # fmt: skip


def filters(_ledger: Ledger, asked: Asked) -> list[Any]:
    """Which kind."""
    return [
        choose(
            "kind",
            "What",
            [*[(k, PLURAL[k]) for k in KINDS], ("contacts", "names and addresses")],
            asked.get("kind", "recipe"),
            "recipe",
        )
    ]


def layout(ledger: Ledger, asked: Asked) -> list[Any]:
    """Entries of one kind."""
    kind = asked.get("kind") or "recipe"
    if kind == "contacts":
        return contacts_part(ledger)
    if kind not in KINDS:
        raise UnknownThing(
            f"There is no kind of book entry `{kind}`; known are {', '.join(KINDS)}.", kind="book", id=kind
        )
    add = html.Div(
        html.Button(
            f"Enter {'the shop' if kind == 'site' else 'a new ' + SINGULAR.get(kind, kind)}",
            **{"data-form": f"define?kind={kind}"},
            className="button",
        ),
        className="actions",
    )
    lacking = next_to_enter(ledger.book())
    found = ledger.queries.book_history(kind)
    if kind in ("site", "planning") and not found.empty:
        add = None  # a book has one of these: it is entered anew, not beside itself
    if found.empty:
        book = ledger.book()
        if any(not book.all(KINDS[needed]) for needed, _ in FIRST):
            return [add, first_steps(book)]
        return [add, empty(f"No {PLURAL[kind]} yet", "What is entered here stands here with its history.")]
    by_id = {str(id): rows for id, rows in found.groupby("id", sort=True)}
    chosen = asked.get("id", "")
    if chosen:
        if chosen not in by_id:
            raise UnknownThing(f"There is no {kind} `{chosen}` in the book.", kind="book", id=chosen)
        back = dcc.Link(f"All {PLURAL[kind]}", href=address("/book", {"kind": kind}), className="plain")
        return [html.Div(back, className="actions"), entry(ledger, kind, chosen, by_id[chosen], opened=True)]
    if len(by_id) >= LONG:
        return [*lacking, add, overview(ledger, kind, [records(rows.tail(1))[0] for rows in by_id.values()])]
    return [*lacking, add, *[entry(ledger, kind, id, rows, opened=len(by_id) == 1) for id, rows in by_id.items()]]


def overview(ledger: Ledger, kind: str, newest: list[dict[str, Any]]) -> Any:
    """Many entries of one kind side by side, newest version of each; the code leads to the entry with its history."""
    site = ledger.book().site()
    order = [f.name for f in fields(KINDS[kind]) if f.name not in ("id", "lines", "steps")]
    rows: list[dict[str, Any]] = []
    for version in newest:
        row: dict[str, Any] = {"id": str(version["id"]), "version": int(version["version"]), "day": version["day"]}
        for name in order:
            raw = version["data"].get(name)
            number, text = compared(name, raw, site), value(name, raw, site)
            row |= {f"f_{name}": text} if number is None else {f"f_{name}": number, f"f_{name}~": text}
        rows.append(row)
    names = [f"f_{x}" for x in order]
    numbers = {n for n in names if any(isinstance(r[n], float) for r in rows)}
    telling = [
        n for n in names if len({str(r.get(n, "")) for r in rows}) > 1
    ]  # what all of them share tells nothing here
    columns = [
        Col("id", "code", link=f"/book?kind={kind}&id={{id}}"),
        *[Col(n, label(kind, n.removeprefix("f_")).lower(), "number" if n in numbers else "text") for n in telling[:9]],
        Col("version", "version", "number"), Col("day", "since"),
    ]  # fmt: skip
    return grid(f"book-{kind}", PLURAL[kind].capitalize(), columns, rows)


def name_of(ledger: Ledger, kind: str, id: str) -> str:
    """What a person or business is called, from the names kept beside the book (empty: none)."""
    if kind not in ("partner", "worker"):
        return ""
    found = ledger.queries.contacts()
    mine = found[(found["kind"] == kind) & (found["id"] == id)]
    return str(mine["name"].iloc[0]) if len(mine) else ""


def entry(ledger: Ledger, kind: str, id: str, rows: Any, opened: bool = False) -> Any:
    """One entry with every version, what changed in each, and a button to enter it anew."""
    site = ledger.book().site()
    versions = records(rows)
    newest = versions[-1]
    order = [f.name for f in fields(KINDS[kind])]
    facts = [
        [label(kind, k), html.Span(value(k, newest["data"].get(k), site), className="value")]
        for k in order
        if k != "id" and value(k, newest["data"].get(k), site)
    ]
    history = []
    for before, row in zip([None, *versions[:-1]], versions, strict=True):
        changed = "first entered" if before is None else "; ".join(
            f"{label(kind, k)}: {value(k, before['data'].get(k), site) or 'nothing'} to {value(k, row['data'].get(k), site) or 'nothing'}"
            for k in order if before["data"].get(k) != row["data"].get(k)
        )  # fmt: skip
        history.append([str(row["version"]), row["day"], str(row["position"]), html.Span(changed, className="value")])
    name = newest["data"].get("name") or newest["data"].get("flavour") or name_of(ledger, kind, id)
    return html.Details(
        [
            html.Summary([html.Strong(id), f" {name}" if name and name != id else "", f", version {newest['version']}"]),
            html.Button("Enter it anew", **{"data-form": f"define?kind={kind}&id={id}"}, className="plain", **{"aria-label": f"Enter {kind} {id} anew"}),
            table_of(f"{id} now", ["field", "what it says"], facts), table_of(f"History of {id}", ["version", "day", "entry", "what changed"], history),
        ],
        className="card", open=opened,
    )  # fmt: skip


register(Page(path="/book", name="Book", order=60, layout=layout, filters=filters))
