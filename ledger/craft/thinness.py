"""What will be lost when the picture shrinks: the thinnest line and the thinnest gap of each colour.

A line is thin where no larger disc fits into it. The picture's area is opened with discs of growing diameter (a
distance transform, a threshold, a second distance transform); the thinnest line is the smallest disc at which the
picture loses a patch that is more than a rounded-off corner: at least twice as long as it is wide. A gap is the same
for what is not that colour, or the least distance between two parts of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ledger.craft.numbers import PPM, whole
from ledger.craft.picture import Labels, PictureDesign

Mask = npt.NDArray[np.bool_]

#: Work is done on at most this many pixels across, after lines finer than that have been looked for in full.
WORK_PIXELS = 420
WIDEST_LINE = 1 / 6  # of the diameter: a line thicker than this never closes, and is given by the thickest place
WIDEST_GAP = 1 / 12  # of the diameter: a wider space between two parts of a colour is no gap that could close
#: The search begins at discs of this many pixels, and makes them wider by this factor until a line is lost.
FIRST_WIDTH, WIDER = 1.5, 1.5
LEAST_PATCH = 8  # pixels: smaller patches are the stair steps of a slanting edge
LINE_FILLS = 0.6  # of the disc's width
LINE_SHAPE = 2.0  # a patch of at least this times its width squared is a line and not a corner


@dataclass(frozen=True, slots=True, kw_only=True)
class Thinness:
    """Thinnest line and gap of one portion, as shares of the diameter (parts per million).

    ``gap_ppm`` is 0 when parts of the colour come no nearer to each other than a twelfth of the diameter; the gap
    between two parts, and a slit within one, both count.
    """

    portion: str
    line_ppm: int
    gap_ppm: int

    def line_um(self, diameter_um: int) -> int:
        """Width of the thinnest line in a rod (or log) of that diameter."""
        return whole(self.line_ppm * diameter_um / PPM)

    def gap_um(self, diameter_um: int) -> int:
        """Width of the thinnest gap in a rod (or log) of that diameter."""
        return whole(self.gap_ppm * diameter_um / PPM)


def _has_line(lost: Mask, inner: npt.NDArray[np.float64], width: float) -> bool:
    """Whether what was lost to a disc includes a line: twice as long as it is wide, and not much thinner than the disc.

    The second rule sets aside the slivers that a disc leaves in every corner.
    """
    if not lost.any():
        return False
    patches, count = ndimage.label(lost, structure=np.ones((3, 3), dtype=int))
    numbers = patches[lost] - 1
    sizes = np.bincount(numbers, minlength=count)
    reach = np.zeros(count)
    np.maximum.at(reach, numbers, inner[lost])
    widths = 2 * reach - 0.5
    return bool(((sizes >= LEAST_PATCH) & (sizes >= LINE_SHAPE * widths**2) & (widths >= LINE_FILLS * width)).any())


def thinnest_px(mask: Mask, limit_px: float = float("inf")) -> float:
    """Width in pixels of the thinnest line of a mask, by opening with growing discs; to about one pixel.

    The mask is the colour's pixels; beyond the array's edge nothing is known, so pad it. Anything thicker than
    ``limit_px`` is given as the limit; a mask that is all of one thickness has that thickness.
    """
    inner = ndimage.distance_transform_edt(mask)
    top = 2 * float(inner.max()) - 1
    if top <= 0:
        return 0.0
    # An even number of pixels has no middle one, so half a pixel is lost on average: it is given back at the end.
    end = min(top, limit_px)

    def loses_a_line(width: float) -> bool:
        # Centres where a disc of this diameter fits; a centre pixel reaches `inner` - 1/2 to the edge of the colour.
        # Half a pixel of slack, or the stairs of a slanting edge would count as lost.
        opened = ndimage.distance_transform_edt(inner - 0.5 < width / 2) <= width / 2 + 0.5
        return _has_line(mask & ~opened, inner, width)

    low, high = 0.0, min(FIRST_WIDTH, end)
    while not loses_a_line(high):
        if high >= end:
            return end + 0.5
        low, high = high, min(high * WIDER, end)
    while high - low > max(0.5, 0.02 * high):
        middle = (low + high) / 2
        low, high = (low, middle) if loses_a_line(middle) else (middle, high)
    return (low + high) / 2 + 0.5


def _hairlines(labels: Labels, window: int) -> dict[int, Mask]:
    """Per label, pixels that no one-coloured square of ``window`` pixels covers: one pass over all colours."""
    same = ndimage.minimum_filter(labels, window, mode="nearest") == ndimage.maximum_filter(
        labels, window, mode="nearest"
    )
    # The filter's window is off-centre for even sizes; the origin is mirrored on the way back.
    covered = ndimage.maximum_filter(same.view(np.uint8), window, mode="constant", origin=-1 if window % 2 == 0 else 0)
    lost = (covered == 0) & (labels > 0)
    return {int(label): lost & (labels == label) for label in np.unique(labels[lost])}


def _box(mask: Mask, pad: int) -> tuple[slice, slice]:
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    return (
        slice(max(rows[0] - pad, 0), rows[-1] + pad + 1),
        slice(max(columns[0] - pad, 0), columns[-1] + pad + 1),
    )


def _finest(labels: Labels, label: int, lost: Mask, window: int) -> float | None:
    """Exact width of a line finer than the window, looked at in full resolution around the finest patch."""
    box = _box(lost, 0)
    patches, count = ndimage.label(lost[box], structure=np.ones((3, 3), dtype=int))
    sizes = np.bincount(patches[lost[box]] - 1, minlength=count)
    if sizes.max() < LEAST_PATCH:
        return None
    boxes = ndimage.find_objects(patches)
    found = []
    for number in np.argsort(-sizes)[:6]:
        if sizes[number] < LEAST_PATCH:
            break
        rows, columns = boxes[number]
        pad = 2 * window
        top, left = box[0].start + rows.start - pad, box[1].start + columns.start - pad
        bottom, right = box[0].start + rows.stop + pad, box[1].start + columns.stop + pad
        part = labels[max(top, 0) : bottom, max(left, 0) : right]
        width = thinnest_px(np.pad(part == label, 1), float(window))
        if width < window:
            found.append(width)
    return min(found) if found else None


@lru_cache(maxsize=8)
def measure_thinness(design: PictureDesign) -> tuple[Thinness, ...]:
    """Thinnest line and gap of every portion that has a colour, in the legend's order; remembered for the last eight."""
    labels, diameter = design.labels, design.diameter_px
    step = max(1, -(-labels.shape[0] // WORK_PIXELS))
    work = labels[step // 2 :: step, step // 2 :: step]
    fine = _hairlines(labels, 2 * step) if step > 1 else {}
    result = []
    for number, portion in enumerate(design.legend.portions):
        if portion.colour is None:
            continue
        label = number + 1
        line = _finest(labels, label, fine[label], 2 * step) if label in fine else None
        mask = work == label
        if line is None:
            line = step * _line(mask, WORK_PIXELS * WIDEST_LINE) if mask.any() else 1.0
        gap = step * _gap(mask, whole(WORK_PIXELS * WIDEST_GAP))
        result.append(
            Thinness(portion=portion.key, line_ppm=whole(line / diameter * PPM), gap_ppm=whole(gap / diameter * PPM))
        )
    return tuple(result)


def _line(mask: Mask, limit: float) -> float:
    cut = np.pad(mask[_box(mask, 1)], 2)
    width = thinnest_px(cut, limit)
    return width if width < limit else 2 * float(ndimage.distance_transform_edt(cut).max()) - 0.5


def _gap(mask: Mask, limit: int) -> float:
    """Thinnest space within a colour: between its parts, or a slit or bay in one part; 0 if none is thin."""
    if not mask.any():
        return 0.0
    cut = mask[_box(mask, 0)]
    slit = thinnest_px(~np.pad(cut, limit), float(limit))
    nearest = min(_between_parts(cut), slit)
    return 0.0 if nearest >= limit - 0.5 else nearest


def _between_parts(mask: Mask) -> float:
    """Least distance between separate parts of a colour (the twelve largest), in pixels between their edges."""
    parts, count = ndimage.label(mask, structure=np.ones((3, 3), dtype=int))
    sizes = np.bincount(parts.ravel(), minlength=count + 1)[1:]
    nearest = float("inf")
    for number in np.argsort(-sizes)[1:12]:
        if sizes[number] < LEAST_PATCH:
            break
        this = parts == number + 1
        away = ndimage.distance_transform_edt(~this)
        nearest = min(nearest, float(away[mask & ~this].min()) - 1)
    return nearest
