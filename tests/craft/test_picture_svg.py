"""SVG filled without soft edges: areas against shapely and against formulas, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Point, Polygon

from ledger.craft.errors import PictureUnreadable
from ledger.craft.picture_svg import paint_svg
from ledger.craft.svg_path import flatten_path
from tests.craft.support import svg

SIZE = 1000
RED = '<rect x="-10" y="-10" width="300" height="300" fill="#ffffff"/>'


def area_of(body: str, box: str = "0 0 200 200", side: float = 200) -> float:
    """Area of everything black, in units of the drawing."""
    canvas = paint_svg(svg(body, box), SIZE, (255, 255, 255))
    return float((canvas == 0).all(axis=2).sum()) * (side / SIZE) ** 2


# Pixels are counted by their centres, so an outline's area is known to a fraction of its length times a pixel (0.2 units);
# errors along it cancel. 0.1 % of the shapes below is 4 to 30 square units.
CLOSE = 1e-3

STAR = [(100, 24), (119.4, 73.3), (172.3, 76.5), (131.4, 110.2), (144.7, 161.5), (100, 133), (55.3, 161.5), (68.6, 110.2), (27.7, 76.5), (80.6, 73.3)]  # fmt: skip


def points(corners: list[tuple[float, float]]) -> str:
    return " ".join(f"{x},{y}" for x, y in corners)


def test_a_star_has_shapelys_area():
    assert area_of(f'<polygon points="{points(STAR)}"/>') == pytest.approx(Polygon(STAR).area, rel=CLOSE)


def test_a_turned_and_shifted_star_lies_where_shapely_puts_it():
    turned = affinity.rotate(affinity.scale(Polygon(STAR), 0.5, 0.5, origin=(0, 0)), 30, origin=(0, 0))
    moved = affinity.translate(turned, 90, 20)
    assert moved.within(Polygon([(0, 0), (200, 0), (200, 200), (0, 200)]))
    body = f'<g transform="translate(90 20) rotate(30)"><polygon transform="scale(.5)" points="{points(STAR)}"/></g>'
    canvas = paint_svg(svg(body), SIZE, (255, 255, 255))
    rows, columns = np.nonzero((canvas == 0).all(axis=2))
    assert len(rows) * 0.04 == pytest.approx(moved.area, rel=2 * CLOSE)
    middle = ((columns.mean() + 0.5) * 0.2, (rows.mean() + 0.5) * 0.2)
    assert middle == pytest.approx((moved.centroid.x, moved.centroid.y), abs=0.1)


def test_circle_and_ellipse_have_their_areas():
    assert area_of('<circle cx="100" cy="100" r="70"/>') == pytest.approx(math.pi * 4900, rel=CLOSE)
    assert area_of('<ellipse cx="100" cy="100" rx="80" ry="30"/>') == pytest.approx(math.pi * 2400, rel=CLOSE)


def test_overlapping_circles_have_shapelys_union():
    both = Point(80, 100).buffer(50, quad_segs=128).union(Point(130, 100).buffer(40, quad_segs=128))
    body = '<circle cx="80" cy="100" r="50"/><circle cx="130" cy="100" r="40"/>'
    assert area_of(body) == pytest.approx(both.area, rel=CLOSE)


def test_arcs_of_a_path_make_a_full_circle_either_way_round():
    for sweep in (0, 1):
        body = f'<path d="M30 100 A70 70 0 0 {sweep} 170 100 A70 70 0 0 {sweep} 30 100 Z"/>'
        assert area_of(body) == pytest.approx(math.pi * 4900, rel=CLOSE)


def test_a_large_arc_is_the_large_part_of_the_circle():
    # Chord through (100 +- 50, 100) of a circle of radius 70: the segment formula r^2 (theta - sin theta) / 2.
    theta = 2 * math.asin(50 / 70)
    small = 4900 * (theta - math.sin(theta)) / 2
    assert area_of('<path d="M50 100 A70 70 0 01150 100 Z"/>') == pytest.approx(small, rel=3 * CLOSE)
    body = '<path d="M50 100 A70 70 0 1 1 150 100 Z"/>'
    assert area_of(body, "0 -50 200 200") == pytest.approx(math.pi * 4900 - small, rel=CLOSE)


def test_a_quadratic_curve_has_archimedes_area():
    # A parabola's segment is two thirds of its triangle's parallelogram: chord 160, control 100 below: 2/3 * 8000.
    assert area_of('<path d="M20 50 Q100 150 180 50 Z"/>') == pytest.approx(160 * 100 / 3, rel=CLOSE)


def test_cubic_and_smooth_and_relative_curves_agree():
    # The quadratic of the test above, raised to a cubic (controls a third of the way), and said relatively.
    cubic = "M20 50 C73.3333 116.6667 126.6667 116.6667 180 50 Z"
    relative = "m20 50 c53.3333 66.6667 106.6667 66.6667 160 0 z"
    assert area_of(f'<path d="{cubic}"/>') == area_of(f'<path d="{relative}"/>') == pytest.approx(16000 / 3, rel=CLOSE)
    # Two smooth humps, up and down: T reflects the handle, so the second hump is the first turned over.
    humps = area_of('<path d="M20 100 Q60 20 100 100 T180 100 Z"/>')
    assert humps == pytest.approx(2 * (80 * 80 / 3), rel=2 * CLOSE)


def test_fill_rules_differ_in_a_hole():
    ring = "M20 20 H180 V180 H20 Z M60 60 H140 V140 H60 Z"
    assert area_of(f'<path d="{ring}"/>') == pytest.approx(160 * 160, rel=CLOSE)
    assert area_of(f'<path fill-rule="evenodd" d="{ring}"/>') == pytest.approx(160 * 160 - 80 * 80, rel=CLOSE)


def test_a_later_shape_covers_an_earlier_one():
    assert area_of('<circle cx="100" cy="100" r="50"/><circle cx="100" cy="100" r="90" fill="#fff"/>') == 0


@pytest.mark.parametrize(
    ("body", "message"),
    [
        ('<circle cx="100" cy="100" r="50" stroke="#000000"/>', "convert the stroke to a path"),
        ('<circle cx="100" cy="100" r="50" style="stroke:#000;fill:#fff"/>', "convert the stroke to a path"),
        ('<g stroke="#000"><circle cx="100" cy="100" r="50"/></g>', "convert the stroke to a path"),
        ('<circle cx="100" cy="100" r="50" fill-opacity="0.5"/>', "see-through"),
        ('<circle cx="100" cy="100" r="50" fill="url(#g)"/>', "use a flat colour"),
        ('<text x="10" y="10">A</text>', "convert the text to paths"),
        ('<image href="x.png"/>', "cannot be measured"),
        ('<polygon points="1,2 3"/>', "at least three corners"),
        ('<path d="M 10 10 L 20"/>', "needs 2 figures"),
        ('<path d="M 10 10 X 20 20"/>', "no path command"),
        ('<rect width="10%" height="5"/>', "plain number"),
        ('<rect width="10" height="5" rx="2"/>', "round corners"),
        ('<circle r="5" transform="wobble(3)"/>', "translate, scale or rotate"),
    ],
)
def test_what_cannot_be_measured_is_refused_with_the_way_out(body, message):
    with pytest.raises(PictureUnreadable, match=message):
        paint_svg(svg(body), 100, (255, 255, 255))


def test_a_page_that_is_not_square_is_refused():
    with pytest.raises(PictureUnreadable, match="200 by 100"):
        paint_svg(svg("", "0 0 200 100"), 100, (255, 255, 255))


def test_entities_are_refused_before_they_unfold():
    bomb = b'<!DOCTYPE svg [<!ENTITY a "aaaa">]><svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1">&a;</svg>'
    with pytest.raises(PictureUnreadable, match="plain SVG"):
        paint_svg(bomb, 100, (255, 255, 255))


def test_a_drawing_made_to_choke_the_program_is_refused():
    nested = "<g>" * 100 + "</g>" * 100
    with pytest.raises(PictureUnreadable, match="64 deep"):
        paint_svg(svg(nested), 100, (255, 255, 255))
    with pytest.raises(PictureUnreadable, match="beyond 10,000,000"):
        paint_svg(svg('<circle r="1e300"/>'), 100, (255, 255, 255))
    comb = " ".join(f"{x % 200},{200 * (x % 2)}" for x in range(30_000))
    with pytest.raises(PictureUnreadable, match="too many corners"):
        paint_svg(svg(f'<polygon points="{comb}"/>'), 1200, (255, 255, 255))
    with pytest.raises(PictureUnreadable, match="may have 4,000,000"):
        paint_svg(b" " * 4_000_001, 100, (255, 255, 255))


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet="MmLlHhVvCcSsQqTtAaZz0123456789.,- e", max_size=60))
def test_any_path_is_filled_or_refused_and_never_crashes(path):
    try:
        outlines = flatten_path(path)
    except PictureUnreadable:
        return
    assert all(points.ndim == 2 and points.shape[1] == 2 and np.isfinite(points).all() for points in outlines)


def test_broken_svg_is_refused():
    with pytest.raises(PictureUnreadable, match="Save it again"):
        paint_svg(b"<svg", 100, (255, 255, 255))
