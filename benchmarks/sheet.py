"""How much processor time a batch sheet takes from a 2,000 x 2,000 pixel picture, in seconds and as ratios.

Run ``python -m benchmarks.sheet``. The yardstick is one plain Euclidean distance transform of the same picture at full
size (SciPy), timed in the same run, so that the ratios can be compared between machines. The aim: a whole sheet with
its
PDF in under one second of processor time.
"""

from __future__ import annotations

import io
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from PIL import Image
from scipy import ndimage

from ledger.craft.picture import read_design
from ledger.craft.picture_render import picture_png
from ledger.craft.plan import plan_batch
from ledger.craft.sheet_html import render_html
from ledger.craft.sheet_pdf import render_pdf
from ledger.craft.thinness import measure_thinness
from tests.craft.support import DESIGNS, request, seeded

SIDE = 2000
REPEATS = 5


def seconds(work: Callable[[], Any]) -> float:
    """Least processor seconds of some runs: the others were disturbed."""
    best = float("inf")
    for _ in range(REPEATS):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return best


def fresh(work: Callable[[], Any]) -> Callable[[], Any]:
    """The same work with nothing remembered from before."""

    def run() -> None:
        for remembered in (read_design, measure_thinness, picture_png):
            remembered.cache_clear()
        work()

    return run


def picture(name: str) -> tuple[bytes, bytes]:
    """Legend and a PNG of 2,000 pixels a side of one of the seeded designs."""
    design = seeded(name, SIDE)
    colours = [design.legend.outside, *((p.colour or (0, 0, 0)) for p in design.legend.portions)]
    image = Image.fromarray(design.labels, mode="P")
    image.putpalette([value for colour in colours for value in colour])
    out = io.BytesIO()
    image.resize((SIDE, SIDE), Image.Resampling.NEAREST).convert("RGB").save(out, format="PNG")
    return (DESIGNS / f"{name}.toml").read_bytes(), out.getvalue()


def main() -> None:
    """Print one table a design."""
    for name in ("holly-leaf", "sailing-boat", "heart"):
        legend, png = picture(name)
        design = read_design(legend, png)
        ask = request(design, packs=20)
        sheet = plan_batch(ask)
        transform = seconds(lambda d=design: ndimage.distance_transform_edt(d.labels > 1))
        parts = {
            "read, check and measure areas": seconds(fresh(lambda a=legend, b=png: read_design(a, b))),
            "thinnest lines and gaps": seconds(fresh(lambda d=design: measure_thinness(d))),
            "plan, all together": seconds(fresh(lambda a=ask: plan_batch(a))),
            "slider move: rod half a millimetre thicker": seconds(
                lambda a=ask: plan_batch(replace(a, sizes=replace(a.sizes, rod_um=a.sizes.rod_um + 500)))
            ),
            "PDF": seconds(lambda s=sheet: render_pdf(s, "metric")),
            "HTML": seconds(lambda s=sheet: render_html(s, "metric")),
            "whole sheet, from bytes to PDF": seconds(
                fresh(lambda a=legend, b=png: render_pdf(plan_batch(request(read_design(a, b), packs=20)), "metric"))
            ),
        }
        print(f"{name}: one distance transform of {SIDE} x {SIDE} takes {transform:.3f} s")
        for what, taken in parts.items():
            print(f"  {what:45} {taken:7.3f} s   {taken / transform:6.2f} x")


if __name__ == "__main__":
    main()
