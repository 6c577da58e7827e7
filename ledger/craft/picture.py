"""The cross-section of the log as a flat-colour picture: read, checked, measured.

A picture is measured in pixels and stays so until a log or rod diameter is named: its areas are shares of the round
section, and lengths are shares of its diameter.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from PIL import Image, UnidentifiedImageError
from scipy import ndimage

from ledger.craft.errors import (
    AreasDoNotClose,
    ColourNotInLegend,
    JacketMissing,
    PictureAntiAliased,
    PictureUnreadable,
    PortionNotInPicture,
)
from ledger.craft.numbers import PPM, shared_out, whole
from ledger.craft.picture_legend import Colour, Legend, colour_name, read_legend
from ledger.craft.picture_svg import paint_svg

Labels = npt.NDArray[np.uint8]

SVG_PIXELS = 1200
LEAST_PIXELS, MOST_PIXELS = 64, 4000
#: How far the coloured area may differ from the circle around it: a pixel's stair steps are far below this.
ROUND_WITHIN = 0.01
#: Share of the rim that must be jacket.
RIM_JACKET = 0.995
#: In-between colours that together cover less than this are soft edges, not a forgotten portion.
SOFT_EDGE_SHARE = 0.08


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class PictureDesign:
    """A design whose picture has passed every check.

    Attributes:
        legend: what the colours mean.
        labels: square of pixels cropped to the rod: 0 outside, ``1 + i`` for the i-th portion of the legend.
        diameter_px: diameter of the round section in pixels, from its area.
        area_ppm: share of the section for each portion, in the legend's order; sums to 1 000 000 exactly.
        jacket_ppm: least jacket thickness as a share of the diameter (0 without jacket).
    """

    legend: Legend
    labels: Labels
    diameter_px: float
    area_ppm: tuple[int, ...]
    jacket_ppm: int


def _png_pixels(data: bytes, outside: Colour) -> npt.NDArray[np.uint8]:
    # The size stands in the first chunk (PNG, section 11.2.2): looked at before anything is unpacked.
    sides = [int.from_bytes(data[at : at + 4], "big") for at in (16, 20)]
    if not all(LEAST_PIXELS <= side <= MOST_PIXELS for side in sides):
        raise PictureUnreadable(
            f"The picture is {sides[0]} x {sides[1]} pixels: use {LEAST_PIXELS} to {MOST_PIXELS} a side."
        )
    try:
        image = Image.open(io.BytesIO(data), formats=["PNG"])
        if image.mode in ("RGB", "L") and "transparency" not in image.info:
            return np.asarray(image.convert("RGB"))
        pixels = np.asarray(image.convert("RGBA"))
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError) as fault:
        raise PictureUnreadable(f"The picture cannot be read as PNG: {fault}. Save it again as PNG or SVG.") from fault
    alpha = pixels[..., 3]
    half = int(((alpha > 0) & (alpha < 255)).sum())
    if half:
        raise PictureAntiAliased(
            f"{half} pixels are half transparent: soft edges belong to no portion. Draw with anti-aliasing off "
            "(a pencil tool, not a brush), or give an SVG."
        )
    return np.where(alpha[..., None] == 255, pixels[..., :3], np.array(outside, dtype=np.uint8))


def read_pixels(data: bytes, outside: Colour, size: int = SVG_PIXELS) -> npt.NDArray[np.uint8]:
    """Flat colours of a PNG as it is, or of an SVG filled at ``size`` pixels: ``(height, width, 3)``."""
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return _png_pixels(data, outside)
    if b"<svg" in data[:4000]:
        return paint_svg(data, size, outside)
    raise PictureUnreadable(
        "The picture is neither PNG nor SVG. Photographs (JPEG) have no flat colours: draw it anew."
    )


def _between(colour: npt.NDArray[np.int64], known: npt.NDArray[np.int64]) -> bool:
    """Whether a colour lies on the line between two known colours: what a softened edge gives."""
    for i in range(len(known)):
        for j in range(i):
            line, to = known[j] - known[i], colour - known[i]
            t = float(to @ line) / float(line @ line)
            if 0.02 < t < 0.98 and float(np.abs(to - t * line).max()) <= 6:
                return True
    return False


def _refuse_strange(pixels: npt.NDArray[np.uint8], packed: npt.NDArray[np.uint32], known: list[Colour]) -> None:
    values, counts = np.unique(packed, return_counts=True)
    colours = np.stack([values >> 16, (values >> 8) & 255, values & 255], axis=1).astype(np.int64)
    table = np.array(known, dtype=np.int64)
    strange = [i for i in np.argsort(-counts, kind="stable") if not (colours[i] == table).all(axis=1).any()]
    area = int(counts[strange].sum())
    looked_at = strange[:64]
    soft = sum(_between(colours[i], table) for i in looked_at)
    listed = ", ".join(
        f"{colour_name((int(colours[i][0]), int(colours[i][1]), int(colours[i][2])))} ({counts[i]} px)"
        for i in strange[:5]
    )
    facts = {"colours": len(strange), "pixels": area}
    if soft * 2 > len(looked_at) and len(strange) > 2 and area < SOFT_EDGE_SHARE * counts.sum():
        raise PictureAntiAliased(
            f"The picture has soft edges: {len(strange)} in-between colours on {area} pixels, such as {listed}. "
            "Save it with anti-aliasing off (a pencil tool, nearest-neighbour scaling), or give an SVG.",
            **facts,
        )
    raise ColourNotInLegend(
        f"The picture has {len(strange)} colours that the legend gives to no portion: {listed}. The legend knows "
        f"{', '.join(map(colour_name, known))}. Repaint them, or add a portion with that colour.",
        **facts,
    )


def _labelled(pixels: npt.NDArray[np.uint8], legend: Legend) -> Labels:
    red, green, blue = (pixels[..., i].astype(np.uint32) for i in range(3))
    packed = ((red << 16) | (green << 8) | blue).astype(np.uint32)
    labels = np.full(packed.shape, 255, dtype=np.uint8)
    known = [(0, legend.outside)]
    known += [(i + 1, p.colour) for i, p in enumerate(legend.portions) if p.colour is not None]
    for label, (r, g, b) in known:
        labels[packed == ((r << 16) | (g << 8) | b)] = label
    if (labels == 255).any():
        _refuse_strange(pixels, packed, [colour for _, colour in known])
    return labels


def _cropped(labels: Labels) -> Labels:
    """Cut to the rod and put on a square with one pixel of outside all round."""
    rows, columns = np.flatnonzero((labels > 0).any(axis=1)), np.flatnonzero((labels > 0).any(axis=0))
    if not len(rows):
        raise AreasDoNotClose("The picture holds nothing but the colour `outside`: draw the round section of the log.")
    part = labels[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    side = max(part.shape) + 2
    square = np.zeros((side, side), dtype=np.uint8)
    top, left = (side - part.shape[0]) // 2, (side - part.shape[1]) // 2
    square[top : top + part.shape[0], left : left + part.shape[1]] = part
    return square


def _check_round(labels: Labels) -> float:
    rod = labels > 0
    holes = int(ndimage.binary_fill_holes(rod).sum() - rod.sum())
    if holes:
        raise AreasDoNotClose(
            f"The areas do not close: {holes} pixels inside the rod have the colour `outside`. There is no hole in a "
            "rod: give that area to a portion (clear, for instance).",
            pixels=holes,
        )
    across = labels.shape[0] - 2
    area, circle = float(rod.sum()), math.pi / 4 * across**2
    if abs(area / circle - 1) > ROUND_WITHIN:
        raise AreasDoNotClose(
            f"The areas do not close: they cover {area / circle * 100:.1f} % of the circle around them, and must cover "
            f"100 % within {ROUND_WITHIN * 100:g} %. Draw the section as a full circle, cut off nowhere.",
            covered=area / circle,
        )
    return math.sqrt(4 * area / math.pi)


def _jacket_share(labels: Labels, legend: Legend, diameter: float) -> int:
    if legend.jacket is None:
        return 0
    jacket = 1 + [portion.key for portion in legend.portions].index(legend.jacket)
    rod = labels > 0
    rim = rod & ~ndimage.binary_erosion(rod)
    share = float((labels[rim] == jacket).mean())
    if share < RIM_JACKET:
        raise JacketMissing(
            f"The jacket `{legend.jacket}` covers {share * 100:.1f} % of the rim, and must cover all of it: an open "
            'rim sticks and bleeds. Draw a closed ring of its colour, or set `jacket = "none"` in the legend.',
            share=share,
        )
    inner_rows, inner_columns = np.nonzero(rod & (labels != jacket))
    if not len(inner_rows):
        raise JacketMissing(f"The picture is nothing but jacket `{legend.jacket}`: draw what it wraps.")
    middle = (labels.shape[0] - 1) / 2
    reach = math.sqrt(float(((inner_rows - middle) ** 2 + (inner_columns - middle) ** 2).max())) + 0.5
    return max(0, whole((diameter / 2 - reach) / diameter * PPM))


@lru_cache(maxsize=8)
def read_design(legend_data: bytes, picture_data: bytes, size: int = SVG_PIXELS) -> PictureDesign:
    """Read, check and measure a design from the bytes of its two files.

    The last eight designs are remembered, so that a page can ask again at every move of a slider.

    Arguments:
        legend_data: the TOML legend. picture_data: the PNG or SVG.
        size: pixels a side at which an SVG is filled (a PNG keeps its own).

    Raises:
        LegendUnreadable, PictureUnreadable, ColourNotInLegend, PictureAntiAliased, PortionNotInPicture,
        AreasDoNotClose, JacketMissing: each with what is wrong and the way out.
    """
    legend = read_legend(legend_data)
    labels = _cropped(_labelled(read_pixels(picture_data, legend.outside, size), legend))
    counts = np.bincount(labels.ravel(), minlength=len(legend.portions) + 1)[1:]
    for portion, count in zip(legend.portions, counts, strict=True):
        if portion.colour is not None and not count:
            raise PortionNotInPicture(
                f"The colour {colour_name(portion.colour)} of portion `{portion.key}` is nowhere in the picture. Paint "
                "it, or drop the colour (a portion may stand only for blending).",
                portion=portion.key,
            )
    diameter = _check_round(labels)
    areas = shared_out(PPM, [float(count) for count in counts])
    labels.setflags(write=False)
    return PictureDesign(
        legend=legend,
        labels=labels,
        diameter_px=diameter,
        area_ppm=areas,
        jacket_ppm=_jacket_share(labels, legend, diameter),
    )
