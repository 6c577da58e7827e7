"""The control chart of a flavour's weekly process yield (individuals and moving range), unusual points named."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures.house import GOOD, INK, SCRAP, house

ENOUGH = 5
"""Points below which limits say little (our choice; handbooks want more before limits are kept for good)."""
LATELY = 4
"""Points of which somebody still remembers what happened (our choice)."""


def control(points: pd.DataFrame, name: str) -> go.Figure:
    """points: week, value, center, lower, upper, unusual, rules (the `points` table of the control report), shares of 1."""
    lines = []
    for column, words, dash in (
        ("upper", "upper limit", "dash"),
        ("center", "middle", "solid"),
        ("lower", "lower limit", "dash"),
    ):
        lines.append(
            go.Scatter(
                x=points["week"],
                y=points[column] * 100,
                mode="lines",
                name=words,
                line={"color": INK, "dash": dash, "width": 1.5},
                hoverinfo="skip",
            )
        )
    lines.append(go.Scatter(x=points["week"], y=points["value"] * 100, mode="lines+markers", name="process yield", line={"color": GOOD, "width": 2.5},
                            marker={"size": 8}, hovertemplate="%{x}: %{y:.1f} %<extra></extra>"))  # fmt: skip
    odd = points[points["unusual"].astype(bool)]
    if len(odd):
        lines.append(go.Scatter(x=odd["week"], y=odd["value"] * 100, mode="markers+text", name="unusual", text=list(odd["week"]), textposition="top center",
                           marker={"symbol": "diamond-open", "size": 17, "color": SCRAP, "line": {"width": 3}},
                           customdata=list(odd["rules"]), hovertemplate="%{x}: %{y:.1f} %, %{customdata}<extra></extra>"))  # fmt: skip
    return house(go.Figure(lines, {"yaxis": {"title": {"text": "process yield, %"}}}), _says(points, odd, name), 380)


def _says(points: pd.DataFrame, odd: pd.DataFrame, name: str) -> str:
    """The title: the newest point is what somebody can still ask about; an old one is told as the past it is."""
    late = [w for w in odd["week"] if w in set(points["week"].tail(LATELY))]
    if late:
        return f"{name}: find out what happened in {', '.join(late)}"
    if len(points) < ENOUGH:
        return f"{name}: {len(points)} week{'' if len(points) == 1 else 's'} so far, too few to judge; go on recording"
    if len(odd):
        return f"{name}: steady up to {points['week'].iloc[-1]}, leave the process alone; last unusual in {odd['week'].iloc[-1]}"
    return f"{name}: steady, nothing unusual; leave the process alone"
