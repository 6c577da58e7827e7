"""Demand against what is made for it, week by week: figures of the Season page."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures.house import AGAIN, GAP, GOOD, HATCH, SCRAP, SERIES, WATER, house

FULL = 0.97


def cumulative(frame: pd.DataFrame, name: str, divisor: float = 1.0, unit: str = "kg") -> go.Figure:
    """Demand so far with its band, stock and planned making, and what the hands could still make. frame: week, mean, low, high, supply, could (kg)."""
    x = list(frame["week"])
    band, demand, supply, could = (frame[c] / divisor for c in ("low", "mean", "supply", "could"))
    high = frame["high"] / divisor
    figure = go.Figure()
    figure.add_scatter(
        x=x, y=could, name="if all free hands made it", mode="lines", line={"color": GAP, "width": 1.5, "dash": "dot"}
    )
    figure.add_scatter(x=x, y=high, mode="lines", line={"width": 0}, showlegend=False, hoverinfo="skip")
    figure.add_scatter(
        x=x,
        y=band,
        name="demand, 8 years of 10",
        mode="lines",
        line={"width": 0},
        fill="tonexty",
        fillcolor="rgba(181,82,123,0.25)",
        hoverinfo="skip",
    )
    figure.add_scatter(x=x, y=demand, name="demand expected", mode="lines", line={"color": SERIES[0], "width": 2.5})
    figure.add_scatter(
        x=x,
        y=supply,
        name="in the house and planned",
        mode="lines",
        line={"color": GOOD, "width": 3, "dash": "dash", "shape": "hv"},
    )
    figure.update_traces(hovertemplate="%{x}: %{y:.0f} " + unit)
    figure.update_yaxes(title=f"{unit} since the first week", rangemode="tozero")
    top = float(max(high.max(), supply.max(), 1.0)) if len(frame) else 1.0
    figure.update_yaxes(range=[0, top * 1.15])
    figure.update_xaxes(type="category", nticks=6, tickangle=-40)
    return _topped(house(figure, _says(frame, name), 400))


def _topped(figure: go.Figure) -> go.Figure:
    """The legend above, where slanted weeks do not run into it."""
    figure.update_layout(legend={"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0})
    return figure


def _says(frame: pd.DataFrame, name: str) -> str:
    short = frame[frame["supply"] < frame["mean"] - 0.05]
    if len(short):
        return f"{name}: the plan falls behind expected demand from {short['week'].iloc[0]}"
    risk = frame[frame["supply"] < frame["high"] - 0.05]
    if len(risk):
        return f"{name}: covered as expected; a good season would outrun it from {risk['week'].iloc[0]}"
    return f"{name}: covered, even in a good season"


def _is_full(frame: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Which weeks are full, and which of them by their days rather than their hands or a station."""
    days = pd.Series(False, index=frame.index)
    if "days_carry_s" in frame:
        carry = pd.to_numeric(frame["days_carry_s"])
        days = carry.notna() & (frame["hands_used_s"] >= FULL * carry.fillna(0)) & (frame["hands_used_s"] > 0)
    return (frame["share"] >= FULL) | (frame["station_share"] >= FULL) | days, days


def full_weeks(frame: pd.DataFrame) -> list[str]:
    """The labels of the weeks that are full; frame as for `weeks`."""
    return list(frame.loc[_is_full(frame)[0], "week"])


def weeks(frame: pd.DataFrame) -> go.Figure:
    """Hands used of hands there, week by week; full weeks hatched. frame: week, share, station_share, busiest; optional hands_used_s and
    days_carry_s (what the days can carry of the hands, where that is the limit).
    """
    full, days = _is_full(frame)
    figure = go.Figure()
    figure.add_bar(x=frame["week"], y=100 * frame["share"], name="hands", marker={
        "color": [SCRAP if f else WATER for f in full], "pattern": {"shape": [HATCH[1] if f else "" for f in full], "size": 6}},
        hovertemplate="%{x}: %{y:.0f} % of the hands<extra></extra>")  # fmt: skip
    figure.add_scatter(x=frame["week"], y=100 * frame["station_share"], name="fullest station", mode="markers", marker={"color": AGAIN, "symbol": "diamond", "size": 9},
                       text=frame["busiest"], hovertemplate="%{x}: %{text} %{y:.0f} %<extra></extra>")  # fmt: skip
    figure.add_hline(y=100, line={"color": GAP, "dash": "dot"})
    figure.update_yaxes(title="% used", rangemode="tozero")
    figure.update_xaxes(type="category", nticks=6, tickangle=-40)
    names = list(frame.loc[full, "week"])
    says = (
        f"Full weeks: {', '.join(names[:4])}{' and more' if len(names) > 4 else ''}{' (their days, not their hands)' if bool(days[full].all()) else ''}"
        if names
        else "No week is full: there are hands for more"
    )
    if "hands_there_s" in frame and len(frame) and not frame["hands_there_s"].any():
        says = "No week has hands or making days: nothing can be made"
    return _topped(house(figure, says, 380))


def day(frame: pd.DataFrame, title: str) -> go.Figure:
    """One making day as bars by batch. frame: batch, step, start_min, minutes, station, people."""
    figure = go.Figure()
    steps = list(dict.fromkeys(frame["step"]))
    for number, step in enumerate(steps):
        rows = frame[frame["step"] == step]
        figure.add_bar(x=rows["minutes"], base=rows["start_min"], y=rows["batch"], orientation="h", name=step, width=0.6,
                       marker={"color": SERIES[number % len(SERIES)], "pattern": {"shape": HATCH[number % len(HATCH)], "size": 6}},
                       text=[f"{p} people at the {s}" for p, s in zip(rows["people"], rows["station"], strict=True)], textposition="none",
                       hovertemplate="%{y}, " + step + ", %{text}<extra></extra>")  # fmt: skip
    first = int(frame["start_min"].min()) // 60 if len(frame) else 9
    last = int((frame["start_min"] + frame["minutes"]).max()) // 60 + 1 if len(frame) else 17
    hours = list(range(first, last + 1, 2))
    figure.update_xaxes(
        tickvals=[60 * h for h in hours],
        ticktext=[f"{h}:00" for h in hours],
        range=[60 * first, 60 * last],
        tickangle=0,
    )
    figure.update_yaxes(autorange="reversed")
    figure.update_layout(barmode="overlay")
    return _topped(house(figure, title, 150 + 46 * frame["batch"].nunique()))
