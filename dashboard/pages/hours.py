"""Hours: minutes a kilogram and a thousand pieces, by step, worker and flavour; where the day went; learning."""

from __future__ import annotations

from typing import Any

from dash import html

from dashboard.components.grid import report_grid
from dashboard.components.parts import chart, choose, empty, files, report_table, sentence
from dashboard.figures.hours import by_step, days
from dashboard.page import Asked, Page, register
from dashboard.remember import remembered
from ledger.analytics.compare import shift
from ledger.application.ledger import Ledger
from ledger.application.reports import hours_report
from ledger.application.reports_types import read_week

LONG_DAYS = 31
"""Rows up to which a table is read whole."""
SHOWN = ("steps", "flavours", "workers", "learning", "step_times", "days")


def filters(ledger: Ledger, asked: Asked) -> list[Any]:
    """The last week and how many weeks up to it."""
    weeks = list(reversed(ledger.queries.weeks(260)))
    if not weeks:
        return []
    return [
        choose("week", "Up to week", [(w, w) for w in weeks], asked.get("week", weeks[0]), weeks[0]),
        choose("span", "How many weeks", [(n, n) for n in ("1", "4", "13", "26", "52")], asked.get("span", "4"), "4"),
    ]


def layout(ledger: Ledger, asked: Asked) -> list[Any]:
    """The hours' page."""
    weeks = ledger.queries.weeks(1)
    if not weeks:
        return [
            empty(
                "No hours yet",
                "Tap initials and minutes when you record a step; they add up here.",
                "Go to the bench",
                "/bench",
            )
        ]
    last = read_week(asked.get("week") or weeks[-1])
    span = int(asked["span"]) if asked.get("span", "").isdigit() and 0 < int(asked["span"]) <= 260 else 4
    first = shift(last, 1 - span)
    report = remembered(hours_report, ledger, first, last)
    parts = list(sentence(report))
    if not report.tables:
        return parts
    us = report.shop.units == "us"
    factor = 0.45359237 if us else 1.0
    tables = report.tables
    parts.append(html.Div([
        chart(by_step(tables["steps"].frame, "a lb" if us else "a kg", factor=factor), "Minutes by step; the figures are in the table below."),
        chart(by_step(tables["steps"].frame, "a thousand pieces", "minutes_per_thousand_pieces"), "Minutes by step against good pieces."),
    ], className="charts"))  # fmt: skip
    parts.append(
        chart(days(tables["days"].frame), "Hours of each day stacked by step; the figures are in the table below.")
    )
    for name in SHOWN:
        if name in tables and not tables[name].frame.empty:
            long = len(tables[name].frame) > LONG_DAYS
            parts.append(
                report_grid(f"hours-{name}", tables[name], report.shop)
                if long
                else report_table(tables[name], report.shop)
            )
    parts.append(files("hours", {"first_week": first, "last_week": last}, ("steps", "workers", "days")))
    return parts


register(Page(path="/hours", name="Hours", order=30, layout=layout, filters=filters))
