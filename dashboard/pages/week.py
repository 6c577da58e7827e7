"""Week: what the week made, what it lost, what was strange, beside other weeks, as known today or on an earlier day."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from dash import html

from dashboard.components.parts import chart, choose, empty, files, report_table, sentence, type_in
from dashboard.components.ways import for_page
from dashboard.components.words import moment
from dashboard.figures.control import control
from dashboard.figures.losses import causes, waterfall
from dashboard.page import Asked, Page, address, register
from dashboard.remember import remembered
from ledger.analytics.compare import shift, week_of
from ledger.analytics.records import records
from ledger.application.ledger import Ledger
from ledger.application.reports import control_report, week_report
from ledger.domain.books import entries as e

NOT_OVER = "This week is not over: its sums so far stand beside whole weeks."
SHOWN = ("flavours", "yields", "batches", "sold", "losses", "steps", "compare", "ran_out")


def latest(ledger: Ledger) -> str:
    """The newest week with a movement (empty: none)."""
    return next(iter(ledger.queries.weeks(1)), "")


def filters(ledger: Ledger, asked: Asked) -> list[Any]:
    """Week, flavour of the control chart, and the day the figures are as known on."""
    weeks = list(reversed(ledger.queries.weeks(260)))
    if not weeks:
        return []
    flavours = [(f.id, f.name) for f in ledger.book().all(e.Flavour)]
    return [
        choose("week", "Week", [(w, w) for w in weeks], asked.get("week", weeks[0]), weeks[0]),
        choose("flavour", "Control chart of", [("", "the most made"), *flavours], asked.get("flavour", "")),
        type_in("known", "As known on", asked.get("known", ""), "date"),
    ]


def layout(ledger: Ledger, asked: Asked) -> list[Any]:
    """The week's page."""
    week = asked.get("week") or latest(ledger)
    if not week:
        return [
            empty(
                "No week has anything in it yet",
                "Record a batch at the bench; the week it falls in then stands here.",
                "Go to the bench",
                "/bench",
            )
        ]
    known = asked.get("known") or None
    report = remembered(week_report, ledger, week, known, False)
    parts: list[Any] = list(sentence(report))
    if known:
        parts.insert(
            0,
            html.P(
                f"As known on {known}, at entry {report.as_of.position}. Later corrections are not in these figures.",
                className="caution",
            ),
        )
    if not report.tables:
        return parts
    unit, divisor = ("lb", 453_592.37) if report.shop.units == "us" else ("kg", 1e6)
    parts.append(flags(ledger, week, known))
    tables = dict(report.tables)
    if week == week_of(date.fromisoformat(ledger.today())) and not known:
        beside = tables["compare"]
        tables["compare"] = replace(beside, note=f"{NOT_OVER} {beside.note}")
    parts.append(html.Div([
        chart(waterfall(tables["waterfall"].frame, divisor, unit), "Bars from what went into the kettle down to good pieces; the figures are in the table below."),
        chart(causes(tables["losses"].frame, divisor, unit), "Losses ranked by step and cause; the figures are in the table below."),
    ], className="charts"))  # fmt: skip
    parts.append(control_part(ledger, week, known, asked.get("flavour", ""), tables["flavours"].frame))
    parts += [
        report_table(tables[name], report.shop, {"batch": "/batch?batch={}"})
        for name in SHOWN
        if name in tables and not tables[name].frame.empty
    ]
    parts.append(
        files("week", {"week": week, "known": asked.get("known", "")}, ("yields", "losses", "batches", "compare"))
    )
    return parts


def control_part(ledger: Ledger, week: str, known: str | None, flavour: str, made: Any) -> Any:
    """The control chart of one flavour over a year; of the most made one unless another is chosen."""
    if not flavour and len(made):
        flavour = str(made.loc[made["good_mg"].idxmax(), "flavour"])
    if not flavour:
        return html.P("No flavour was made this week.", className="quiet")
    report = remembered(control_report, ledger, flavour, shift(week, -51), week, known)
    if "points" not in report.tables or report.tables["points"].frame.empty:
        return html.P(for_page(report.sentence), className="quiet")
    drawn = chart(
        control(report.tables["points"].frame, report.shop.name("flavour", flavour)), for_page(report.sentence)
    )
    return html.Div(
        [
            drawn,
            html.P(for_page(report.sentence)),
            report_table(report.tables["unusual"], report.shop) if not report.tables["unusual"].frame.empty else None,
        ]
    )


def flags(ledger: Ledger, week: str, known: str | None) -> Any:
    """What was strange this week, and a button to answer what waits."""
    at = None if known is None else int(known) if known.isdigit() else ledger.queries.known_on(known)
    found = ledger.queries.flags(week, known=at)
    if found.empty:
        return html.P("Nothing strange was flagged this week.", className="quiet")
    rows, told = [], answers(ledger, [int(p) for p in found["answered"] if p])
    for row in records(found.sort_values("answered", kind="stable")):
        if row["answered"]:
            action: Any = html.Span(
                ["Answered: ", html.Strong(row["answer"]), html.Span(told.get(row["answered"], ""), className="quiet")]
            )
        else:
            form = address("answer-flag", {"flag": str(row["origin"]), "code": row["code"], "text": row["text"]})
            action = html.Button(
                "Answer", **{"data-form": form}, className="plain", **{"aria-label": f"Answer: {row['text']}"}
            )
        rows.append(html.Div([html.Span(f"{row['day']} {row['batch']}: {row['text']}"), action], className="flag"))
    waiting = int((found["answered"] == 0).sum())
    title = f"{waiting} of {len(found)} flags wait for an answer" if waiting else "Every flag is answered"
    return html.Section(
        [
            html.H2(title),
            *rows[:12],
            html.Details([html.Summary(f"{len(rows) - 12} more"), *rows[12:]]) if len(rows) > 12 else None,
        ]
    )


def answers(ledger: Ledger, positions: list[int]) -> dict[int, str]:
    """Who answered and when, by the position of the answer."""
    if not positions:
        return {}
    zone = ledger.book().site().zone
    found = records(ledger.queries.log(positions=positions, most=len(positions)))
    return {
        int(r["position"]): f" {r['recorded_by'] or 'nobody named'}, {moment(r['recorded_at'], zone)}" for r in found
    }


register(Page(path="/week", name="Week", order=20, layout=layout, filters=filters))
