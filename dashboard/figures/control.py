"""The control chart of a flavour's weekly process yield (individuals and moving range), unusual points named."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures.house import GOOD, INK, SCRAP, house


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
    says = (
        f"{name}: find out what happened in {', '.join(odd['week'].tail(3))}"
        if len(odd)
        else f"{name}: steady, nothing unusual; leave the process alone"
    )
    return house(go.Figure(lines, {"yaxis": {"title": {"text": "process yield, %"}}}), says, 380)
