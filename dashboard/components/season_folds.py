"""The Season page below its words and charts: each part under a heading that says, with a figure, what is inside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from dash import html

from dashboard.components.parts import chart, report_table, table_of
from dashboard.figures.season_demand import day, full_weeks
from ledger.application.reports_types import Report, Table
from ledger.application.season_buy import buy_report
from ledger.application.season_forecast_report import override_rows
from ledger.application.season_plan import PlanMade
from ledger.application.season_report import clock, plan_report
from ledger.planning.said import mass_said

MOST_ROWS = 60
ORDER_FIRST = ("order_by", "material", "packs", "each_mg")
"""What is to be ordered, by when and how much stands first."""


def fold(title: str, figure: Any, parts: Sequence[Any], id: str = "", opened: bool = False) -> Any:
    """A part that opens at a touch: its title, the figure that says whether it is worth opening, and what is inside. Paper shows all of it."""
    more = {"id": id} if id else {}
    return html.Details(
        [html.Summary([html.H2(title), html.Span(figure, className="fold-figure")]), html.Div(list(parts), className="fold-body")],
        className="fold", open=opened, **more,
    )  # fmt: skip


def plan_figure(made: PlanMade) -> str:
    """How much the table of the plan holds."""
    batches = sum(line.batches for line in made.plan.lines)
    first, last = made.problem.weeks[0].label, made.problem.weeks[-1].label
    return f"{_many(batches, 'batch', 'batches')}, {first} to {last}"


def folds(made: PlanMade, ledger: Any) -> list[Any]:
    """The tables behind the words, the next days and the order list."""
    report = plan_report(made)
    parts = [_missing(made, report), _weeks(report), _items(made, report)]
    if made.days:
        parts.append(_days(made))
    return [*parts, _orders(made, ledger), assumed(made, report), *_own_figures(made)]


def went(report: Report) -> Any:
    """An earlier plan against what happened: the sum, what made the difference, both tables."""
    said = [
        html.Li([html.Span("Why", className="about"), html.Span([text, " ", html.A("its split", href="#season-split", className="figure-link")])],
                className="word")
        for text in report.notes
    ]  # fmt: skip
    total = report.tables["items"].total or {}
    net = int(total.get("net_mg", 0)) // 1000
    figure = f"{total.get('opened', 0)} of {total.get('planned_batches', 0)} planned batches opened, {mass_said(abs(net), report.shop.units)} {'left' if net >= 0 else 'short'}"
    return fold(
        f"Looking back: {report.title[:1].lower()}{report.title[1:]}", figure,
        [
            html.P(report.sentence, className="sentence"),
            html.Ul(said, className="words") if said else None,
            report_table(report.tables["items"], report.shop, most=MOST_ROWS),
            html.Div(report_table(report.tables["split"], report.shop, most=MOST_ROWS), id="season-split"),
        ],
        "season-behind",
    )  # fmt: skip


def _many(number: int, one: str, more: str) -> str:
    return f"{number} {one if number == 1 else more}"


def _missing(made: PlanMade, report: Report) -> Any:
    table = report.tables["short"]
    things, grams = table.frame["item"].nunique(), sum(s.grams for s in made.plan.shortages)
    if table.frame.empty:
        return fold(
            "What will be missing",
            "nothing of a kilo or more",
            [html.P("Nothing of a kilo or more will be missing.")],
            "season-short",
        )
    return fold(
        table.title, f"{mass_said(grams, report.shop.units)} of {_many(things, 'flavour', 'flavours')}", [report_table(table, report.shop)], "season-short"
    )  # fmt: skip


def _weeks(report: Report) -> Any:
    table = report.tables["weeks"]
    full = full_weeks(table.frame)
    figure = (
        f"none of {len(table.frame)} is full"
        if not full
        else f"{len(full)} of {len(table.frame)} full, the first {full[0]}"
    )
    return fold("The weeks, hands and stations", figure, [report_table(table, report.shop)], "season-weeks")


def _items(made: PlanMade, report: Report) -> Any:
    table = report.tables["items"]
    grams = sum(sum(row.made) for row in made.plan.items)
    figure = f"{_many(len(table.frame), 'flavour', 'flavours')}, {mass_said(grams, report.shop.units)} to make"
    return fold(table.title, figure, [report_table(table, report.shop)], "season-items")


def _days(made: PlanMade) -> Any:
    drawn: list[Any] = []
    first = ""
    for week in made.days:
        for number, plan in enumerate(week.charts, start=1):
            bars = [b for b in plan.bars if b.batch]
            if bars:
                when = made.asked.making_days(week.week)
                name = f"{when[number - 1]:%a} {when[number - 1]}" if number <= len(when) else f"making day {number}"
                done = clock(made.problem.opens + plan.finish)
                first = first or f", the first {name}, done by {done}"
                drawn.append(chart(_day(made, bars, f"{week.label}, {name}: done by {done}"), "Steps in order."))
    figure = f"{_many(len(drawn), 'day', 'days')}{first}" if drawn else "none is drawn"
    inside = (
        [html.Div(drawn, className="charts")]
        if drawn
        else [html.P("Nothing is made on the days that can be drawn. Make the plan anew to see them.")]
    )
    return fold("The next making days, step by step", figure, inside, "season-days")


def _day(made: PlanMade, bars: Sequence[Any], title: str) -> Any:
    import pandas as pd

    rows = [(b.batch, b.step, made.problem.opens + b.start, b.end - b.start, b.station, len(b.people)) for b in bars]
    return day(pd.DataFrame(rows, columns=["batch", "step", "start_min", "minutes", "station", "people"]), title)


def in_order(table: Table, first: Sequence[str]) -> Table:
    """The table with some of its columns before the others: what must be in sight on a telephone without moving the table. Files keep their own order."""
    named = {c.name: c for c in table.columns}
    return replace(table, columns=(*(named.pop(name) for name in first), *named.values()))


def _orders(made: PlanMade, ledger: Any) -> Any:
    buy = buy_report(ledger, made.plan, made.problem, made.asked.made_of)
    orders = buy.tables["orders"].frame
    late = int(orders["late"].sum()) if len(orders) else 0
    figure = _many(len(orders), "order", "orders")
    if len(orders):
        figure += f", the first by {orders['order_by'].min()}" + (f", {late} of them late" if late else "")
    parts = [html.P(buy.sentence), report_table(in_order(buy.tables["orders"], ORDER_FIRST), buy.shop, most=MOST_ROWS)]
    parts += [
        report_table(buy.tables[name], buy.shop, most=MOST_ROWS)
        for name in buy.tables
        if name != "orders" and not buy.tables[name].frame.empty
    ]
    return fold("What to order, with jars and bags", figure, parts, "season-orders")


def assumed(made: PlanMade, report: Report) -> Any:
    """What the plan assumes, each with where it came from, and the way to change it."""
    entry = made.asked.forecast.seen.on.book.planning()
    table = report.tables["assumed"]
    said = (
        "as your book states it, and as is usual where it says nothing"
        if entry
        else "as is usual: your book states nothing yet"
    )
    return fold(
        "What the plan assumes", f"{len(table.frame)} figures, {said}",
        [report_table(table, report.shop, most=MOST_ROWS), html.P(html.A("Change it in the book", href="/book?kind=planning"), className="quiet")],
        "season-assumed",
    )  # fmt: skip


def _own_figures(made: PlanMade) -> list[Any]:
    rows = override_rows(made.asked.forecast).to_dict("records")
    if not rows:
        return []
    body = [(r["key"], r["week"], str(r["model_units"]), str(r["units"]), r["reason"]) for r in rows]
    table = table_of(
        "The owner's figures beside the model's (packs)", ["what", "weeks", "model", "owner", "reason"], body, (2, 3)
    )
    return [fold("Your own figures", f"{_many(len(rows), 'stands', 'stand')} beside the model's", [table], "season-own")]  # fmt: skip


__all__ = ["assumed", "fold", "folds", "plan_figure", "went"]
