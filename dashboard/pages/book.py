"""Book: what the shop knows before a burner is lit, each entry with its history. Names of people are kept elsewhere."""

from __future__ import annotations

from typing import Any

from dash import html

from dashboard.components.contact_forms import contacts_part
from dashboard.components.parts import choose, empty, table_of
from dashboard.page import Asked, Page, register
from ledger.application.ledger import Ledger
from ledger.domain.books.entries import KINDS
from ledger.errors import UnknownThing
from ledger.interfaces.web_api.wire import spoken
from ledger.quantities import duration_text

PLURAL = {"site": "the shop", "material": "materials", "flavour": "flavours", "design": "designs", "recipe": "recipes", "pack": "packs", "worker": "workers",
          "station": "stations", "feast": "feasts", "partner": "suppliers and customers", "channel": "channels", "planning": "what a plan assumes"}  # fmt: skip


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
        html.Button(f"Enter a new {kind}", **{"data-form": f"define?kind={kind}"}, className="button"),
        className="actions",
    )
    found = ledger.queries.book_history(kind)
    if found.empty:
        order = "Start with the shop, then materials, a flavour, its recipe, a pack, workers and a channel."
        return [add, empty(f"No {PLURAL[kind]} yet", order)]
    return [add, *[entry(ledger, kind, str(id), rows) for id, rows in found.groupby("id", sort=True)]]


def entry(ledger: Ledger, kind: str, id: str, rows: Any) -> Any:
    """One entry with every version, what changed in each, and a button to enter it anew."""
    site = ledger.book().site()
    versions = rows.to_dict("records")
    newest = versions[-1]
    facts = [
        [k, words(v)] for k, v in (spoken(k, v, site) for k, v in newest["data"].items()) if k != "id" and words(v)
    ]
    history = []
    for before, row in zip([None, *versions[:-1]], versions, strict=True):
        changed = "first entered" if before is None else "; ".join(
            f"{spoken(k, v, site)[0]}: {words(spoken(k, before['data'].get(k), site)[1]) or 'nothing'} to {words(spoken(k, v, site)[1]) or 'nothing'}"
            for k, v in row["data"].items() if before["data"].get(k) != v
        )  # fmt: skip
        history.append([str(row["version"]), row["day"], str(row["position"]), changed])
    name = newest["data"].get("name") or newest["data"].get("flavour") or ""
    return html.Details(
        [
            html.Summary([html.Strong(id), f" {name}" if name and name != id else "", f", version {newest['version']}"]),
            html.Button("Enter it anew", **{"data-form": f"define?kind={kind}&id={id}"}, className="plain", **{"aria-label": f"Enter {kind} {id} anew"}),
            table_of(f"{id} now", ["", ""], facts), table_of(f"History of {id}", ["version", "day", "entry", "what changed"], history),
        ],
        className="card", open=len(rows) > 0 and False,
    )  # fmt: skip


def words(value: Any) -> str:
    """A book value in words."""
    if isinstance(value, dict):
        if set(value) == {"value", "unit"}:
            if value["unit"] == "s":
                return duration_text(int(value["value"]))
            return f"{value['value']} {value['unit'].replace('Cel', '°C')}".removesuffix(" 1")
        return ", ".join(f"{k} {words(v)}" for k, v in value.items() if words(v))
    if isinstance(value, (list, tuple)):
        return "; ".join(words(x) for x in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else str(value)


register(Page(path="/book", name="Book", order=60, layout=layout, filters=filters))
