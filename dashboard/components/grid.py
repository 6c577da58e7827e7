"""Long tables that a person sorts, narrows or edits, as an AG Grid (Community) served by this very address.

Short tables and printed ones stay plain HTML (`dashboard.components.parts.table_of`, `report_table`); see `docs/adr/0010-grids.md`. The
grid's script is fetched only where a grid stands, never at the bench, and on paper a grid becomes a plain table of its rows as sorted and
narrowed (`assets/grid.js` does both).

    grid("lots", "Lots on hand", [Col("lot", "lot", link="/lots?mark={lot}"), Col("mass", "holds", "number", "kg")],
         [{"lot": "26302A-J1", "mass": 4.2, "mass~": "4.200"}])

A row holds plain values by column name. `"name~"` (optional) is the text to show where it is not the value itself: the value sorts and is
compared by filters, the text is read. A page that lets people edit gives `Col(..., editable=True)` and listens to the grid's
`cellValueChanged` by `grid_id(name)`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import dash_ag_grid
from dash import html
from dash.fingerprint import build_fingerprint

from dashboard.components.parts import WORDS, report_table
from dashboard.components.ways import for_page
from ledger.analytics.records import records
from ledger.application.report_text import cells, unit_of
from ledger.application.reports_types import Shop, Table

Row = Mapping[str, Any]
LONG = 16
"""Rows from which a table is long enough to be a grid; below it a plain table is read faster."""
AT_ONCE = 25

dash_ag_grid._js_dist[0]["async"] = "lazy"  # served, but asked for by `assets/grid.js` when the first grid appears
_THEME = {
    "function": "themeQuartz.withParams({backgroundColor:'var(--card)',foregroundColor:'var(--ink)',headerTextColor:'var(--soft)',"
    "headerBackgroundColor:'var(--card)',chromeBackgroundColor:'var(--card)',accentColor:'var(--accent)',borderColor:'var(--line)',"
    "subtleTextColor:'var(--soft)',iconColor:'var(--soft)',inputBackgroundColor:'var(--card)',inputTextColor:'var(--ink)',"
    "inputBorder:{style:'solid',color:'var(--soft)'},menuBackgroundColor:'var(--card)',menuTextColor:'var(--ink)',"
    "rowHoverColor:'var(--wash)',selectedRowBackgroundColor:'var(--wash)',oddRowBackgroundColor:'var(--card)',"
    "pickerListBackgroundColor:'var(--card)',tooltipBackgroundColor:'var(--card)',tooltipTextColor:'var(--ink)',"
    "fontFamily:'inherit',fontSize:15,headerFontWeight:600,rowHeight:48,headerHeight:48,listItemHeight:44,inputHeight:44,"
    "wrapperBorderRadius:14,borderRadius:8,browserColorScheme:'inherit'})"
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Col:
    """One column: its name in the rows, the words over it, its kind, its unit, and what a cell does.

    kind: `text`, `number` (set to the right, compared as a number), `do` (buttons; the row holds the keys of `buttons` to show).
    link: an address with `{column}` for values of the row. buttons: key -> (word, form address with `{column}`).
    editable: a cell may be typed into. width: least width in px (0: from what stands in it). extra: further properties of AG Grid's column.
    """

    name: str
    title: str
    kind: str = "text"
    unit: str = ""
    link: str = ""
    buttons: Mapping[str, tuple[str, str]] | None = None
    editable: bool = False
    width: int = 0
    extra: Mapping[str, Any] | None = None


def script_address() -> str:
    """Where the grid's script is served, with its version in the name, so that a tablet keeps it for a year."""
    path = "dash_ag_grid.min.js"
    changed = int((Path(dash_ag_grid.__file__).parent / path).stat().st_mtime)
    return f"/_dash-component-suites/dash_ag_grid/{build_fingerprint(path, dash_ag_grid.__version__, changed)}"


def grid_id(name: str) -> dict[str, str]:
    """The id of the grid called `name`, for callbacks."""
    return {"type": "grid", "name": name}


def grid(name: str, title: str, columns: Sequence[Col], rows: Sequence[Row], *, key: str = "", note: str = "", find: bool = True,
         at_once: int = AT_ONCE, options: Mapping[str, Any] | None = None) -> Any:  # fmt: skip
    """A long table: sorted by its heads, narrowed by one box (`find`) and by each column, `at_once` rows to a page.

    key: the column that tells rows apart (default the first), so that a live update keeps what a person sorted and typed. The first column
    stays while the others are pushed along. `options`: further options of AG Grid by their own names (edit types, row classes).
    """
    asked: dict[str, Any] = {
        "theme": _THEME, "domLayout": "autoHeight", "pagination": len(rows) > at_once, "paginationPageSize": at_once,
        "paginationPageSizeSelector": False, "enableCellTextSelection": True, "suppressMovableColumns": True, "animateRows": False,
        "suppressColumnVirtualisation": True, "stopEditingWhenCellsLoseFocus": True, "singleClickEdit": True, "suppressScrollOnNewData": True,
        "context": {"name": name, "title": title, "find": find, "script": script_address()}, **(options or {}),
    }  # fmt: skip
    made = dash_ag_grid.AgGrid(
        id=grid_id(name), columnDefs=[_definition(c, rows, columns[0].name) for c in columns], rowData=[dict(r) for r in rows],
        defaultColDef={"sortable": True, "resizable": True, "wrapHeaderText": True, "autoHeaderHeight": True},
        getRowId=f"params.data['{key or columns[0].name}']", dashGridOptions=asked, style={"width": "100%", "height": None},
    )  # fmt: skip
    return html.Figure(
        [html.Figcaption(title), html.Div(made, className="grid", role="region", **{"aria-label": title}), html.P(for_page(note), className="quiet") if note else None],
        className="table",
    )  # fmt: skip


def _definition(col: Col, rows: Sequence[Row], leading: str) -> dict[str, Any]:
    text = f"{col.name}~"
    longest = max((len(str(r.get(text, r.get(col.name) or ""))) for r in rows), default=0)
    width = col.width or min(max(longest * 9 + 38, len(col.title + col.unit) * 8 + 64, 84), 320)
    if col.kind == "do":
        width = col.width or 30 + 88 * max((len(r.get(col.name) or ()) for r in rows), default=1)
    made: dict[str, Any] = {
        "field": col.name, "headerName": f"{col.title}, {col.unit}" if col.unit else col.title, "minWidth": width, "width": width,
        "editable": col.editable, "cellDataType": False,
    }  # fmt: skip
    if col.name == leading:
        made["pinned"] = "left"
    elif col.kind == "text":
        made["flex"] = width
    if col.kind == "number":
        made |= {"type": "numericColumn", "filter": "agNumberColumnFilter", "cellClass": "number"}
    elif col.kind == "do":
        made |= {"sortable": False, "filter": False, "cellRenderer": "SlabButtons", "cellClass": "do", "suppressKeyboardEvent": {"function": "slabTab(params)"},
                 "cellRendererParams": {"about": leading, "buttons": {k: list(v) for k, v in (col.buttons or {}).items()}}}  # fmt: skip
    else:
        made["filter"] = "agTextColumnFilter"
    if any(text in r for r in rows):
        made["valueFormatter"] = {"function": "slabText(params)"}
    if col.link:
        made |= {
            "cellRenderer": "SlabLink",
            "cellRendererParams": {"href": col.link},
            "suppressKeyboardEvent": {"function": "slabTab(params)"},
        }
    return made | dict(col.extra or {})


def report_grid(name: str, table: Table, shop: Shop, links: Mapping[str, str] | None = None, key: str = "") -> Any:
    """A report's table as a grid where it is long, as a plain table where it is short or has a total. `links`: column -> address with `{}`."""
    if len(table.frame) < LONG or table.total is not None:
        return report_table(table, shop, dict(links or {}))
    columns = [
        Col(c.name, c.title, "text" if c.kind in WORDS else "number", unit_of(c.kind, shop), link=(links or {}).get(c.name, "").replace("{}", "{" + c.name + "#}"))
        for c in table.columns
    ]  # fmt: skip
    rows: list[dict[str, Any]] = []
    raw = records(table.frame)
    for number, shown in enumerate(cells(table, shop)):
        row: dict[str, Any] = {"#": number}
        for column, text in zip(columns, shown, strict=True):
            if column.kind == "number":
                row |= {column.name: _compared(text, raw[number].get(column.name)), f"{column.name}~": text}
            else:
                row[column.name] = text
            if column.link:
                row[f"{column.name}#"] = str(raw[number].get(column.name, ""))
        rows.append(row)
    return grid(name, table.title, columns, rows, key=key or "#", note=table.note)


def _compared(text: str, raw: Any) -> float | None:
    """The number a shown figure is compared by: in the unit shown, `1:20` in minutes, nothing where there is none."""
    plain = text.replace("\u202f", "").replace("+", "")
    hours, colon, minutes = plain.partition(":")
    try:
        if colon:
            return (abs(float(hours)) * 60 + float(minutes)) * (-1 if plain.startswith("-") else 1)
        return float(plain)
    except ValueError:
        return float(raw) if isinstance(raw, (int, float)) and raw == raw else None
