"""How every chart looks: transparent, calm, readable in light and dark. Colours are told apart by lightness and hatching too."""

from __future__ import annotations

from typing import Any

import plotly.graph_objects as go

INK = "#7a6d73"
GOOD, WATER, AGAIN, SCRAP, GAP = "#3f8f6b", "#5f8fb8", "#b98a2f", "#c04d6b", "#8a7f84"
SERIES = ("#b5527b", "#4f86ad", "#b98a2f", "#3f8f6b", "#8a6fb0", "#8a7f84", "#c2703d", "#5c9a96")
HATCH = ("", "/", ".", "x", "-", "\\", "+", "|")


LAYOUT: dict[str, Any] = {
    "margin": {"l": 8, "r": 12, "t": 12, "b": 8}, "paper_bgcolor": "rgba(0,0,0,0)", "plot_bgcolor": "rgba(0,0,0,0)",
    "font": {"family": "system-ui, sans-serif", "size": 14, "color": INK}, "legend": {"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0},
    "hoverlabel": {"font": {"size": 14}}, "bargap": 0.32, "separators": ". ",
}  # fmt: skip
AXIS = {"automargin": True, "gridcolor": "rgba(140,125,131,0.35)", "zeroline": False, "fixedrange": True}


def house(figure: go.Figure, says: str, height: int = 340) -> go.Figure:
    """Dress a figure. `says` is its title in words that say what to do or see; the page prints it above the chart.
    The legend stands above the axes, where slanted weeks on a narrow screen do not run into it.

    The whole layout is set at once: plotly takes 6 ms to update it piece by piece, and one this way."""
    worn = figure.layout.to_plotly_json()
    worn.pop("template", None)  # plotly puts its own back; to check it anew would take the 6 ms again
    axes = dict.fromkeys({"xaxis", "yaxis", *(n for n in worn if n.startswith(("xaxis", "yaxis")))}, AXIS)
    figure.layout = over(worn, {**LAYOUT, **axes, "meta": says, "height": height})
    return figure


def over(worn: dict[str, Any], new: dict[str, Any]) -> dict[str, Any]:
    """Nested settings with others put over them."""
    return {**worn, **{k: over(worn.get(k) or {}, v) if isinstance(v, dict) else v for k, v in new.items()}}


def two_lines(words: str, most: int = 16) -> str:
    """A name longer than `most` letters on two lines, so that the bars keep the width on a small screen."""
    if len(words) <= most:
        return words
    cuts = [i for i, letter in enumerate(words) if letter == " "]
    at = min(cuts, key=lambda i: abs(i - len(words) / 2)) if cuts else 0
    return f"{words[:at]}<br>{words[at + 1 :]}" if at else words
