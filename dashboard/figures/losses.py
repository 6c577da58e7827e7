"""Where the sugar went, and what the scrap was: figures from the tables of the week and losses reports."""

from __future__ import annotations

from typing import Any

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures.house import AGAIN, GAP, GOOD, SCRAP, SERIES, WATER, house, two_lines
from ledger.analytics.records import records

TONE = {"evaporated_mg": WATER, "reboil_mg": AGAIN, "scrap_mg": SCRAP, "unexplained_mg": GAP}
LOST = ("scrap_mg", "unexplained_mg", "aside_mg")
"""What is gone for good: boiled-off water belongs to the cook, re-boil comes back, what is in work comes later."""


def waterfall(frame: pd.DataFrame, divisor: float, unit: str) -> go.Figure:
    """Kettle to jar as bars hanging from what was left: boiled-off water stands apart from scrap.

    frame: columns flow, what, change_mg, left_mg, in order (the `waterfall` table of the week report).
    divisor: mg in one shown unit.
    """
    bars = []
    left = 0
    for number, row in enumerate(records(frame)):
        total = (
            number == 0 or row["flow"] == "packed_mg"
        )  # what went in and what came out stand on the ground, the rest hangs
        change = int(row["left_mg"]) if total else int(row["change_mg"])
        low, high = (0, change) if total else sorted((left, left + change))
        bars.append(go.Bar(
            x=[(high - low) / divisor], base=[low / divisor], y=[two_lines(str(row["what"]))], orientation="h", width=0.62,
            marker={"color": GOOD if total else TONE.get(str(row["flow"]), SERIES[4]), "pattern": {"shape": "" if total or row["flow"] == "evaporated_mg" else "/", "size": 7}},
            text=[f"{change / divisor:+.2f} {unit}" if not total else f"{change / divisor:.2f} {unit}"], textposition="outside", cliponaxis=False,
            hovertemplate=f"%{{y}}: {change / divisor:.3f} {unit}<extra></extra>", showlegend=False,
        ))  # fmt: skip
        left = int(row["left_mg"])
    lost = frame["flow"].isin(LOST)
    worst = records(frame[lost & (frame["change_mg"] < 0)])
    says = "Nothing was lost after the kettle"
    if worst:
        row = min(worst, key=lambda r: int(r["change_mg"]))
        says = f"Start with {row['what']}: it took {-row['change_mg'] / divisor:.2f} {unit}"
    most = max(1, int(frame["left_mg"].max() if len(frame) else 1)) / divisor
    return house(go.Figure(bars, _hanging(unit, most * 1.7)), says, max(260, 70 + 46 * len(frame)))


def causes(frame: pd.DataFrame, divisor: float, unit: str, most: int = 10) -> go.Figure:
    """Losses ranked by step and cause. frame: step, cause, mass_mg (the `losses` table); re-boil comes back and has no rank."""
    lost = frame[(frame["rank"] > 0) & (frame["mass_mg"] > 0)].sort_values("mass_mg", ascending=False).head(most)
    names = [f"{r.cause}, {r.step}" for r in lost.itertuples()]
    bar = (
        go.Bar(x=lost["mass_mg"] / divisor, y=names, orientation="h", width=0.62, marker={"color": SCRAP}, cliponaxis=False,
               text=[f"{v / divisor:.2f} {unit}" for v in lost["mass_mg"]], textposition="outside", hovertemplate="%{y}: %{x:.3f} " + unit + "<extra></extra>")
    )  # fmt: skip
    top = float(lost["mass_mg"].max()) / divisor if len(lost) else 1.0
    half = lost["mass_mg"].cumsum() <= lost["mass_mg"].sum() * 0.8
    few = max(1, int(half.sum()))
    says = (
        f"{few} of {len(lost)} causes make{'s' if few == 1 else ''} most of the loss: begin with {names[0]}"
        if len(names) > 1
        else f"One cause only: begin with {names[0]}"
        if names
        else "No scrap and nothing unexplained"
    )
    return house(go.Figure(bar, _hanging(unit, top * 1.5)), says, max(240, 70 + 38 * len(lost)))


def _hanging(unit: str, most: float) -> dict[str, Any]:
    """Axes of bars that lie under one another, the first on top."""
    return {"yaxis": {"autorange": "reversed"}, "xaxis": {"title": {"text": unit}, "range": [0, most], "nticks": 5}}
