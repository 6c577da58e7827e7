"""The demand half of the Season page: what should sell and which model says so, who was nearer, and what was told beside the sales."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from dash import Dash, Input, Output, html

from dashboard.components.parts import report_table, table_of
from dashboard.components.season_folds import fold
from dashboard.components.ways import for_page
from dashboard.page import Asked, address
from ledger.application.ledger import Ledger
from ledger.application.reports_types import Shop, Table, shop_of
from ledger.application.season_backtest import issued_scores, issued_table, nearer_table, override_scores
from ledger.application.season_forecast import Made, span_of
from ledger.application.season_forecast_report import forecast_report
from ledger.application.season_jobs import Desk

LOOK_BACK = timedelta(weeks=8)
MOST_FACTS = 24
MOST_WEEKS = 13
KINDS = {
    "run-out": "run-out",
    "promotion": "promotion",
    "closure": "closure",
    "bulk": "bulk order",
    "bulk order": "bulk order",
    "show": "show",
}


def demand_part(desk: Desk, asked: Asked) -> list[Any]:
    """What should sell, folded under its sum, and who was nearer; nothing while the sales are still read."""
    made = _forecast(desk)
    return [] if made is None else [should_sell(made, asked.get("flavour", "")), *nearer(desk.ledger, made)]


def _forecast(desk: Desk) -> Made | None:
    plan = desk.base if desk.base is not None else desk.standing.made if desk.standing is not None else None
    return None if plan is None else plan.asked.forecast


def should_sell(made: Made, flavour: str = "") -> Any:
    """The forecast in packs with its bands: every flavour's coming weeks and season, the shop or the chosen flavour week by week, models and reasons."""
    known = set(made.result.weekly["flavour"])
    report = forecast_report(made, flavour if flavour in known else "")
    shop, tables = report.shop, report.tables
    weeks = tables["weekly"] if "weekly" in tables else tables["shop"]
    expected, first = (
        int(tables["flavours"].frame["mean"].sum()) if flavour in known else int(tables["shop"].frame["mean"].sum()),
        made.result.origin,
    )
    figure = (
        f"{shop.name('flavour', flavour)}, week by week"
        if flavour in known
        else f"{expected} packs in {made.result.horizon} weeks from {first}, with bands and why"
    )
    parts = [
        html.P(for_page(report.sentence), className="sentence"),
        *(html.P(for_page(note), className="note") for note in report.notes),
        report_table(_plain(tables["flavours"]), shop),
        by_channel(weeks, shop) if flavour in known else report_table(_plain(weeks), shop, most=MOST_WEEKS),
        *([report_table(_plain(tables["channels"]), shop)] if "channels" in tables else []),
        *([report_table(tables["packs"], shop)] if "packs" in tables else []),
        *([report_table(tables["overrides"], shop)] if "overrides" in tables else []),
        reasons(tables["why"], shop),
        html.P([
            "One flavour week by week and by channel: choose it under ", html.B("Chart of"), ". All of it as a file: ",
            html.A("forecast (CSV)", href=address("/api/v1/season/forecast", {}, form="csv", table="weekly", horizon=str(made.result.horizon)), download=""),
            ".",
        ], className="quiet"),
    ]  # fmt: skip
    return fold("What should sell, and why", figure, parts, "season-sells")


def by_channel(weekly: Table, shop: Shop) -> Any:
    """One flavour's weeks: what is expected through each channel, together, and the band of the sum."""
    frame = weekly.frame
    whole = frame[frame["level"] == "flavour"].set_index("week")
    parts = frame[frame["level"] == "series"].pivot(index="week", columns="channel", values="mean")
    head = ["week", "expected", "low", "high", *(shop.name("channel", str(c)) for c in parts.columns)]
    rows = [
        [
            week,
            *(f"{int(whole.loc[week, n]):,}".replace(",", "\u202f") for n in ("mean", "q10", "q90")),
            *(f"{int(v):,}".replace(",", "\u202f") for v in parts.loc[week]),
        ]
        for week in list(whole.index)[:MOST_WEEKS]
    ]
    more = f" {len(whole) - MOST_WEEKS} more weeks are in the file." if len(whole) > MOST_WEEKS else ""
    return html.Div(
        [
            table_of("Week by week, and by channel", head, rows, range(1, len(head))),
            html.P(weekly.note + more, className="quiet"),
        ]
    )


def _plain(table: Table) -> Table:
    """A table without columns that say nothing here: nothing promised, nobody says otherwise than the model."""
    frame, out = table.frame, set()
    if "firm" in frame and not frame["firm"].any():
        out.add("firm")
    if "model_mean" in frame and (frame["model_mean"] == frame["mean"]).all():
        out.add("model_mean")
    return replace(table, columns=tuple(c for c in table.columns if c.name not in out))


def reasons(why: Table, shop: Shop) -> Any:
    """Which model made the forecast of which flavours, and why; flavours of one reason together."""
    rows = [
        (model, reason, ", ".join(shop.name("flavour", f) for f in part["flavour"]))
        for (model, reason), part in why.frame.groupby(["model", "why"], sort=False)
    ]
    return html.Div(table_of(why.title, ["model", "why", "of"], rows), className="wrapped")


def nearer(ledger: Ledger, made: Made) -> list[Any]:
    """Your own figures and issued forecasts of weeks that are over against what sold; nothing where there are none."""
    said, issued = override_scores(ledger, made.seen), issued_scores(ledger, made.seen)
    if said.empty and issued.empty:
        return []
    shop = made.seen.on.shop
    counts = Counter(said["nearer"].tolist() if len(said) else [])
    own = f"of {len(said)} figures of your own {counts['owner']} nearer than the model, {counts['model']} further"
    figure = own if len(said) else f"{len(issued)} forecasts scored as they were made"
    parts = []
    if len(said):
        parts.append(report_table(nearer_table(said.assign(key=[who(key, shop) for key in said["key"]])), shop))
    if len(issued):
        parts.append(report_table(issued_table(issued), shop))
    return [fold("Who was nearer", figure, parts, "season-nearer")]


def who(key: str, shop: Shop) -> str:
    """`CLOVE/ONLINE` in names; `*` is all of them."""
    flavour, _, channel = key.partition("/")
    what = (
        shop.name("flavour", flavour)
        if flavour not in ("", "*")
        else "all flavours"
        if channel not in ("", "*")
        else "the whole shop"
    )
    return f"{what}, {shop.name('channel', channel)}" if channel not in ("", "*") else what


def facts_told(ledger: Ledger) -> Any:
    """What was told beside the sales for coming and late weeks, newest first, each to be taken back."""
    book = ledger.book()
    shop, since = shop_of(book, book.site()), (date.fromisoformat(ledger.today()) - LOOK_BACK).isoformat()
    rows = []
    for position, p in ledger.queries.papers("ran-out"):
        rows.append(
            (p.day, p.until_day or p.day, position, "run-out", who(f"{p.flavour}/{p.channel}", shop), "", p.note)
        )
    for position, p in ledger.queries.papers("promotion"):
        much = f"{p.units} packs" if p.units else p.at
        what = "" if p.kind == "show" else who(f"{p.flavour}/{p.channel}", shop)
        rows.append((p.from_day, p.to_day, position, KINDS.get(p.kind, p.kind), what, much, p.note))
    for position, p in ledger.queries.papers("override"):
        first, last = (
            date.fromisocalendar(int(w[:4]), int(w[6:]), day).isoformat()
            for w, day in zip(span_of(p.week), (1, 7), strict=True)
        )
        rows.append(
            (
                first,
                last,
                position,
                "your own figure",
                who(p.key, shop),
                f"{p.units} packs (model {p.model_units})",
                p.reason,
            )
        )
    late = sorted((r for r in rows if r[1] >= since), key=lambda r: (r[0], r[2]), reverse=True)
    if not late:
        return html.P("Nothing is told for the coming weeks or the last eight.", className="quiet")
    items = [
        html.Li([
            html.Span([html.Strong(kind), f", {what}" if what else ""], className="next-what"),
            html.Span([html.Span(x) for x in (first if first == last else f"{first} to {last}", much, note) if x], className="next-facts"),
            html.Button("Take back", **{"data-form": f"void?origin={position}", "aria-label": f"Take back: {kind} of {first}, entry {position}"},
                        type="button", className="plain"),
        ])
        for first, last, position, kind, what, much, note in late[:MOST_FACTS]
    ]  # fmt: skip
    more = (
        html.P(f"{len(late) - MOST_FACTS} more stand in the Log.", className="quiet")
        if len(late) > MOST_FACTS
        else None
    )
    return html.Div([html.H3("Told so far"), html.Ul(items, className="next-lines facts"), more])


FIELDS = ("to", "flavour", "channel", "packs", "at")
ASKED = {
    "run-out": ("to", "flavour", "channel"), "promotion": ("to", "flavour", "channel"), "closure": ("to", "channel"),
    "bulk": ("flavour", "channel", "packs"), "show": ("to", "at"), "own": ("to", "flavour", "channel", "packs"),
}  # fmt: skip
"""Which fields a fact of each kind has; the others are out of sight."""
EMPTIED = ("from", "to", "packs", "at", "note")
"""Fields emptied once a fact is noted."""


def asked_of(row: dict[str, str]) -> dict[str, str]:
    """A fact as typed without what stands in fields that are out of sight for its kind."""
    there = ASKED.get(row["kind"], FIELDS)
    return {name: text if name not in FIELDS or name in there else "" for name, text in row.items()}


def wire_facts(app: Dash) -> None:
    """Show only the fields the kind of fact asks for."""
    app.clientside_callback(
        f"function(kind) {{ const asked = ({json.dumps(ASKED)})[kind] || {json.dumps(FIELDS)}; "
        f"return {json.dumps(FIELDS)}.map((name) => asked.includes(name) ? {{}} : {{display: 'none'}}); }}",
        *[Output(f"fact-{name}", "style") for name in FIELDS], Input("fact-kind", "value"),
    )  # fmt: skip
    app.clientside_callback(  # what is noted is not noted again by a second touch
        "function(told) { const done = told && told.props && told.props.className === 'note', stays = window.dash_clientside.no_update; "
        f"return {json.dumps(EMPTIED)}.map(() => done ? '' : stays); }}",
        *[Output(f"fact-{name}", "value") for name in EMPTIED], Input("fact-told", "children"), prevent_initial_call=True,
    )  # fmt: skip


__all__ = ["asked_of", "demand_part", "facts_told", "nearer", "should_sell", "who", "wire_facts"]
