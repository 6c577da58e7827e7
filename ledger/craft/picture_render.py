"""Draw a measured picture again, at any size, in its flat colours."""

from __future__ import annotations

import io
from functools import lru_cache

import numpy as np
from PIL import Image

from ledger.craft.numbers import within
from ledger.craft.picture import PictureDesign


@lru_cache(maxsize=32)
def picture_png(design: PictureDesign, size: int) -> bytes:
    """The section as a square PNG of ``size`` pixels with the outside transparent, nothing softened.

    Arguments:
        size: 8 to 4000 pixels a side. On paper, print it at the log's diameter for the build, at the rod's for truth.
    """
    within("the size", size, 8, 4000, "px", "Name the pixels a side.")
    labels = design.labels[1:-1, 1:-1]
    at = (np.arange(size) * 2 + 1) * labels.shape[0] // (2 * size)
    image = Image.fromarray(labels[np.ix_(at, at)], mode="P")
    palette = [*design.legend.outside]
    for portion in design.legend.portions:
        palette += portion.colour or (0, 0, 0)
    image.putpalette(palette)
    out = io.BytesIO()
    image.save(out, format="PNG", transparency=0, optimize=True)
    return out.getvalue()
