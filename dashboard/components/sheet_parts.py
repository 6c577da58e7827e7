"""Parts of the sheet's page: sliders, pictures, what to weigh, warnings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import dcc, html

from dashboard.components.parts import table_of
from dashboard.components.ways import for_page
from dashboard.page import Asked
from ledger.application.sheets import Planned
from ledger.craft.sheet import BatchSheet
from ledger.craft.sheet_text import (
    SAFETY,
    SAFETY_NOTE,
    Row,
    SheetText,
    Units,
    percent,
    sheet_text,
    size_text,
    weigh_text,
)
from ledger.domain.books import entries as e


def _slider(
    name: str,
    label: str,
    low: float,
    high: float,
    step: float,
    usual: float,
    asked: Asked,
    marks: Mapping[float, str] | Mapping[int, str],
    kept: str,
) -> Any:
    try:
        value = min(max(float(asked.get(name) or usual), low), high)
    except ValueError:
        value = usual
    return html.Div(
        [
            html.Label(label, className="sheet-label", id=f"sheet-{name}-label"),
            dcc.Slider(
                id={"type": "sheet-size", "name": name}, min=low, max=high, step=step, value=value, marks=dict(marks),
                included=True, persistence=f"{kept}.{value:g}", persistence_type="session", tooltip={"placement": "top", "always_visible": False},
            ),
        ],
        className="sheet-slider", role="group", **{"aria-labelledby": f"sheet-{name}-label"},
    )  # fmt: skip


def sliders(design: e.Design, units: Units, asked: Asked, packs: int) -> Any:
    """Packs, log, rod and piece, in the shop's units; each answers while it moves, and stays where it was put (for this design, in this tab)."""
    us = units == "us"
    each, word = (25_400, "in") if us else (1_000, "mm")
    low, high, step = (0.1875, 1.25, 0.03125) if us else (5.0, 30.0, 0.1)
    sizes = (
        {0.25: "¼", 0.5: "½", 0.75: "¾", 1.0: "1", 1.25: "1¼"}
        if us
        else {5: "5", 10: "10", 15: "15", 20: "20", 25: "25", 30: "30"}
    )
    logs = (
        {2.5: "2½", 5: "5", 7.5: "7½", 10: "10"} if us else {60: "60", 100: "100", 150: "150", 200: "200", 260: "260"}
    )
    return html.Div(
        [
            _slider("packs", "Packs", 5, 200, 1, packs, asked, {5: "5", 40: "40", 80: "80", 120: "120", 160: "160", 200: "200"}, design.id),
            _slider("log", f"Log across, {word}", *((2.5, 10.0, 0.125) if us else (60.0, 260.0, 1.0)), round(design.log_um / each, 3), asked, logs, design.id),
            _slider("rod", f"Rod across, {word}", low, high, step, round(design.rod_um / each, 3), asked, sizes, design.id),
            _slider("piece", f"Piece long, {word}", low, high, step, round(design.piece_um / each, 3), asked, sizes, design.id),
        ],
        className="sheet-sliders",
    )  # fmt: skip


def issued_panel(batch: str, compared: Any) -> Any:
    """A batch is open: where its sheet is."""
    base = f"/api/v1/batches/{batch}"
    return html.Section(
        [
            html.H2(f"Batch {batch} is open, its sheet is kept"),
            html.P(
                [
                    html.A("Sheet to print (PDF)", href=f"{base}/sheet.pdf", target="_blank", className="button"), " ",
                    html.A("Section of the log, one to one (PDF)", href=f"{base}/section.pdf", target="_blank"), " ",
                    html.A("Sheet as a page", href=f"{base}/sheet.html", target="_blank"), " ",
                    dcc.Link("Record at the batch's page", href=f"/batch?batch={batch}"),
                ],
                className="sheet-links",
            ),
            compared,
        ],
        className="sheet-panel sheet-done", role="status",
    )  # fmt: skip


def answer_parts(planned: Planned) -> list[Any]:
    """The whole answer: warnings, figures, pictures, weights, sizes, build."""
    sheet, units = planned.sheet, planned.units
    text = sheet_text(sheet, units)
    return [
        _warnings(text, planned.hints),
        _facts(text),
        html.Div([_pictures(sheet, text, units), _sizes(text)], className="sheet-two"),
        html.Div(
            [
                _weigh("In the kettle", text.kettle, "lots"),
                _weigh("After the cook", text.after, "lots"),
                _weigh("Pour", text.pours, "how"),
                _weigh("Blend", text.blends, "of"),
            ],
            className="sheet-two",
        ),
        _portions(sheet, units),
        html.Div([_list("Build", text.build), _steps(text)], className="sheet-two"),
        html.P([html.Strong("Allergens: "), text.allergens, html.Br(), text.changeover], className="allergens"),
        html.P([html.Strong("Caution. "), SAFETY, " ", SAFETY_NOTE], className="caution"),
        html.Details([html.Summary("What this stands on"), html.Ul([html.Li(for_page(x)) for x in (*planned.notes, text.footer)])]),
    ]  # fmt: skip


def _warnings(text: SheetText, hints: tuple[str, ...]) -> Any:
    if not text.flags:
        return html.P("Nothing to warn of.", className="quiet", role="status")
    return html.Div(
        [html.H2("Look at this first"), html.Ul([html.Li(x) for x in (*text.flags, *hints)])],
        className="sheet-warn",
        role="status",
    )


def _facts(text: SheetText) -> Any:
    return html.Dl(
        [
            html.Div([html.Dt(label), html.Dd(value, className="sheet-figure"), html.Dd(remark, className="quiet")])
            for label, value, remark in text.facts
        ],
        className="sheet-facts",
    )


def _pictures(sheet: BatchSheet, text: SheetText, units: Units) -> Any:
    picture = f"data:image/png;base64,{sheet.picture_png_base64}"
    log, rod = sheet.sizes.log_um / 1000, sheet.sizes.rod_um / 1000
    thin = [
        [item.title, f"{item.line_um / 1000:.2f} mm", f"{item.gap_um / 1000:.2f} mm" if item.gap_um else "none"]
        if units == "metric"
        else [
            item.title,
            f"{item.line_um / 25_400:.3f} in",
            f"{item.gap_um / 25_400:.3f} in" if item.gap_um else "none",
        ]
        for item in sheet.thinness
    ]
    return html.Section(
        [
            html.H2("Picture"),
            html.Div(
                [
                    html.Figure(
                        [html.Img(src=picture, alt=f"Section of the log: {sheet.design}", className="sheet-log"),
                         html.Figcaption(f"Log, {size_text(sheet.sizes.log_um, units)} across, made small")]
                    ),
                    html.Figure(
                        [html.Img(src=picture, alt=f"Section of the rod, true size: {sheet.design}", style={"width": f"{rod:.2f}mm", "height": f"{rod:.2f}mm"}),
                         html.Figcaption(f"Rod, {size_text(sheet.sizes.rod_um, units)}, true size at 100 % zoom")]
                    ),
                ],
                className="sheet-pictures",
            ),
            html.P(text.thin, className="quiet"),
            html.Details([html.Summary("Thinnest line and gap of each portion in the rod"), table_of("In the rod", ["portion", "line", "gap"], thin, (1, 2))]),
            html.Details(
                [html.Summary("The picture at build size"),
                 html.Div(html.Img(src=picture, alt="Section of the log at build size", style={"width": f"{log:.1f}mm", "height": f"{log:.1f}mm"}), className="sheet-build",
                          tabIndex="0", role="region", **{"aria-label": "Picture at build size"})]
            ),
        ]
    )  # fmt: skip


def _sizes(text: SheetText) -> Any:
    return _list("Log to packs", text.sizes)


def _list(title: str, rows: tuple[tuple[str, str], ...]) -> Any:
    body = [
        html.Tr([html.Th(a, scope="row", className="sheet-wrap"), html.Td(b, className="sheet-wrap")]) for a, b in rows
    ]
    return html.Figure(
        [html.Figcaption(title), html.Div(html.Table(html.Tbody(body)), className="scroll", tabIndex="0", role="region", **{"aria-label": title})],
        className="table",
    )  # fmt: skip


def _whole_words(text: str) -> list[Any]:
    """A note whose words stay whole: a lot's code is not parted at its hyphen."""
    return [part for word in text.split() for part in (html.Span(word, className="whole"), " ")][:-1]


def _weigh(title: str, rows: tuple[Row, ...], note: str) -> Any:
    if not rows:
        return None
    body = [
        html.Tr(
            [
                html.Td(
                    [
                        html.Span(className="sheet-swatch", style={"background": row.colour}) if row.colour else None,
                        row.title,
                    ],
                    className="sheet-wrap",
                ),
                html.Td(row.mass, className="number sheet-mass"),
                html.Td(_whole_words(row.note), className="sheet-wrap"),
            ]
        )
        for row in rows
    ]
    head = html.Tr(
        [html.Th("what", scope="col"), html.Th("weigh", scope="col", className="number"), html.Th(note, scope="col")]
    )
    table = html.Table([html.Thead(head), html.Tbody(body)])
    return html.Figure(
        [html.Figcaption(title), html.Div(table, className="scroll", tabIndex="0", role="region", **{"aria-label": title})],
        className="table",
    )  # fmt: skip


def _portions(sheet: BatchSheet, units: Units) -> Any:
    rows = [
        [
            html.Span([html.Span(className="sheet-swatch", style={"background": p.colour}), p.title]), percent(p.area_ppm),
            weigh_text(p.in_log_mg, units), weigh_text(p.make_mg, units), f"{p.density_kg_m3}",
        ]
        for p in sheet.portions
    ]  # fmt: skip
    return table_of(
        "Portions of the picture", ["portion", "of the section", "in the log", "make", "kg/m³"], rows, (1, 2, 3, 4)
    )


def _steps(text: SheetText) -> Any:
    return _list("Steps and their time", tuple((title, f"{time} {at}".strip()) for title, time, at in text.steps))
