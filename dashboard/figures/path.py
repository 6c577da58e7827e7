"""Where everything made with a lot is now, as one bar chart: what can still be stopped stands first."""

from __future__ import annotations

from collections.abc import Sequence

import plotly.graph_objects as go

from dashboard.figures.house import AGAIN, GAP, GOOD, HATCH, SCRAP, SERIES, WATER, house

TONES = (GOOD, AGAIN, WATER, SERIES[4], SCRAP, SERIES[6], SERIES[7], GAP)


def whereabouts(amounts: Sequence[tuple[str, int]], unit: str, still_out: int, to_call: int) -> go.Figure:
    """amounts: (where, how much in `unit`), in order; `still_out` is what lies with customers, `to_call` how many were not called."""
    figure = go.Figure(
        go.Bar(
            x=[n for _, n in amounts], y=[w for w, _ in amounts], orientation="h", width=0.62, cliponaxis=False,
            marker={"color": [TONES[i % len(TONES)] for i in range(len(amounts))],
                    "pattern": {"shape": [HATCH[i % len(HATCH)] for i in range(len(amounts))], "size": 7}},
            text=[f"{n}" for _, n in amounts], textposition="outside", hovertemplate="%{y}: %{x} " + unit + "<extra></extra>",
        )
    )  # fmt: skip
    figure.update_yaxes(autorange="reversed")
    figure.update_xaxes(title=unit, range=[min(0, *(n for _, n in amounts)), max(1, *(n for _, n in amounts)) * 1.2])
    says = "Nothing lies with business customers any more"
    if still_out > 0:
        says = f"{still_out} {unit} lie with customers: " + (
            f"{to_call} still to call" if to_call else "all were called, pull them back"
        )
    return house(figure, says, 90 + 44 * len(amounts))
