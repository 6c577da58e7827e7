"""Pictures: areas against analytic shapes, closing, the jacket, and every refusal with its way out."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw

from ledger.craft.errors import (
    AreasDoNotClose,
    ColourNotInLegend,
    JacketMissing,
    PictureAntiAliased,
    PictureUnreadable,
    PortionNotInPicture,
)
from ledger.craft.picture import read_design
from tests.craft.support import DESIGN_NAMES, LEGEND, RED, WHITE, grid, png, ring_picture, seeded

RING = LEGEND.encode()


def shares(picture: np.ndarray) -> dict[str, float]:
    design = read_design(RING, png(picture))
    return dict(zip(("red", "white", "pale"), (area / 1e6 for area in design.area_ppm), strict=True))


def test_areas_of_rings_are_those_of_circles():
    # Analytic: jacket 1 - 0.8^2, white 0.8^2 - 0.3^2, middle 0.3^2. At 1,000 pixels a ring's area is known to about a
    # pixel along its edge, far below 0.1 %.
    found = shares(ring_picture(1000))
    assert found["red"] == pytest.approx(0.36, abs=1e-3)
    assert found["white"] == pytest.approx(0.55, abs=1e-3)
    assert found["pale"] == pytest.approx(0.09, abs=1e-3)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.05, 0.4), st.floats(0.1, 0.5), st.integers(200, 500))
def test_areas_close_exactly_whatever_the_sizes(jacket, pale, size):
    design = read_design(RING, png(ring_picture(size, jacket, pale)))
    assert sum(design.area_ppm) == 1_000_000
    assert design.diameter_px == pytest.approx(size, rel=2e-3)
    assert design.area_ppm[2] / 1e6 == pytest.approx(pale**2, abs=4 * pale / size + 1e-4)
    # Jacket thickness is half the difference of the diameters; a pixel either way.
    assert design.jacket_ppm / 1e6 == pytest.approx(jacket / 2, abs=1.5 / size)


def test_a_picture_off_the_middle_of_its_page_measures_the_same():
    page = np.full((700, 900, 3), 255, dtype=np.uint8)
    page[200:600, 50:450] = ring_picture(400)
    assert shares(page) == shares(ring_picture(400))


def test_more_colours_than_the_legend_are_refused_by_name():
    picture = ring_picture()
    picture[150:250, 150:250] = (0, 0, 255)
    with pytest.raises(ColourNotInLegend, match=r"#0000ff \(10000 px\).*add a portion") as refused:
        shares(picture)
    assert refused.value.colours == 1


def test_soft_edges_are_refused_as_such():
    big = Image.fromarray(ring_picture(1600)).resize((400, 400), Image.Resampling.BOX)
    with pytest.raises(PictureAntiAliased, match="anti-aliasing off"):
        shares(np.asarray(big))


def test_half_transparent_edges_are_refused():
    picture = np.dstack([ring_picture(), np.full((400, 400), 255, dtype=np.uint8)])
    picture[0, 0, 3] = 120
    with pytest.raises(PictureAntiAliased, match="1 pixels are half transparent"):
        read_design(RING, png(picture))


def test_fully_transparent_pixels_are_outside():
    flat = ring_picture()
    picture = np.dstack([flat, np.full((400, 400), 255, dtype=np.uint8)])
    picture[(flat == 255).all(axis=2)] = (12, 34, 56, 0)
    assert read_design(RING, png(picture)).area_ppm == read_design(RING, png(flat)).area_ppm


def test_a_missing_jacket_is_refused():
    picture = ring_picture()
    x, y = grid(400)
    picture[(np.hypot(x, y) <= 1) & (np.abs(x) < 0.1) & (y < 0)] = WHITE
    with pytest.raises(JacketMissing, match="`red` covers 9"):
        shares(picture)


def test_a_picture_of_jacket_alone_is_refused():
    x, y = grid(400)
    picture = np.full((400, 400, 3), 255, dtype=np.uint8)
    picture[np.hypot(x, y) <= 1] = RED
    legend = 'name="a"\npicture="a.png"\njacket="red"\n[portion.red]\ncolour="#ff0000"'
    with pytest.raises(JacketMissing, match="nothing but jacket"):
        read_design(legend.encode(), png(picture))


def test_a_portion_whose_colour_is_nowhere_is_refused():
    with pytest.raises(PortionNotInPicture, match="`pale` is nowhere"):
        shares(ring_picture(pale=0.0))


def test_a_hole_in_the_rod_is_refused():
    picture = ring_picture()
    picture[195:205, 195:205] = 255
    with pytest.raises(AreasDoNotClose, match="100 pixels inside the rod"):
        shares(picture)


def test_a_rod_cut_off_by_the_page_is_refused():
    with pytest.raises(AreasDoNotClose, match="full circle"):
        shares(ring_picture(400)[:300])


def test_an_empty_page_is_refused():
    with pytest.raises(AreasDoNotClose, match="nothing but the colour"):
        shares(np.full((100, 100, 3), 255, dtype=np.uint8))


def test_a_photograph_is_refused():
    with pytest.raises(PictureUnreadable, match="neither PNG nor SVG"):
        read_design(RING, b"\xff\xd8\xff\xe0" + bytes(100))


def test_a_broken_png_is_refused():
    with pytest.raises(PictureUnreadable, match="cannot be read as PNG"):
        read_design(RING, png(ring_picture())[:200])


@pytest.mark.parametrize("size", [20, 4100])
def test_a_picture_too_small_or_too_large_is_refused(size):
    with pytest.raises(PictureUnreadable, match="64 to 4000"):
        read_design(RING, png(np.full((size, size, 3), 255, dtype=np.uint8)))


def test_a_picture_that_only_claims_to_be_huge_is_refused_unopened():
    claim = bytearray(png(ring_picture()))
    claim[16:24] = (100_000).to_bytes(4, "big") * 2
    with pytest.raises(PictureUnreadable, match="100000 x 100000"):
        read_design(RING, bytes(claim))


def test_an_ellipse_is_no_rod():
    image = Image.new("RGB", (400, 400), (255, 255, 255))
    ImageDraw.Draw(image).ellipse((0, 20, 399, 379), fill=RED)
    ImageDraw.Draw(image).ellipse((60, 80, 339, 319), fill=WHITE)
    ImageDraw.Draw(image).ellipse((160, 160, 239, 239), fill=(255, 170, 170))
    with pytest.raises(AreasDoNotClose, match=r"89\.9 %"):
        shares(np.asarray(image))


@pytest.mark.parametrize("name", DESIGN_NAMES)
def test_every_design_of_the_house_reads_and_closes(name):
    design = seeded(name)
    assert sum(design.area_ppm) == 1_000_000
    assert design.jacket_ppm > 30_000
    assert len(design.legend.build) >= 2
    # A circle of this diameter has the area of all coloured pixels.
    assert math.pi / 4 * design.diameter_px**2 == pytest.approx(float((design.labels > 0).sum()), rel=1e-9)


def test_there_are_at_least_six_designs_and_one_is_a_png():
    assert len(DESIGN_NAMES) >= 6
    assert {seeded(name).legend.picture[-3:] for name in DESIGN_NAMES} == {"png", "svg"}


def test_what_was_read_cannot_be_painted_over():
    with pytest.raises(ValueError, match="read-only"):
        seeded("star").labels[0, 0] = 1
