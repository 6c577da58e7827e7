"""Parts every page is made of: tables from reports, fields that live in the address, charts, empty states."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import dash_mantine_components as dmc
import plotly.graph_objects as go
from dash import dcc, html

from dashboard.components.ways import for_page
from ledger.application.report_text import cells, unit_of
from ledger.application.reports_types import Report, Shop, Table
from ledger.domain.books.book import Book
from ledger.domain.books.entries import KINDS

NOTHING = "-"
WORDS = ("text", "day", "flavour", "design", "item", "channel", "yes")


def report_table(table: Table, shop: Shop, links: dict[str, str] | None = None, most: int = 0) -> Any:
    """A report's table as HTML. `links`: column -> address with `{}` for the cell's code. `most`: rows shown before a note."""
    if table.frame.empty:
        return html.P(f"{table.title}: nothing recorded.", className="quiet")
    body, total = cells(table, shop), None
    if table.total is not None:
        body, total = body[:-1], body[-1]
    cut = len(body) - most if most and len(body) > most else 0
    words = [c.kind in WORDS for c in table.columns]
    head = [
        html.Th([c.title, html.Span(f" {unit_of(c.kind, shop)}", className="unit") if unit_of(c.kind, shop) else ""], scope="col",
                className="" if w else "number")
        for c, w in zip(table.columns, words, strict=True)
    ]  # fmt: skip
    rows = [html.Tr(_cells(row, table, words, links or {}, number)) for number, row in enumerate(body[: most or None])]
    foot = (
        [html.Tfoot(html.Tr([html.Td(x, className="" if w else "number") for x, w in zip(total, words, strict=True)]))]
        if total
        else []
    )
    said = [for_page(table.note)] if table.note else []
    if cut:
        said.append(f"{cut} more rows are in the file.")
    return html.Figure(
        [
            html.Figcaption(table.title),
            html.Div(html.Table([html.Thead(html.Tr(head)), html.Tbody(rows), *foot]), className="scroll", tabIndex="0", role="region",
                     **{"aria-label": table.title}),
            html.P(" ".join(said), className="quiet") if said else None,
        ],
        className="table",
    )  # fmt: skip


def _cells(row: list[str], table: Table, words: list[bool], links: dict[str, str], number: int) -> list[Any]:
    done: list[Any] = []
    for text, column, word in zip(row, table.columns, words, strict=True):
        inner: Any = text or ("none" if not done else "")  # hours without a flavour, a batch without a design
        code = str(table.frame.iloc[number][column.name]) if column.name in links and column.name in table.frame else ""
        if code:
            inner = dcc.Link(text, href=links[column.name].format(code))
        done.append(html.Td(inner, className="day" if column.kind == "day" else "" if word else "number"))
    return done


def table_of(title: str, head: Sequence[str], rows: Sequence[Sequence[Any]], numbers: Sequence[int] = ()) -> Any:
    """A plain table: `numbers` are the columns set to the right."""
    kind = ["number" if i in numbers else "" for i in range(len(head))]
    return html.Figure(
        [
            html.Figcaption(title),
            html.Div(
                html.Table([
                    html.Thead(html.Tr([html.Th(h, scope="col", className=k) for h, k in zip(head, kind, strict=True)])),
                    html.Tbody([html.Tr([html.Td(x, className=k) for x, k in zip(row, kind, strict=True)]) for row in rows]),
                ]),
                className="scroll", tabIndex="0", role="region", **{"aria-label": title},
            ),
        ],
        className="table",
    )  # fmt: skip


def chart(figure: go.Figure, described: str) -> Any:
    """A chart with its words for those who cannot see it. The title of the figure says what to do."""
    title = str(figure.layout.meta or "")
    return html.Figure(
        [
            html.Figcaption(title),
            html.Div(
                dcc.Graph(figure=figure, config={"displayModeBar": False, "responsive": True}),
                role="img",
                **{"aria-label": f"{title}. {described}"},
            ),
        ],
        className="chart",
    )


def empty(title: str, first: str, link: str = "", to: str = "") -> Any:
    """Nothing is here yet: what to do first."""
    return html.Div(
        [html.H2(title), html.P(first), html.P(dcc.Link(link, href=to, className="button")) if link else None],
        className="empty",
    )


FIRST = (("site", "the shop itself: name, time zone, units"), ("material", "materials: sugar, syrup, flavours, colours"), ("flavour", "a flavour"), ("recipe", "its recipe"),
         ("design", "a design"), ("pack", "a jar or bag"), ("worker", "the hands, by initials"), ("channel", "where you sell"))  # fmt: skip


def first_steps(book: Book) -> Any:
    """What to enter before the first batch, in order, each with its place; what is there already is ticked."""
    items = [
        html.Li([dcc.Link(words[0].upper() + words[1:], href=f"/book?kind={kind}"), " (done)" if there else ""], className="done" if there else "")
        for kind, words in FIRST for there in [bool(book.all(KINDS[kind]))]
    ]  # fmt: skip
    return html.Div(
        [
            html.H2("Enter these first"),
            html.P("In this order, each in the book; then a batch can be opened at the bench."),
            html.Ol(items, className="first-steps"),
        ],
        className="empty",
    )


def next_to_enter(book: Book) -> list[Any]:
    """One line with what a young book still lacks, each a link to its place; nothing once all of it is there."""
    lacking = [(kind, words) for kind, words in FIRST if not book.all(KINDS[kind])]
    if not lacking:
        return []
    links: list[Any] = []
    for kind, words in lacking:
        links += [", " if links else "", dcc.Link(words, href=f"/book?kind={kind}")]
    return [html.P(["Still to enter in the book: ", *links, "."], className="note")]


def sentence(report: Report) -> list[Any]:
    """What mattered, in words, with the notes."""
    return [
        html.P(for_page(report.sentence), className="sentence"),
        *[html.P(for_page(n), className="note") for n in report.notes],
    ]


def choose(name: str, label: str, options: Sequence[tuple[str, str]], value: str, unset: str = "") -> Any:
    """A choice that lives in the address under `name`. `unset`: the value that stands where the address says nothing."""
    data = [{"value": v or NOTHING, "label": text} for v, text in options]
    return dmc.Select(
        id={"type": "filter", "name": name, "unset": unset or NOTHING}, label=label, data=data, value=value or NOTHING, size="md",
        allowDeselect=False, searchable=len(data) > 12, comboboxProps={"transitionProps": {"duration": 0}},
    )  # fmt: skip


def type_in(name: str, label: str, value: str, kind: str = "text", hint: str = "") -> Any:
    """A typed filter that lives in the address under `name` (written half a second after the last key)."""
    inputs = {"inputProps": {"type": kind}} if kind != "text" else {}
    return dmc.TextInput(id={"type": "filter", "name": name, "unset": ""}, label=label, value=value, debounce=500, placeholder=hint, size="md",
                         **inputs)  # fmt: skip


def files(report: str, asked: dict[str, str], tables: Sequence[str] = ()) -> Any:
    """Links to the report as files."""
    from dashboard.page import address

    path = f"/api/v1/reports/{report}"
    links = [html.A("Spreadsheet (XLSX)", href=address(path, asked, form="xlsx"), download="")]
    links += [html.A(f"{t} (CSV)", href=address(path, asked, form="csv", table=t), download="") for t in tables]
    return html.P(["Take it with you: ", *[x for a in links for x in (a, " ")]], className="files")
