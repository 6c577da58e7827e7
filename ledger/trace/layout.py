"""Where to draw each lot of a path: columns from left (first made) to right, rows that keep lines from crossing much.

Pure geometry as data frames; a figure or an SVG is drawn from it elsewhere. The method is the layered drawing of a
directed graph: a lot stands one layer to the right of its right-most parent, and the order within a layer is swept a
few times to the mean height of its neighbours (the barycentre rule, after Sugiyama, Tagawa and Toda 1981; from memory).
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import Any

import pandas as pd

from ledger.trace.path import Path

SWEEPS = 6
KIND_COLOURS = {
    "material": "#dbe7f3",
    "water": "#eef5f8",
    "mass": "#fbe3c2",
    "log": "#f6cfae",
    "rods": "#f3c0a8",
    "pieces": "#f2b5b5",
    "packs": "#d6ead2",
    "reboil": "#e6dcf2",
}


def layout(path: Path) -> pd.DataFrame:
    """Coordinates of each lot: ``lot, kind, label, layer, slot, x, y`` with x and y between 0 and 1 (y grows
    downward)."""
    names = [lot.lot for lot in path.lots]
    parents: dict[str, list[str]] = {name: [] for name in names}
    children: dict[str, list[str]] = {name: [] for name in names}
    for edge in path.edges:
        if edge.parent in parents and edge.child in parents:
            parents[edge.child].append(edge.parent)
            children[edge.parent].append(edge.child)
    layer: dict[str, int] = {}
    for name in names:  # trace_path hands the lots out in making order
        layer[name] = max((layer[p] + 1 for p in parents[name]), default=0)
    for name in reversed(names):
        # a source stands just left of its first use, not at the far left edge
        if not parents[name] and children[name]:
            layer[name] = min(layer[c] for c in children[name]) - 1
    columns: dict[int, list[str]] = {}
    for name in names:
        columns.setdefault(layer[name], []).append(name)
    height = {name: float(i) for column in columns.values() for i, name in enumerate(column)}
    for sweep in range(SWEEPS):
        near = parents if sweep % 2 == 0 else children
        for depth in sorted(columns, reverse=bool(sweep % 2)):
            column = columns[depth]
            pull = {n: sum(height[m] for m in near[n]) / len(near[n]) if near[n] else height[n] for n in column}
            column.sort(key=lambda n: (pull[n], n))
            height.update({n: float(i) for i, n in enumerate(column)})
    deepest = max(columns, default=0)
    rows = []
    for lot in path.lots:
        column = columns[layer[lot.lot]]
        slot = column.index(lot.lot)
        rows.append(
            (
                lot.lot,
                lot.kind,
                lot.label,
                layer[lot.lot],
                slot,
                layer[lot.lot] / max(1, deepest),
                (slot + 0.5) / len(column),
            )
        )
    return pd.DataFrame(rows, columns=["lot", "kind", "label", "layer", "slot", "x", "y"])


def lines(path: Path) -> pd.DataFrame:
    """One row for each pair of lots joined: ``parent, child, mass_mg`` (portions of the same pair added up)."""
    total: dict[tuple[str, str], int] = {}
    for edge in path.edges:
        key = (edge.parent, edge.child)
        total[key] = total.get(key, 0) + edge.mass_mg
    return pd.DataFrame([(p, c, m) for (p, c), m in total.items()], columns=["parent", "child", "mass_mg"])


def svg(path: Path, *, width: int = 900, row_height: int = 54) -> str:
    """The path as a stand-alone SVG drawing, readable in print: boxes with lot marks, lines as thick as their share of
    mass."""
    spots = layout(path)
    deep = int(spots["layer"].max()) + 1
    tall = int(spots["layer"].value_counts().max())
    height = max(90, tall * row_height)
    box_w = min(150.0, (width - 20) / deep * 0.72)
    step = (width - 20 - box_w) / max(1, deep - 1)
    at = {r.lot: (10 + r.layer * step, r.y * height) for r in _rows(spots)}
    joins = lines(path)
    heaviest = max(1, int(joins["mass_mg"].max())) if len(joins) else 1
    head = f'viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="img"'
    font = 'font-family="Helvetica, Arial, sans-serif" font-size="11"'
    parts = [f'<svg xmlns="http://www.w3.org/2000/svg" {head} {font} aria-label="Path of lot {escape(path.start)}">']
    for r in _rows(joins):
        (x1, y1), (x2, y2) = at[r.parent], at[r.child]
        x1 += box_w
        mid = (x1 + x2) / 2
        curve = f"M{x1:.1f},{y1:.1f} C{mid:.1f},{y1:.1f} {mid:.1f},{y2:.1f} {x2:.1f},{y2:.1f}"
        said = f"{escape(r.parent)} to {escape(r.child)}: {r.mass_mg / 1e6:.3f} kg"
        parts.append(
            f'<path d="{curve}" fill="none" stroke="#8a8f98" stroke-width="{1 + 5 * r.mass_mg / heaviest:.1f}" '
            f'stroke-opacity="0.55"><title>{said}</title></path>'
        )
    for row in _rows(spots):
        x, y = at[row.lot]
        asked = row.lot == path.start
        line = 'stroke="#b00020" stroke-width="2.5"' if asked else 'stroke="#444" stroke-width="1"'
        name, about = escape(_fit(row.lot, box_w)), escape(_fit(row.label or row.kind, box_w))
        parts.append(
            f'<rect x="{x:.1f}" y="{y - 18:.1f}" width="{box_w:.1f}" height="36" rx="4" '
            f'fill="{KIND_COLOURS.get(row.kind, "#f2f2f2")}" {line}/>'
            f'<text x="{x + 6:.1f}" y="{y - 3:.1f}" font-weight="bold">{name}</text>'
            f'<text x="{x + 6:.1f}" y="{y + 11:.1f}" fill="#333">{about}</text>'
        )
    parts.append("</svg>")
    return "".join(parts)


def _rows(frame: pd.DataFrame) -> Iterable[Any]:
    return frame.itertuples(index=False)


def _fit(text: str, box_w: float) -> str:
    room = max(4, int((box_w - 10) / 6.2))
    return text if len(text) <= room else text[: room - 1] + "…"
