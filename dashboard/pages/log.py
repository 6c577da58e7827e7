"""Log: every entry ever recorded, searchable, with the proof that none was changed."""

from __future__ import annotations

import json
from typing import Any

from dash import dcc, html

from dashboard.components.gist import gist
from dashboard.components.parts import choose, empty, table_of, type_in
from dashboard.components.ways import for_page
from dashboard.components.words import kind_words, moment
from dashboard.page import Asked, Page, address, register
from ledger.analytics.records import records
from ledger.application.ledger import Ledger
from ledger.application.reports_types import shop_of
from ledger.domain.stored_names import all_names
from ledger.errors import LedgerDamaged
from ledger.store.verify import verify_tree

MOST = 50
AMENDABLE = frozenset({"lot.received", "batch.opened", "batch.cooked", "batch.pulled", "batch.blended", "batch.built", "batch.rolled", "batch.cut", "batch.packed",
                       "batch.worked"})  # fmt: skip
"""Entries with a form that comes filled in; the others are voided and entered again."""
VOIDABLE = AMENDABLE | {
    "batch.closed",
    "lot.counted",
    "lot.sampled",
    "lot.scrapped",
    "shelf.sold",
    "shelf.shipped",
    "shelf.returned",
    "shelf.ran-out",
    "shelf.promotion-planned",
    "season.override-made",
}


def filters(_ledger: Ledger, asked: Asked) -> list[Any]:
    """Words, kind of entry, batch."""
    names = sorted(((n, f"{kind_words(n)} ({n})") for n in all_names()), key=lambda pair: pair[1])
    return [
        type_in("text", "Words in an entry", asked.get("text", ""), hint="a lot, a code, a note"),
        choose("name", "Kind", [("", "all"), *names], asked.get("name", "")),
        type_in("batch", "Batch", asked.get("batch", "")),
    ]


def layout(ledger: Ledger, asked: Asked) -> list[Any]:
    """The newest entries that match, a hundred at a time."""
    before = int(asked["before"]) if asked.get("before", "").isdigit() else None
    found = ledger.queries.log(newest_first=True, most=MOST, before=before, text=asked.get("text") or None, name=asked.get("name") or None,
                               batch=asked.get("batch") or None)  # fmt: skip
    check = html.Div(
        [dcc.Link("Verify the whole log", href=address("/log", asked, verify="1"), className="button")],
        className="actions",
    )
    parts: list[Any] = [verified(ledger) if asked.get("verify") else check]
    if found.empty:
        if any(asked.values()):
            return [
                *parts,
                empty("Nothing matches", "Change the words above, or look at all of it.", "The whole log", "/log"),
            ]
        return [
            empty(
                "The log is empty", "It begins with the first entry in the book.", "Go to the book", "/book?kind=site"
            )
        ]
    zone = ledger.book().site().zone
    shop = shop_of(ledger.book(), ledger.book().site())
    rows = [
        [
            str(r["position"]),
            moment(r["recorded_at"], zone),
            kind(r["name"]),
            html.Span(gist(r["name"], json.loads(r["payload"]), shop), className="value"),
            stream(r["stream"]),
            r["recorded_by"],
            content(r),
        ]
        for r in records(found)
    ]
    parts.append(
        table_of(
            "Entries, newest first", ["entry", "recorded", "kind", "in one line", "of", "by", "content"], rows, (0,)
        )
    )
    if before is not None:
        parts.insert(
            1,
            html.P(
                dcc.Link(
                    "Back to the newest entries", href=address("/log", asked, before="", verify=""), className="plain"
                )
            ),
        )
    if len(found) == MOST:
        parts.append(
            html.P(
                dcc.Link(
                    "Older entries",
                    href=address("/log", asked, before=str(int(found["position"].iloc[-1])), verify=""),
                    className="button",
                )
            )
        )
    return parts


def kind(name: str) -> Any:
    """What kind of entry it is in plain words, the stored name small behind."""
    return html.Span([kind_words(name), " ", html.Span(name, className="unit")])


def stream(name: str) -> Any:
    """Where an entry belongs, as a link for a batch."""
    return dcc.Link(name, href=f"/batch?batch={name.removeprefix('batch/')}") if name.startswith("batch/") else name


def content(row: dict[str, Any]) -> Any:
    """The entry's own words, opened on demand, with what may be corrected about it."""
    data = json.dumps(json.loads(row["payload"]), indent=1)
    position, name = row["position"], row["name"]
    ways = [
        (word, form)
        for word, form, names in (("Amend", "amend", AMENDABLE), ("Void", "void", VOIDABLE))
        if name in names
    ]
    buttons = [
        html.Button(word, **{"data-form": f"{form}?origin={position}"}, className="plain", **{"aria-label": f"{word} {kind_words(name)}, entry {position}"})
        for word, form in ways
    ]  # fmt: skip
    return html.Details(
        [
            html.Summary("Show", **{"aria-label": f"Show entry {position}"}),
            html.Div(buttons, className="actions") if buttons else None, html.Pre(data),
        ],
        className="log-entry",
    )  # fmt: skip


def verified(ledger: Ledger) -> Any:
    """Reads every entry and its hash again, and says what was found."""
    try:
        with ledger.queries.store.read() as reader:
            report = verify_tree(reader)
    except LedgerDamaged as error:
        return html.Div(
            [html.H2("The log does not agree with itself"), html.P(for_page(error.message))],
            className="caution",
            role="alert",
        )
    return html.Div(
        [
            html.H2(f"All {report.position} entries agree with their hashes"),
            html.P(["Root of the log: ", html.Code(report.root.hex(), style={"overflowWrap": "anywhere"})]),
            html.P("Compare this root with one that left the house (day sheet, mail): only that proves nothing was rewritten as a whole.", className="quiet"),
        ],
        className="card", role="status",
    )  # fmt: skip


register(Page(path="/log", name="Log", order=80, layout=layout, filters=filters))
