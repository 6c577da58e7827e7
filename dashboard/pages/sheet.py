"""Sheet: size a batch and its picture before the burner is lit, then open the batch and print its sheet."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update
from starlette.concurrency import run_in_threadpool

from dashboard.components.parts import choose, empty, report_table, sentence, type_in
from dashboard.components.sheet_parts import answer_parts, issued_panel, sliders
from dashboard.components.ways import for_page
from dashboard.page import Asked, Page, address, read_address, register
from ledger import quantities
from ledger.application import sheets, sheets_compare
from ledger.application.ledger import Ledger
from ledger.application.sheets import Ask, how_printed
from ledger.application.sheets_facts import remembered
from ledger.domain.books import entries as e
from ledger.domain.books.book import Book
from ledger.errors import BadInput, SlabbookError
from ledger.store.ids import uuid7

PATH = "/sheet"
PACKS = 40
SLIDERS = ("packs", "log", "rod", "piece")


def filters(ledger: Ledger, asked: Asked) -> list[Any]:
    """Which design, flavour, pack and kettle, and what the thermometer shows in boiling water."""
    book = ledger.book()
    designs = book.all(e.Design)
    if not designs:
        return []
    design = _design(book, asked)
    flavours = book.all(e.Flavour)
    flavour = asked.get("flavour") or design.flavour
    packs = [p for p in book.all(e.Pack) if p.flavour == flavour]
    kettles = [s for s in book.all(e.Station) if s.kind == "kettle"]
    reads = "209 F" if how_printed(book)[0] == "us" else "98.6 C"
    return [
        choose("design", "Design", [(d.id, d.name) for d in designs], design.id, _first(book)),
        choose("flavour", "Flavour", [("", "the design's own"), *((f.id, f.name) for f in flavours)], asked.get("flavour", "")),
        choose("pack", "Pack", [("", "the smallest"), *((p.id, p.name) for p in packs)], asked.get("pack", "")),
        choose("kettle", "Kettle", [("", "the one that fits"), *((s.id, s.name or s.id) for s in kettles)], asked.get("kettle", "")),
        choose("yield", "Sized for", [("", "the likely yield"), ("low", "a poor yield")], asked.get("yield", "")),
        type_in("water", "Boiling water reads", asked.get("water", ""), hint=f"such as {reads}"),
        type_in("barometer", "or barometer", asked.get("barometer", ""), hint="such as 97.2 kPa"),
    ]  # fmt: skip


def _first(book: Book) -> str:
    pictures = [d.id for d in book.all(e.Design) if d.kind == "picture"]
    return pictures[0] if pictures else book.all(e.Design)[0].id


def _design(book: Book, asked: Asked) -> e.Design:
    return book.get(e.Design, asked.get("design") or _first(book))


def ask_of(book: Book, asked: Asked) -> Ask:
    """What the address asks for. Sizes stand in it in the shop's units (mm or inches). Raises BadInput."""
    design = _design(book, asked)
    each = 25_400 if how_printed(book)[0] == "us" else 1_000

    def size(name: str) -> int:
        text = asked.get(name, "")
        if not text:
            return 0
        try:
            said = float(text)
            # A slider that was not moved says the design's own size, rounded for the eye.
            return 0 if said == round(getattr(design, f"{name}_um") / each, 3) else round(said * each)
        except (ValueError, OverflowError) as error:
            raise BadInput(
                f"`{text}` is no {name} size; move the slider, or leave it out of the address.", value=text
            ) from error

    return Ask(
        design=design.id, flavour=asked.get("flavour", ""), packs=quantities.count(asked.get("packs") or str(PACKS)),
        batch=asked.get("batch", ""), pack=asked.get("pack", ""), kettle=asked.get("kettle", ""), rod_um=size("rod"), piece_um=size("piece"), log_um=size("log"),
        on_low_yield=asked.get("yield") == "low",
        water_reads_mc=quantities.temperature(asked["water"]) if asked.get("water") else None,
        water_said=asked.get("water", ""), barometer_pa=quantities.pressure(asked["barometer"]) if asked.get("barometer") else None,
    )  # fmt: skip


def answer(ledger: Ledger, asked: Asked) -> list[Any]:
    """The planned sheet, or what stands in its way, in words."""
    try:
        return answer_parts(sheets.plan(ledger, ask_of(ledger.book(), asked)))
    except SlabbookError as error:
        return [
            html.Div(
                [html.H2("This cannot be planned so"), html.P(for_page(error.message))],
                className="refusal",
                role="alert",
            )
        ]


def layout(ledger: Ledger, asked: Asked) -> list[Any]:
    """The page."""
    book = ledger.book()
    if not book.all(e.Design):
        return [
            empty(
                "No design yet",
                "Load the shop's book first: designs, recipes, packs and kettles.",
                "See the book",
                "/book",
            )
        ]
    design, units = _design(book, asked), how_printed(book)[0]
    workers = [("", "nobody named"), *((w.id, w.id) for w in book.all(e.Worker))]
    parts: list[Any] = []
    if asked.get("issued"):
        parts.append(_issued(ledger, asked["issued"]))
    parts += [
        sliders(design, units, asked, PACKS),
        html.Div(answer(ledger, asked), id="sheet-answer", className="page"),
        _another(design) if asked.get("issued") else _open_panel(workers, asked),
        _lately(ledger),
    ]  # fmt: skip
    return parts


def _another(design: e.Design) -> Any:
    return html.P(dcc.Link("Plan another batch", href=f"{PATH}?design={design.id}", className="button"))


def _open_panel(workers: list[tuple[str, str]], asked: Asked) -> Any:
    batch = asked.get("batch", "")
    head, button = "Open the batch", "Open the batch and issue the sheet"
    told = "This opens a batch with the next code and keeps the sheet as it stands here, with its lots and figures."
    if batch:
        head, button = f"The sheet of batch {batch}", f"Issue the sheet of {batch}"
        told = f"Batch {batch} is open already; this keeps its sheet as it stands here, with its lots and figures."
    return html.Section(
        [
            html.H2(head),
            html.P(told),
            html.Div(
                [
                    choose("by", "Who", workers, asked.get("by", "")),
                    html.Button(
                        button,
                        id="sheet-issue",
                        type="button",
                        className="button",
                        n_clicks=0,
                    ),
                ],
                className="sheet-issue",
            ),
            html.Div(id="sheet-told", role="status"),
            dcc.Store(id="sheet-command", data=uuid7()),
        ],
        className="sheet-panel",
    )


def _issued(ledger: Ledger, batch: str) -> Any:
    try:
        sheets.kept(ledger, batch)
        report = sheets_compare.batch_report(ledger, batch)
    except SlabbookError as error:
        return html.P(for_page(error.message), className="refusal", role="alert")
    tables = [report_table(t, report.shop) for t in report.tables.values()]
    compared = html.Details([html.Summary("Plan against actual"), *sentence(report), *tables])
    return issued_panel(batch, compared)


def _lately(ledger: Ledger) -> Any:
    report = remembered(ledger, ("sheets lately",), lambda: sheets_compare.all_report(ledger, most=8))
    if not report.tables:
        return html.P("No sheet was issued yet.", className="quiet")
    table = report_table(report.tables["batches"], report.shop, {"batch": "/sheet?issued={}"})
    return html.Details([html.Summary("Sheets issued lately: plan against actual"), *sentence(report), table])


def issue(ledger: Ledger, asked: Asked, command_id: str) -> tuple[str, Any]:
    """Open the batch and keep the sheet: the batch, and nothing to tell; or no batch, and the refusal."""
    try:
        return sheets.issue(ledger, ask_of(ledger.book(), asked), asked.get("by", ""), command_id).batch, None
    except SlabbookError as error:
        return "", html.P(for_page(error.message), className="refusal", role="alert")


def sizes(values: Sequence[Any]) -> Asked:
    """What the sliders say, as an address says it."""
    return {name: f"{value:g}" for name, value in zip(SLIDERS, values, strict=True) if value is not None}


def wire(app: Dash, ledger: Ledger) -> None:
    """Answer a slider while it moves, and the button."""

    def slider(kind: Any, prop: str) -> list[Any]:
        return [kind({"type": "sheet-size", "name": name}, prop) for name in SLIDERS]

    @app.callback(
        Output("sheet-answer", "children"), State("address", "search"), *slider(Input, "value"), *slider(Input, "drag_value"),
    )  # fmt: skip
    async def _moved(search: str | None, *values: Any) -> Any:
        put, drawn = list(values[: len(SLIDERS)]), values[len(SLIDERS) :]
        for number, name in enumerate(SLIDERS):
            if any(t["prop_id"].endswith(".drag_value") and f'"{name}"' in t["prop_id"] for t in ctx.triggered):
                put[number] = drawn[number]
        return await run_in_threadpool(answer, ledger, read_address(search) | sizes(put))

    @app.callback(
        Output("address", "search", allow_duplicate=True), Output("sheet-told", "children"), Input("sheet-issue", "n_clicks"),
        State("address", "search"), State("sheet-command", "data"), *slider(State, "value"), prevent_initial_call=True,
    )  # fmt: skip
    async def _issue(clicks: int | None, search: str | None, command_id: str, *values: Any) -> Any:
        if not clicks:
            return no_update, no_update
        asked = read_address(search)
        batch, told = await run_in_threadpool(issue, ledger, asked | sizes(values), command_id)
        return (address("", asked, issued=batch, batch="") if batch else no_update), told


register(
    Page(
        path=PATH, name="Sheet", order=15, layout=layout, filters=filters,
        intro="From the jars wanted to what to weigh, how hot, how big a log",
    )
)  # fmt: skip
