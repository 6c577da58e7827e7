"""How long the shelf lasts."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures.house import GOOD, SCRAP, house, two_lines


def cover(frame: pd.DataFrame, low_days: int = 14, most: int = 25) -> go.Figure:
    """Days of cover of each pack at the current rate, shortest first. frame: name, packs, cover_days (may be NaN or infinite),
    and in_season_only where some flavours are: whether to make more of those is asked of the Season page, not of the last four weeks."""
    rows = (
        frame[frame["cover_days"].notna() & frame["cover_days"].abs().lt(float("inf"))]
        .sort_values("cover_days")
        .head(most)
    )
    season = rows["in_season_only"].astype(bool) if "in_season_only" in rows else pd.Series(False, index=rows.index)
    low = rows["cover_days"] < low_days
    short = low & ~season
    said = [
        " - make it" if s else " - for its season only" if x else "" for s, x in zip(short, low & season, strict=True)
    ]
    figure = go.Figure(go.Bar(
        x=rows["cover_days"].clip(upper=180), y=[two_lines(str(n), 18) for n in rows["name"]], orientation="h", width=0.62, cliponaxis=False,
        marker={"color": [SCRAP if s else GOOD for s in short], "pattern": {"shape": ["/" if s else "" for s in short], "size": 7}},
        text=[f"{v:.0f} days{word}" for v, word in zip(rows["cover_days"], said, strict=True)], textposition="outside",
        hovertemplate="%{y}: %{text}<extra></extra>",
    ))  # fmt: skip
    top = float(rows["cover_days"].clip(upper=180).max()) if len(rows) else 1.0
    figure.update_xaxes(
        title="days of cover,<br>180 at most",
        range=[0, max(1.0, top) * 1.7],
        nticks=5,
    )
    figure.update_yaxes(autorange="reversed")
    names = list(rows["name"][short].head(3))
    says = (
        f"Make soon: {', '.join(names)}"
        if names
        else f"Everything that sells lasts {low_days} days or more"
        if len(rows)
        else "Nothing has sold in the last 28 days"
    )
    return house(figure, says, max(240, 100 + 40 * len(rows)))
