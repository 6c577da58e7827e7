"""Where the hours went: figures from the tables of the hours report."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures.house import HATCH, SERIES, house

STEPS = ("cook", "pull", "blend", "build", "roll", "cut", "pack", "other")


def by_step(frame: pd.DataFrame, per: str, column: str = "minutes_per_kg", factor: float = 1.0) -> go.Figure:
    """Minutes by step against what was made. frame: step, minutes_per_kg or minutes_per_thousand_pieces."""
    rows = frame[frame[column].notna() & frame[column].abs().lt(float("inf"))].sort_values(column, ascending=False)
    values = rows[column] * factor
    figure = go.Figure(go.Bar(x=values, y=rows["step"], orientation="h", width=0.62, marker={"color": SERIES[0]}, cliponaxis=False,
                              text=[f"{v:.1f} min" for v in values], textposition="outside", hovertemplate="%{y}: %{x:.1f} min<extra></extra>"))  # fmt: skip
    figure.update_yaxes(autorange="reversed")
    figure.update_xaxes(title=f"minutes {per}", range=[0, float(values.max()) * 1.4 if len(values) else 1])
    says = (
        f"Look at {rows['step'].iloc[0]} first: it takes the most hands {per}"
        if len(rows)
        else "No hours were recorded"
    )
    return house(figure, says, max(240, 80 + 36 * len(rows)))


def days(frame: pd.DataFrame) -> go.Figure:
    """Where each day went, hours stacked by step. frame: day and <step>_s in seconds."""
    figure = go.Figure()
    for number, step in enumerate(STEPS):
        column = f"{step}_s"
        if column in frame and frame[column].sum():
            figure.add_bar(x=frame["day"], y=frame[column] / 3600, name=step, marker={"color": SERIES[number], "pattern": {"shape": HATCH[number], "size": 6}},
                           hovertemplate=f"%{{x}}, {step}: %{{y:.1f}} h<extra></extra>")  # fmt: skip
    figure.update_layout(barmode="stack")
    figure.update_yaxes(title="hours of hands")
    figure.update_xaxes(type="category", nticks=8, tickangle=-40)
    total = frame["total_s"].sum() if "total_s" in frame else 0
    longest = frame["day"].iloc[int(frame["total_s"].to_numpy().argmax())] if len(frame) and total else ""
    says = f"The longest day was {longest}: see which step filled it" if longest else "No hours were recorded"
    house(figure, says, 420)
    figure.update_layout(
        legend={"y": 1.02, "yanchor": "bottom"}
    )  # above the bars: below, the days' names would meet it
    return figure
