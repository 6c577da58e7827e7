"""Parts of the Season page: words with links to figures, charts, two plans side by side, the fields of a change and of a fact."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import dash_mantine_components as dmc
from dash import html

from dashboard.components.parts import chart, report_table
from dashboard.components.season_change import FEAST, feasts_of
from dashboard.figures.season_demand import cumulative, weeks
from ledger.application.reports_types import Shop
from ledger.application.season_batches import kettle_names
from ledger.application.season_plan import PlanMade
from ledger.application.season_report import stock_table, weeks_frame
from ledger.application.season_view import cumulated
from ledger.planning.words import Sentence

ABOUT = {
    "start": "Start", "full": "Full", "short": "Short", "ahead": "Ahead", "helps": "Help", "proof": "How good", "finding": "Mind", "days": "Days",
}  # fmt: skip
MOST_TO_MIND = 8
"""Findings shown before the rest is folded: where one thing is wrong with every flavour, the plan must not drown in it."""


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
    mind = [row for row, s in zip(rows, said, strict=True) if s.about == "finding"]
    if len(mind) <= MOST_TO_MIND:
        return html.Section([html.H2("What to do"), html.Ul(rows, className="words")])
    rest = [row for row in rows if row not in mind[MOST_TO_MIND:]]
    more = html.Details(
        [
            html.Summary(f"{len(mind) - MOST_TO_MIND} more things to mind"),
            html.Ul(mind[MOST_TO_MIND:], className="words"),
        ]
    )
    return html.Section([html.H2("What to do"), html.Ul(rest, className="words"), more])


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


def whatif_fields(ledger: Any) -> Any:
    """What to change: demand, a kettle out, a helper, a design dropped, a day more."""
    from ledger.domain.books import entries as e

    book = ledger.book()
    flavours = [{"value": f.id, "label": f.name} for f in book.all(e.Flavour)]
    ids = {id for f in book.all(e.Flavour) for id in feasts_of(f)}
    feasts = [
        {"value": f"{FEAST}{f.id}", "label": f"every flavour for {f.name}"} for f in book.all(e.Feast) if f.id in ids
    ]
    first = next((f.id for f in book.all(e.Flavour) if f.feast), flavours[0]["value"] if flavours else None)
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
            dmc.Select(id="season-what", label="What if", data=[{"value": v, "label": t} for v, t in kinds], value="demand", allowDeselect=False, size="md", **KEPT),
            dmc.Select(id="season-flavour", label="of flavour", data=[*feasts, *flavours], value=first, searchable=True, size="md", **KEPT),
            dmc.NumberInput(id="season-percent", label="by %", value=20, min=-100, max=300, step=5, size="md", **KEPT),
            dmc.TextInput(id="season-from", label="from week", placeholder="W50 (empty: the first)", size="md", **KEPT),
            dmc.TextInput(id="season-to", label="to week", placeholder="empty: that week, or all", size="md", **KEPT),
            html.Button("Try it", id="season-try", type="button", className="button", n_clicks=0, **{"aria-describedby": "season-why"}),
        ],
        className="filters whatif",
    )  # fmt: skip


KEPT = {"persistence": True, "persistence_type": "session"}
"""What is typed stays when the page is drawn anew because another tablet recorded something."""


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
            dmc.Select(id="fact-kind", label="What", data=[{"value": v, "label": t} for v, t in kinds], value="run-out", allowDeselect=False, size="md", **KEPT),
            dmc.TextInput(id="fact-from", label="from day", inputProps={"type": "date"}, size="md", **KEPT),
            dmc.TextInput(id="fact-to", label="to day", inputProps={"type": "date"}, size="md", **KEPT),
            dmc.Select(id="fact-flavour", label="flavour", data=flavours, clearable=True, searchable=True, size="md", **KEPT),
            dmc.Select(id="fact-channel", label="channel", data=channels, clearable=True, size="md", **KEPT),
            dmc.TextInput(id="fact-packs", label="packs", placeholder="bulk, own figure", size="md", **KEPT),
            dmc.TextInput(id="fact-at", label="time of a show", placeholder="14:00-15:30", size="md", **KEPT),
            dmc.TextInput(id="fact-note", label="note or reason", size="md", **KEPT),
            html.Button("Note it", id="fact-go", type="button", className="button", n_clicks=0),
        ],
        className="filters whatif",
    )  # fmt: skip


__all__ = [
    "charts",
    "fact_fields",
    "in_house",
    "whatif_fields",
    "words",
]
