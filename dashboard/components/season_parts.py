"""Parts of the Season page: words with links to figures, the plan as a table to edit, two plans side by side."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import dash_mantine_components as dmc
from dash import html

from dashboard.components.parts import chart, report_table, table_of
from dashboard.figures.season_demand import cumulative, day, weeks
from ledger.application.report_text import cells
from ledger.application.reports_types import Report, Shop
from ledger.application.season_batches import kettle_names
from ledger.application.season_buy import buy_report
from ledger.application.season_forecast import override_rows
from ledger.application.season_plan import PlanMade
from ledger.application.season_report import clock, money, plan_report, stock_table, weeks_frame
from ledger.application.season_view import cumulated
from ledger.planning.whatif import compare
from ledger.planning.words import Sentence, kilos

ABOUT = {
    "start": "Start", "full": "Full", "short": "Short", "ahead": "Ahead", "helps": "Help", "proof": "How good", "finding": "Mind", "days": "Days",
}  # fmt: skip
SIDE = {
    "cost_milli": "cost", "made_g": "made", "sold_g": "sold", "short_g": "missing", "left_g": "left over", "overtime_minutes": "overtime",
    "helper_shifts": "helper shifts",
}  # fmt: skip


def words(said: Sequence[Sentence], labels: Sequence[str]) -> Any:
    """The plan in words; each sentence links to the figures it was made from."""
    rows = []
    for s in said:
        links = [
            html.A(_place(key, labels), href=f"#{_anchor(key)}", className="figure-link")
            for key in s.keys[:4]
            if _anchor(key)
        ]
        seen: list[Any] = []
        for link in links:
            if all(link.href != x.href for x in seen):
                seen.append(link)
        rows.append(html.Li([html.Span(ABOUT.get(s.about, s.about), className="about"), html.Span([s.text, *[x for a in seen for x in (" ", a)]])],
                            className=f"word word-{s.about}"))  # fmt: skip
    return html.Section([html.H2("What to do"), html.Ul(rows, className="words")])


def _anchor(key: str) -> str:
    kind = key.split("/")[0]
    return {
        "item": "season-items",
        "line": "season-lines",
        "week": "season-weeks",
        "short": "season-short",
        "plan": "season-sum",
    }.get(kind, "")


def _place(key: str, labels: Sequence[str]) -> str:
    parts = key.split("/")
    if parts[0] == "week" and parts[-1].isdigit() and int(parts[-1]) < len(labels):
        return labels[int(parts[-1])]
    if parts[0] == "line" and parts[-1].isdigit() and int(parts[-1]) < len(labels):
        return f"line of {labels[int(parts[-1])]}"
    return {"item": "its figures", "short": "missing", "plan": "the sum"}.get(parts[0], parts[0])


def charts(made: PlanMade, item: str, shop: Shop, planned: bool = True) -> Any:
    """Demand band against supply and free hands for the shop and one flavour, the weeks that bind (where something is planned)."""
    unit, divisor = ("lb", 0.45359237) if shop.units == "us" else ("kg", 1.0)
    parts = [
        chart(
            cumulative(cumulated(made), "The whole shop", divisor, unit),
            "The figures are in the table of flavours below.",
        )
    ]
    if item and any(i.key == item for i in made.problem.items):
        parts.append(
            chart(
                cumulative(cumulated(made, item), made.name(item), divisor, unit),
                "The figures are in the table of flavours below.",
            )
        )
    if planned:
        parts.append(chart(weeks(weeks_frame(made)), "The figures are in the table of weeks below."))
    return html.Div(parts, className="charts season-charts")


def in_house(made: PlanMade) -> Any:
    """Every flavour's stock against its demand, and how long it lasts if nothing more is made, the shortest first."""
    return report_table(stock_table(made), made.asked.forecast.seen.on.shop, most=60)


def went_part(report: Report) -> Any:
    """An earlier plan against what happened: the sum, what made the difference, both tables."""
    said = [
        html.Li([html.Span("Why", className="about"), html.Span([text, " ", html.A("its split", href="#season-split", className="figure-link")])],
                className="word")
        for text in report.notes
    ]  # fmt: skip
    return html.Section([
        html.H2(f"Looking back: {report.title[:1].lower()}{report.title[1:]}"),
        html.P(report.sentence, className="sentence"),
        html.Ul(said, className="words") if said else None,
        report_table(report.tables["items"], report.shop, most=60),
        html.Div(report_table(report.tables["split"], report.shop, most=60), id="season-split"),
    ], id="season-behind")  # fmt: skip


def side_by_side(made: PlanMade, trial: PlanMade, said: str) -> Any:
    """Two plans: their figures, the lines that moved, and the new plan's words."""
    found = compare(made.plan, trial.plan)
    rows = [
        (
            SIDE.get(f.what, f.what),
            _side(made, f.what, f.before),
            _side(made, f.what, f.after),
            _more(made, f.what, f.after - f.before),
        )
        for f in found.figures
    ]
    moved = [(line.label, made.name(line.item), str(line.before), str(line.after)) for line in found.lines]
    labels = [w.label for w in trial.problem.weeks]
    parts: list[Any] = [
        html.H2(f"What if: {said}"),
        html.P(f"Answered in {trial.seconds:.1f} s.", className="quiet"),
        table_of("Both plans", ["", "the plan", "with the change", "difference"], rows, (1, 2, 3)),
    ]
    if moved:
        parts.append(
            table_of(
                f"{len(moved)} {'line differs' if len(moved) == 1 else 'lines differ'}",
                ["week", "what", "before", "after"],
                moved[:14],
                (2, 3),
            )
        )
        if len(moved) > 14:
            parts.append(
                html.Details(
                    [
                        html.Summary(f"{len(moved) - 14} more lines"),
                        table_of("", ["week", "what", "before", "after"], moved[14:], (2, 3)),
                    ]
                )
            )
    else:
        parts.append(html.P("No line moves.", className="quiet"))
    parts.append(html.Details([html.Summary("The changed plan in words"), words(trial.words, labels)]))
    return html.Section(parts, className="trial", id="season-trial")


def _side(made: PlanMade, what: str, value: int) -> str:
    if what == "cost_milli":
        return money(made, value)
    if what.endswith("_g"):
        return kilos(value)
    return f"{value / 60:.1f} h" if what == "overtime_minutes" else str(value)


def _more(made: PlanMade, what: str, value: int) -> str:
    return "same" if value == 0 else ("+" if value > 0 else "") + _side(made, what, value)


def tables(made: PlanMade, ledger: Any) -> list[Any]:
    """The tables behind the words, the order list and the next days."""
    report = plan_report(made)
    parts: list[Any] = []
    if report.tables["short"].frame.empty:
        parts.append(html.P("Nothing of a kilo or more will be missing.", id="season-short"))
    for name, place in (("short", "season-short"), ("weeks", "season-weeks"), ("items", "season-items")):
        if not report.tables[name].frame.empty:
            parts.append(html.Div(report_table(report.tables[name], report.shop), id=place))
    drawn: list[Any] = []
    for week in made.days:
        for number, plan in enumerate(week.charts, start=1):
            bars = [b for b in plan.bars if b.batch]
            if bars:
                title = f"{week.label}, making day {number}: done by {clock(made.problem.opens + plan.finish)}"
                drawn.append(chart(_day(made, bars, title), "Steps in order."))
    if drawn:
        said = html.Summary(f"The next {len(drawn)} making days, step by step")
        parts.append(html.Details([said, html.Div(drawn, className="charts")], open=True))
    parts.append(assumed(made, report))
    overrides = override_rows(made.asked.forecast)
    if len(overrides):
        body = [
            (r["key"], r["week"], str(r["model_units"]), str(r["units"]), r["reason"])
            for r in overrides.to_dict("records")
        ]
        parts.append(
            table_of(
                "The owner's figures beside the model's (packs)",
                ["what", "weeks", "model", "owner", "reason"],
                body,
                (2, 3),
            )
        )
    buy = buy_report(ledger, made.plan, made.problem, made.asked.made_of)
    parts += [html.P(buy.sentence), report_table(buy.tables["orders"], buy.shop, most=20)]
    if "containers" in buy.tables:
        parts.append(
            html.Details(
                [html.Summary("Jars and bags, week by week"), report_table(buy.tables["containers"], buy.shop)]
            )
        )
    return parts


def assumed(made: PlanMade, report: Report) -> Any:
    """What the plan assumes, each with where it came from, and the way to change it."""
    entry = made.asked.forecast.seen.on.book.planning()
    said = (
        "as your book states it, and as is usual where it says nothing"
        if entry
        else "as is usual: your book states nothing yet"
    )
    return html.Details(
        [
            html.Summary(f"What the plan assumes, {said}"),
            report_table(report.tables["assumed"], report.shop, most=40),
            html.P(html.A("Change it in the book", href="/book?kind=planning"), className="quiet"),
        ],
        id="season-assumed",
    )


def _day(made: PlanMade, bars: Sequence[Any], title: str) -> Any:
    import pandas as pd

    rows = [(b.batch, b.step, made.problem.opens + b.start, b.end - b.start, b.station, len(b.people)) for b in bars]
    return day(pd.DataFrame(rows, columns=["batch", "step", "start_min", "minutes", "station", "people"]), title)


def whatif_fields(ledger: Any) -> Any:
    """What to change: demand, a kettle out, a helper, a design dropped, a day more."""
    from ledger.domain.books import entries as e

    flavours = [{"value": f.id, "label": f.name} for f in ledger.book().all(e.Flavour)]
    feast = next((f.id for f in ledger.book().all(e.Flavour) if f.feast), flavours[0]["value"] if flavours else None)
    kettles = list(kettle_names(ledger.book()).values())
    out = (
        [(f"kettle:{name}", f"{name} is out") for name in kettles]
        if len(kettles) > 1
        else [("kettle", "The kettle is out")]
    )
    kinds = [("demand", "Demand up or down"), *out, ("helper", "One more helper shift a week"), ("day", "One more making day a week"),
             ("drop", "A flavour is dropped")]  # fmt: skip
    return html.Div(
        [
            dmc.Select(id="season-what", label="What if", data=[{"value": v, "label": t} for v, t in kinds], value="demand", allowDeselect=False, size="md"),
            dmc.Select(id="season-flavour", label="of flavour", data=flavours, value=feast, searchable=True, size="md"),
            dmc.NumberInput(id="season-percent", label="by %", value=20, min=-100, max=300, step=5, size="md"),
            dmc.TextInput(id="season-from", label="from week", placeholder="2026-W50 (empty: the first)", size="md"),
            dmc.TextInput(id="season-to", label="to week", placeholder="empty: that week, or all", size="md"),
            html.Button("Try it", id="season-try", type="button", className="button", n_clicks=0),
        ],
        className="filters whatif",
    )  # fmt: skip


def fact_fields(ledger: Any) -> Any:
    """What the sales do not say: run-outs, promotions, closures, bulk orders, shows, and the owner's own figure."""
    from ledger.domain.books import entries as e

    book = ledger.book()
    flavours = [{"value": f.id, "label": f.name} for f in book.all(e.Flavour)]
    channels = [{"value": c.id, "label": c.name} for c in book.all(e.Channel)]
    kinds = [
        ("run-out", "A flavour was gone"), ("promotion", "A promotion"), ("closure", "The shop is shut"), ("bulk", "A bulk order"), ("show", "A show"),
        ("own", "My own figure for some weeks"),
    ]  # fmt: skip
    return html.Div(
        [
            dmc.Select(id="fact-kind", label="What", data=[{"value": v, "label": t} for v, t in kinds], value="run-out", allowDeselect=False, size="md"),
            dmc.TextInput(id="fact-from", label="from day", inputProps={"type": "date"}, size="md"),
            dmc.TextInput(id="fact-to", label="to day", inputProps={"type": "date"}, size="md"),
            dmc.Select(id="fact-flavour", label="flavour", data=flavours, clearable=True, searchable=True, size="md"),
            dmc.Select(id="fact-channel", label="channel", data=channels, clearable=True, size="md"),
            dmc.TextInput(id="fact-packs", label="packs", placeholder="bulk, own figure", size="md"),
            dmc.TextInput(id="fact-at", label="time of a show", placeholder="14:00-15:30", size="md"),
            dmc.TextInput(id="fact-note", label="note or reason", size="md"),
            html.Button("Note it", id="fact-go", type="button", className="button", n_clicks=0),
        ],
        className="filters whatif",
    )  # fmt: skip


__all__ = [
    "cells",
    "charts",
    "fact_fields",
    "in_house",
    "side_by_side",
    "tables",
    "went_part",
    "whatif_fields",
    "words",
]
