"""A report as terminal tables, as plain data for JSON, and as CSV. The one place that turns figures into words and units."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

import numpy as np
import pandas as pd
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from ledger.application.report_table import WORDS as _WORDS
from ledger.application.report_table import TerminalTable
from ledger.application.reports_types import Column, Report, Shop, Table
from ledger.quantities import fixed

_LB_MG, _OZ_MG = 453_592.37, 28_349.523125
NOTHING = "–"
"""Shown where a measure has nothing to measure."""


def unit_of(kind: str, shop: Shop) -> str:
    """The unit that stands in the head of a column of this kind (empty: none)."""
    us = shop.units == "us"
    return {
        "mass": "lb" if us else "kg", "small": "oz" if us else "g", "time": "h:min", "share": "%", "points": "%-points", "move": "%-points", "cover": "days", "change": "%",
        "per_mass": "min/lb" if us else "min/kg", "minutes": "min", "rate": "a day", "days": "days", "money": shop.currency,
    }.get(kind, "")  # fmt: skip


def shown(value: Any, kind: str, shop: Shop) -> str:
    """One figure in the shop's units, without the unit."""
    if kind in _WORDS:
        if kind == "yes":
            return "yes" if value else ""
        text = "" if value is None or (isinstance(value, float) and math.isnan(value)) else str(value)
        return shop.name(kind, text) if kind in shop.names else text
    if value is None or value == "" or (isinstance(value, (float, np.floating)) and math.isnan(value)):
        return NOTHING
    us = shop.units == "us"
    if kind in ("mass", "small"):
        unit, places = ((_LB_MG, 2) if us else (1e6, 3)) if kind == "mass" else ((_OZ_MG, 2) if us else (1e3, 1))
        return _number(float(value) / unit, places)
    if kind == "time":
        minutes = round(abs(int(value)) / 60)
        return f"{'-' if value < 0 else ''}{minutes // 60}:{minutes % 60:02d}"
    if kind == "money":
        return fixed(round(value), 10**shop.currency_digits, shop.currency_digits)
    if kind == "share":
        return _number(100 * float(value), 1)
    if kind in ("points", "change"):
        return f"{100 * float(value):+.1f}" if math.isfinite(value) else NOTHING
    if kind == "per_mass":
        return _number(float(value) * (_LB_MG / 1e6 if us else 1.0), 1)
    if kind in ("minutes", "rate"):
        return _number(float(value), 1)
    if kind == "move":
        return f"{100 * float(value):.1f}"
    if kind == "cover":
        return _number(float(value), 1)
    if kind == "days":
        return _number(float(value), 0)
    if kind == "count":
        return _number(float(value), 0)
    return _number(float(value), 3)


def _number(value: float, places: int) -> str:
    if not math.isfinite(value):
        return NOTHING
    text = f"{value:,.{places}f}".replace(",", "\u202f")
    return text[1:] if text.startswith("-") and not text.strip("-0.\u202f") else text


def head(column: Column, shop: Shop) -> str:
    """The words over a column, with its unit."""
    unit = unit_of(column.kind, shop)
    return f"{column.title}\n{unit}" if unit else column.title


def cells(table: Table, shop: Shop) -> list[list[str]]:
    """Every row as shown, the total last where there is one."""
    rows = shown_rows(table)
    done = [[_cell(row, column, shop) for column in table.columns] for row in rows]
    if table.total is not None and rows:
        done.append(
            [_cell(table.total, column, shop) if column.name in table.total else "" for column in table.columns]
        )
    return done


def shown_rows(table: Table) -> list[dict[str, Any]]:
    """The rows of a table with the columns it names, and `kind` where a column is shown by its row's own."""
    names = [name for name in dict.fromkeys([*(c.name for c in table.columns), "kind"]) if name in table.frame]
    values = zip(*(table.frame[name].tolist() for name in names), strict=True)
    return [dict(zip(names, row, strict=True)) for row in values]


def head_and_cells(table: Table, shop: Shop) -> list[list[str]]:
    """The heads of the columns first, then every row as shown."""
    return [[head(column, shop) for column in table.columns], *cells(table, shop)]


def _cell(row: Any, column: Column, shop: Shop) -> str:
    value = row.get(column.name)
    if column.dash and not value:
        return NOTHING
    if column.kind != "row":
        return shown(value, column.kind, shop)
    kind = row.get("kind", "number")
    text, unit = shown(value, kind, shop), "h" if kind == "time" else unit_of(kind, shop)
    return f"{text} {unit}" if unit and text != NOTHING else text


def renderable(report: Report, only: tuple[str, ...] = ()) -> RenderableType:
    """The whole report for a rich console; `only` names tables to show."""
    parts: list[RenderableType] = [
        Text(report.title, style="bold"),
        Text(report.sentence),
        *(Text(n, style="italic") for n in report.notes),
    ]
    for name, table in report.tables.items():
        if (not only or name in only) and not table.frame.empty:
            parts.append(Padding(TerminalTable(table, head_and_cells(table, report.shop)), (1, 0, 0, 0)))
    when = f", recorded {report.as_of.recorded_at}" if report.as_of.recorded_at else ""
    root = f" Root {report.as_of.root}." if report.as_of.root else ""
    parts.append(Padding(Text(f"As of entry {report.as_of.position}{when}.{root}", style="dim"), (1, 0, 0, 0)))
    return Group(*parts)


def as_text(report: Report, width: int = 120, only: tuple[str, ...] = ()) -> str:
    """The report as plain text of at most `width` columns."""
    console = Console(file=io.StringIO(), width=width, force_terminal=False, color_system=None, legacy_windows=False)
    console.print(renderable(report, only))
    text: str = console.file.getvalue()  # type: ignore[attr-defined]
    return "\n".join(line.rstrip() for line in text.splitlines()) + "\n"


def as_data(report: Report) -> dict[str, Any]:
    """The report as plain data for JSON: canonical figures (mg, s, minor units, shares), None where there is nothing to measure."""
    return {
        "report": report.name,
        "title": report.title,
        "as_of": {
            "position": report.as_of.position,
            "recorded_at": report.as_of.recorded_at,
            "root": report.as_of.root,
        },
        "sentence": report.sentence,
        "notes": list(report.notes),
        "units": report.shop.units,
        "currency": report.shop.currency,
        "tables": {name: _table_data(table) for name, table in report.tables.items()},
    }


def _table_data(table: Table) -> dict[str, Any]:
    names = [c.name for c in table.columns]
    extra = ["kind"] if any(c.kind == "row" for c in table.columns) and "kind" in table.frame else []
    return {
        "title": table.title,
        "columns": [{"name": c.name, "title": c.title, "kind": c.kind} for c in table.columns],
        "rows": [{n: plain(row.get(n)) for n in [*names, *extra]} for row in table.frame.to_dict("records")],
        "total": None if table.total is None else {n: plain(table.total[n]) for n in names if n in table.total},
        "note": table.note,
    }


def plain(value: Any) -> Any:
    """A value every JSON writer knows."""
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return None if value is pd.NA else value


def as_csv(report: Report, table: str = "") -> str:
    """One table as CSV with canonical figures under the frame's own column names (`_mg`, `_s`, `_minor`, `_ratio`); empty: no value.

    Without a name it is the report's first table.
    """
    chosen = report.tables[table] if table else next(iter(report.tables.values()))
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    names = [c.name for c in chosen.columns]
    if any(c.kind == "row" for c in chosen.columns) and "kind" in chosen.frame:
        names.append("kind")
    writer.writerow(names)
    for row in chosen.frame.to_dict("records"):
        writer.writerow(["" if (v := plain(row.get(n))) is None else v for n in names])
    return out.getvalue()


__all__ = [
    "NOTHING",
    "as_csv",
    "as_data",
    "as_text",
    "cells",
    "head",
    "head_and_cells",
    "plain",
    "renderable",
    "shown",
    "unit_of",
]
