"""Read the plain part of SVG that a picture of sugar needs, and fill it without soft edges.

Filled shapes only (circle, ellipse, rect, polygon, path, group, with transforms): every line in a rod is sugar with a
width and a mass, so a stroke, a gradient, a filter, text or transparency is refused with the way to draw it instead.
Each pixel takes the colour of the last shape that covers its centre (SVG 2, painting order and fill rules).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from xml.etree import ElementTree

import numpy as np
import numpy.typing as npt

from ledger.craft.errors import PictureUnreadable
from ledger.craft.picture_legend import Colour
from ledger.craft.svg_path import Polyline, flatten_path, numbers_in

Matrix = npt.NDArray[np.float64]
Labels = npt.NDArray[np.uint8]

_SHAPES = {"circle", "ellipse", "rect", "polygon", "path"}
_SILENT = {"title", "desc", "metadata", "defs", "namedview", "style"}
_NAMED = {"white": "#ffffff", "black": "#000000", "red": "#ff0000", "green": "#008000", "blue": "#0000ff"}
_CURVE_STEPS = 256

MOST_BYTES, MOST_CROSSINGS, DEEPEST = 4_000_000, 20_000_000, 64


def _local(tag: object) -> str:
    return str(tag).rsplit("}", 1)[-1]


def _matrix(text: str | None) -> Matrix:
    result = np.eye(3)
    if not text:
        return result
    for name, inner in re.findall(r"([a-zA-Z]+)\s*\(([^)]*)\)", text):
        v = numbers_in(inner)
        m = np.eye(3)
        if name == "matrix" and len(v) == 6:
            m[:2] = [[v[0], v[2], v[4]], [v[1], v[3], v[5]]]
        elif name == "translate" and len(v) in (1, 2):
            m[:2, 2] = [v[0], v[1] if len(v) == 2 else 0]
        elif name == "scale" and len(v) in (1, 2):
            m[0, 0], m[1, 1] = v[0], v[-1]
        elif name == "rotate" and len(v) in (1, 3):
            c, s = math.cos(math.radians(v[0])), math.sin(math.radians(v[0]))
            m[:2, :2] = [[c, -s], [s, c]]
            if len(v) == 3:
                there, back = np.eye(3), np.eye(3)
                there[:2, 2], back[:2, 2] = v[1:], [-v[1], -v[2]]
                m = there @ m @ back
        elif name in ("skewX", "skewY") and len(v) == 1:
            m[(0, 1) if name == "skewX" else (1, 0)] = math.tan(math.radians(v[0]))
        else:
            raise PictureUnreadable(f"The transform `{name}({inner})` cannot be read: use translate, scale or rotate.")
        result = result @ m
    return result


def _style(element: ElementTree.Element, inherited: dict[str, str]) -> dict[str, str]:
    style = dict(inherited)
    names = ("fill", "stroke", "fill-rule", "opacity", "fill-opacity", "display", "filter", "mask", "clip-path")
    style.update({name: element.attrib[name].strip() for name in names if name in element.attrib})
    for item in element.attrib.get("style", "").split(";"):
        name, _, value = item.partition(":")
        if name.strip() in names:
            style[name.strip()] = value.strip()
    return style


def _fill(style: dict[str, str], where: str) -> Colour | None:
    if style.get("stroke", "none") not in ("none", "transparent"):
        raise PictureUnreadable(
            f"{where} has a stroke. A line in the rod is sugar with a width: draw it as a filled shape "
            "(in most drawing programs: convert the stroke to a path)."
        )
    for name in ("opacity", "fill-opacity"):
        if style.get(name, "1") not in ("1", "1.0", "100%"):
            raise PictureUnreadable(
                f"{where} has {name} {style[name]}: see-through paint is no portion. Use a flat colour."
            )
    for name in ("filter", "mask", "clip-path"):
        if style.get(name, "none") != "none":
            raise PictureUnreadable(f"{where} uses a {name}, which cannot be measured. Draw the shape as it shall be.")
    text = style.get("fill", "#000000").lower()
    if text == "none" or style.get("display") == "none":
        return None
    text = _NAMED.get(text, text)
    if re.fullmatch(r"#[0-9a-f]{3}", text):
        text = "#" + "".join(2 * digit for digit in text[1:])
    if not re.fullmatch(r"#[0-9a-f]{6}", text):
        raise PictureUnreadable(f"{where} is filled with `{text}`: use a flat colour written as #rrggbb.")
    return (int(text[1:3], 16), int(text[3:5], 16), int(text[5:7], 16))


def _number(element: ElementTree.Element, name: str, default: float = 0.0) -> float:
    text = element.attrib.get(name)
    if text is None:
        return default
    if not re.fullmatch(r"\s*[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?\s*(px)?\s*", text):
        raise PictureUnreadable(f'{_local(element.tag)} has {name}="{text}": give a plain number.')
    return numbers_in(text)[0]


def _outline(element: ElementTree.Element) -> list[Polyline]:
    kind = _local(element.tag)
    if kind == "path":
        return flatten_path(element.attrib.get("d", ""))
    if kind == "polygon":
        values = numbers_in(element.attrib.get("points", ""))
        if len(values) < 6 or len(values) % 2:
            raise PictureUnreadable(f"A polygon has {len(values)} figures: give x and y of at least three corners.")
        return [np.array(values).reshape(-1, 2)]
    if kind == "rect":
        x, y, w, h = (_number(element, name) for name in ("x", "y", "width", "height"))
        if _number(element, "rx") or _number(element, "ry"):
            raise PictureUnreadable("A rect has round corners (rx, ry): draw it as a path.")
        return [np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])]
    rx = _number(element, "r") if kind == "circle" else _number(element, "rx")
    ry = rx if kind == "circle" else _number(element, "ry")
    angle = np.linspace(0, 2 * np.pi, _CURVE_STEPS, endpoint=False)
    # The many-sided figure is scaled to the ellipse's own area, since it is area that becomes mass.
    swell = math.sqrt(2 * math.pi / (_CURVE_STEPS * math.sin(2 * math.pi / _CURVE_STEPS)))
    points = np.stack([rx * swell * np.cos(angle), ry * swell * np.sin(angle)], axis=1)
    return [points + np.array([_number(element, "cx"), _number(element, "cy")])]


def _shapes(
    element: ElementTree.Element, matrix: Matrix, inherited: dict[str, str], depth: int = 0
) -> Iterator[tuple[list[Polyline], Colour, bool]]:
    for child in element:
        kind = _local(child.tag)
        style = _style(child, inherited)
        placed = matrix @ _matrix(child.attrib.get("transform"))
        if kind == "g":
            if depth >= DEEPEST:
                raise PictureUnreadable(f"Groups lie more than {DEEPEST} deep: ungroup the drawing.")
            yield from _shapes(child, placed, style, depth + 1)
        elif kind in _SHAPES:
            colour = _fill(style, f"A {kind}")
            if colour is not None:
                outline = [points @ placed[:2, :2].T + placed[:2, 2] for points in _outline(child)]
                yield outline, colour, style.get("fill-rule") == "evenodd"
        elif kind not in _SILENT and isinstance(child.tag, str):
            raise PictureUnreadable(
                f"The picture holds a <{kind}>, which cannot be measured: use filled circle, ellipse, rect, polygon or "
                "path (letters: convert the text to paths)."
            )


def _covered(outline: list[Polyline], size: int, even_odd: bool) -> tuple[slice, slice, npt.NDArray[np.bool_]] | None:
    """Pixels whose centre lies inside, by counting signed edge crossings left of each centre, row by row."""
    starts = np.concatenate(outline)
    ends = np.concatenate([np.roll(points, -1, axis=0) for points in outline])
    first = np.clip(np.ceil(np.minimum(starts[:, 1], ends[:, 1]) - 0.5), 0, size).astype(int)
    last = np.clip(np.ceil(np.maximum(starts[:, 1], ends[:, 1]) - 0.5), 0, size).astype(int)
    rows_of_edge = last - first
    crossings = int(rows_of_edge.sum())
    if not crossings:
        return None
    if crossings > MOST_CROSSINGS:
        raise PictureUnreadable("One shape has too many corners to be sugar: simplify its outline.")
    edge = np.repeat(np.arange(len(starts)), rows_of_edge)
    row = np.arange(len(edge)) - np.repeat(np.cumsum(rows_of_edge) - rows_of_edge, rows_of_edge) + first[edge]
    rise = ends[edge, 1] - starts[edge, 1]
    x = starts[edge, 0] + (row + 0.5 - starts[edge, 1]) / rise * (ends[edge, 0] - starts[edge, 0])
    column = np.clip(np.ceil(x - 0.5), 0, size).astype(int)
    top, bottom, left, right = row.min(), row.max() + 1, column.min(), column.max()
    turns = np.zeros((bottom - top, right - left + 1), dtype=np.int16)
    np.add.at(turns, (row - top, column - left), np.where(rise > 0, 1, -1).astype(np.int16))
    winding = np.cumsum(turns[:, :-1], axis=1, dtype=np.int16)
    inside = (winding & 1).astype(bool) if even_odd else winding != 0
    return slice(top, bottom), slice(left, right), inside


def paint_svg(data: bytes, size: int, outside: Colour) -> npt.NDArray[np.uint8]:
    """Fill an SVG on a square of ``size`` pixels; the result is ``(size, size, 3)`` flat colours.

    Raises:
        PictureUnreadable: not SVG, not square, or something that cannot be measured as flat areas.
    """
    if len(data) > MOST_BYTES:
        raise PictureUnreadable(f"The SVG has {len(data):,} bytes, and may have {MOST_BYTES:,}: simplify the drawing.")
    if b"<!DOCTYPE" in data or b"<!ENTITY" in data:
        raise PictureUnreadable("The SVG brings a DOCTYPE or entities: save it as plain SVG.")
    try:
        root = ElementTree.fromstring(data)
    except ElementTree.ParseError as fault:
        raise PictureUnreadable(f"The SVG cannot be read: {fault}. Save it again as plain SVG.") from fault
    if _local(root.tag) != "svg":
        raise PictureUnreadable(f"The picture is a <{_local(root.tag)}>, not an <svg>.")
    box = numbers_in(root.attrib.get("viewBox", ""))
    if len(box) != 4:
        box = [0.0, 0.0, _number(root, "width"), _number(root, "height")]
    if box[2] <= 0 or abs(box[2] - box[3]) > 1e-6 * box[2]:
        raise PictureUnreadable(f"The drawing is {box[2]:g} by {box[3]:g}: a rod is round, so make the page square.")
    scale = size / box[2]
    frame = np.array([[scale, 0, -box[0] * scale], [0, scale, -box[1] * scale], [0, 0, 1]])
    canvas = np.empty((size, size, 3), dtype=np.uint8)
    canvas[:] = outside
    for outline, colour, even_odd in _shapes(root, frame, _style(root, {})):
        covered = _covered(outline, size, even_odd) if outline else None
        if covered is not None:
            rows, columns, inside = covered
            canvas[rows, columns][inside] = colour
    return canvas
