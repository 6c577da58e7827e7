"""Thinnest lines and gaps: against shapes of known width, and against scikit-image's openings."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.morphology import disk, medial_axis, opening

from ledger.craft.picture import read_design
from ledger.craft.thinness import measure_thinness, thinnest_px
from tests.craft.support import LEGEND, PALE, RED, WHITE, grid, png, ring_picture, seeded


def bar(width: float, angle: float, size: int = 240) -> np.ndarray:
    """A bar of a width in pixels, 160 long, turned, with a big disc at one end."""
    y, x = np.mgrid[:size, :size] + 0.5 - size / 2
    along, across = x * np.cos(angle) + y * np.sin(angle), -x * np.sin(angle) + y * np.cos(angle)
    return (np.abs(across) <= width / 2) & (np.abs(along) <= 80) | (np.hypot(along - 60, across) < 40)


@settings(max_examples=40, deadline=None)
@given(st.floats(3, 40), st.floats(0, np.pi))
def test_a_bar_is_as_thin_as_it_is_at_any_angle(width, angle):
    # A bar drawn in pixels is its width give or take one, and the search stops within 2 %.
    assert thinnest_px(bar(width, angle)) == pytest.approx(width, abs=1.3 + 0.03 * width)


@pytest.mark.parametrize("width", [7, 12, 21])
def test_a_bar_agrees_with_the_medial_axis_of_scikit_image(width):
    # Source: skimage.morphology.medial_axis, whose distance on the bar's middle line is half its width.
    mask = bar(width, 0.4)
    axis, distance = medial_axis(mask, return_distance=True)
    middle = distance[90:130, 60:90][axis[90:130, 60:90]]
    middle = middle[middle > width / 4]
    assert thinnest_px(mask) == pytest.approx(2 * float(np.median(middle)), abs=1.6)


@pytest.mark.parametrize("name", ["tulip", "holly-leaf"])
def test_lines_of_a_picture_agree_with_openings_of_scikit_image(name):
    # Source: skimage.morphology.opening with discs. Where we say the thinnest line is w, a disc clearly smaller must
    # lose only corners (the leaf's spines are 6 % of it), and a disc clearly larger must lose a whole line.
    design = seeded(name, 400)
    for thin in measure_thinness(design):
        label = 1 + [p.key for p in design.legend.portions].index(thin.portion)
        mask = design.labels == label
        width = thin.line_ppm / 1e6 * design.diameter_px
        if not 6 < width < 40:
            continue
        smaller, larger = disk(int(width * 0.5 - 1.5)), disk(int(np.ceil(width * 0.5 + 1.5)))
        kept = opening(mask, smaller).sum() / mask.sum()
        left = opening(mask, larger).sum() / mask.sum()
        assert kept > 0.92, thin
        assert (kept - left) * mask.sum() > width**2, thin


def test_a_round_corner_is_no_line_but_a_needle_is():
    y, x = np.mgrid[:240, :240]
    square = (np.abs(x - 120) < 80) & (np.abs(y - 120) < 80)
    assert thinnest_px(square) == pytest.approx(159, abs=1.5)
    needle = square | ((np.abs(x - 120) < 3) & (y < 60) & (y > 2))
    assert thinnest_px(needle) == pytest.approx(5, abs=1)


def ring_thinness(picture: np.ndarray) -> dict[str, tuple[float, float]]:
    design = read_design(LEGEND.encode(), png(picture))
    return {t.portion: (t.line_ppm / 1e6, t.gap_ppm / 1e6) for t in measure_thinness(design)}


def test_the_jacket_is_as_thin_as_its_ring():
    # Jacket of a tenth of the diameter; white ring (0.8 - 0.3)/2 = 0.25 of it; 600 pixels: to half a percent.
    found = ring_thinness(ring_picture(600))
    assert found["red"][0] == pytest.approx(0.100, abs=0.005)
    assert found["white"][0] == pytest.approx(0.250, abs=0.006)


@pytest.mark.parametrize("size", [400, 1600])
@pytest.mark.parametrize("gap", [0.02, 0.05])
def test_the_gap_between_two_bars_is_measured(size, gap):
    # Two pale bars with a gap of that share of the diameter; a pixel of the working grid either way.
    picture = ring_picture(size, pale=0.0)
    x, y = grid(size)
    picture[(np.abs(y) < 0.3) & (np.abs(x) < 0.4) & (np.abs(x) > gap)] = PALE
    assert ring_thinness(picture)["pale"][1] == pytest.approx(gap, abs=0.004)


def test_a_hairline_finer_than_the_working_grid_is_found():
    # One line of 3 pixels in a picture of 2,000: 0.15 % of the diameter.
    picture = ring_picture(2000, pale=0.3)
    picture[1398:1401, 700:1300] = PALE
    line = ring_thinness(picture)["pale"][0]
    assert line == pytest.approx(0.0015, abs=0.0005)


def test_a_wide_picture_has_no_gap():
    assert ring_thinness(ring_picture(500))["pale"][1] == 0


def test_widths_scale_with_the_rod():
    thin = measure_thinness(read_design(LEGEND.encode(), png(ring_picture(600))))[0]
    assert thin.line_um(12_700) == pytest.approx(1_270, abs=65)
    assert thin.line_um(203_200) == pytest.approx(16 * thin.line_um(12_700), abs=16)


def test_touching_corners_are_no_gap():
    picture = ring_picture(400, pale=0.0)
    picture[150:200, 150:200] = PALE
    picture[200:250, 200:250] = PALE
    assert RED != WHITE
    assert ring_thinness(picture)["pale"][1] == 0
