"""The path language of SVG, flattened to corner points (SVG 2, chapter "Paths")."""

from __future__ import annotations

import itertools
import math
import re

import numpy as np
import numpy.typing as npt

from ledger.craft.errors import PictureUnreadable

Polyline = npt.NDArray[np.float64]

_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_TAKES = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}
LARGEST = 10_000_000
_STEPS = 48  # straight pieces a curve: within 1/4000 of its size


def _figure(text: str) -> float:
    value = float(text)
    if abs(value) > LARGEST:
        raise PictureUnreadable(
            f"The figure {text[:20]} is beyond {LARGEST:,.0f}: draw on a page of about 1,000 units."
        )
    return value


def numbers_in(text: str) -> list[float]:
    """All numbers of an attribute, in order.

    Raises:
        PictureUnreadable: a figure no drawing needs.
    """
    return [_figure(found) for found in _NUMBER.findall(text)]


def _arc_figures(text: str) -> list[float]:
    """Figures of arcs, whose two flags are single digits and may be written without a space: ``a1 1 0 01 3 4``."""
    values: list[float] = []
    at = 0
    while match := re.compile(r"[\s,]*").match(text, at):
        at = match.end()
        found = re.compile("[01]").match(text, at) if len(values) % 7 in (3, 4) else _NUMBER.match(text, at)
        if found is None:
            break
        values.append(_figure(found.group()))
        at = found.end()
    return values


def _arguments(command: str, text: str) -> list[list[float]]:
    takes = _TAKES[command.upper()]
    values = _arc_figures(text) if command.upper() == "A" else numbers_in(text)
    if takes == 0:
        return [[]]
    if not values or len(values) % takes:
        raise PictureUnreadable(f"The path command `{command}{text.strip()[:40]}` needs {takes} figures at a time.")
    return [values[i : i + takes] for i in range(0, len(values), takes)]


def _bezier(controls: list[Polyline]) -> Polyline:
    t = np.linspace(0, 1, _STEPS + 1)[1:, None]
    points = [np.broadcast_to(c, (len(t), 2)) for c in controls]
    while len(points) > 1:
        points = [(1 - t) * a + t * b for a, b in itertools.pairwise(points)]
    return points[0]


def _arc(start: Polyline, v: list[float], end: Polyline) -> Polyline:
    """Elliptical arc by SVG's end-point rules (SVG 2, appendix B.2.4)."""
    rx, ry, phi, large, sweep = abs(v[0]), abs(v[1]), math.radians(v[2]), v[3] != 0, v[4] != 0
    if rx == 0 or ry == 0 or np.allclose(start, end):
        return end[None]
    turn = np.array([[math.cos(phi), math.sin(phi)], [-math.sin(phi), math.cos(phi)]])
    x, y = turn @ ((start - end) / 2)
    grow = (x / rx) ** 2 + (y / ry) ** 2
    if grow > 1:
        rx, ry = rx * math.sqrt(grow), ry * math.sqrt(grow)
    root = max(0.0, (rx * ry) ** 2 - (rx * y) ** 2 - (ry * x) ** 2) / ((rx * y) ** 2 + (ry * x) ** 2)
    factor = math.sqrt(root) * (-1 if large == sweep else 1)
    cx, cy = factor * rx * y / ry, -factor * ry * x / rx
    centre = turn.T @ np.array([cx, cy]) + (start + end) / 2
    first = math.atan2((y - cy) / ry, (x - cx) / rx)
    delta = math.atan2((-y - cy) / ry, (-x - cx) / rx) - first
    if sweep and delta < 0:
        delta += 2 * math.pi
    elif not sweep and delta > 0:
        delta -= 2 * math.pi
    steps = max(8, math.ceil(abs(delta) * 40))
    angle = first + np.linspace(0, delta, steps + 1)[1:]
    points: Polyline = np.stack([rx * np.cos(angle), ry * np.sin(angle)], axis=1) @ turn + centre
    return points


def flatten_path(text: str) -> list[Polyline]:
    """Closed outlines of a path's ``d``; open ones are closed, as filling does.

    Raises:
        PictureUnreadable: a letter that is no path command, or figures missing.
    """
    strange = re.sub(r"[MmLlHhVvCcSsQqTtAaZz]|[-+.,\s\deE]", "", text)
    if strange:
        raise PictureUnreadable(f"The path holds `{strange[:10]}`, which is no path command.")
    outlines: list[Polyline] = []
    here, begin, handle = np.zeros(2), np.zeros(2), np.zeros(2)
    parts: list[Polyline] = []
    before = ""
    for command, body in re.findall(r"([MmLlHhVvCcSsQqTtAaZz])([^MmLlHhVvCcSsQqTtAaZz]*)", text):
        kind, relative = command.upper(), command.islower()
        for number, v in enumerate(_arguments(command, body)):
            origin = here if relative else np.zeros(2)
            if kind in "MZ" and not (kind == "M" and number):
                if len(parts) > 1:
                    outlines.append(np.concatenate(parts))
                here = origin + v if kind == "M" else begin
                begin = here
                parts = [here[None]]
            elif kind in "HV":
                here = here.copy()
                here["HV".index(kind)] = origin["HV".index(kind)] + v[0]
                parts.append(here[None])
            elif kind == "A":
                end = origin + np.array(v[5:])
                parts.append(_arc(here, v, end))
                here = end
            elif kind in "LM":
                here = origin + np.array(v)
                parts.append(here[None])
            else:
                points = [origin + np.array(v[i : i + 2]) for i in range(0, len(v), 2)]
                if kind in "ST":
                    smooth = before in ("CS" if kind == "S" else "QT") and before != ""
                    points.insert(0, 2 * here - handle if smooth else here)
                parts.append(_bezier([here, *points]))
                handle, here = points[-2], points[-1]
            before = kind
    if len(parts) > 1:
        outlines.append(np.concatenate(parts))
    return outlines
