"""Masses of portions, pours and bars: sums close exactly, pulled sugar weighs less, blends lead back to pours."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.craft.errors import OutOfRange
from ledger.craft.numbers import shared_out
from ledger.craft.picture import read_design
from ledger.craft.picture_legend import read_legend
from ledger.craft.portions import build_plan, portion_masses, pour_plan, section_density
from tests.craft.support import LEGEND, png, ring_picture, seeded

RING = read_design(LEGEND.encode(), png(ring_picture(1000)))


def test_a_portions_mass_is_its_area_times_its_density():
    # Analytic ring: red 0.36 clear (1450), white 0.55 pulled (1200), pale 0.09 of one part red and three white:
    # 1/(0.25/1450 + 0.75/1200) = 1254.05. Section density 1294.9 kg/m3; tolerance 0.1 % for the pixels.
    assert section_density(RING) == pytest.approx(0.36 * 1450 + 0.55 * 1200 + 0.09 * 1254.05, rel=1e-3)
    red, white, pale = portion_masses(RING, 10_500_000)
    assert red.in_log_mg == pytest.approx(10_000_000 * 0.36 * 1450 / 1294.9, rel=2e-3)
    assert white.in_log_mg == pytest.approx(10_000_000 * 0.55 * 1200 / 1294.9, rel=2e-3)
    assert pale.density_kg_m3 == 1254


def test_the_pour_allowance_is_poured_and_not_in_the_log():
    plans = portion_masses(RING, 10_500_000)
    assert sum(plan.make_mg for plan in plans) == 10_500_000
    assert sum(plan.in_log_mg for plan in plans) == 10_000_000


def test_pulling_a_portion_makes_it_lighter_for_the_same_picture():
    clear = read_design(LEGEND.replace("pulled_percent = 100", "").encode(), png(ring_picture(1000)))
    assert portion_masses(RING, 10_000_000)[1].make_mg < portion_masses(clear, 10_000_000)[1].make_mg


def test_a_blend_is_poured_in_the_colours_it_is_made_of():
    plans = portion_masses(RING, 10_500_000)
    red, white, pale = plans
    pours = {pour.key: pour.mass_mg for pour in pour_plan(RING.legend, plans)}
    assert dict(pale.blended_of)["red"] == pytest.approx(pale.make_mg / 4, abs=1)
    assert pours == {
        "red": red.make_mg + dict(pale.blended_of)["red"],
        "white": white.make_mg + dict(pale.blended_of)["white"],
    }


def test_a_portion_that_is_only_blended_is_poured_too():
    design = seeded("letter-k")
    pours = {pour.key: pour for pour in pour_plan(design.legend, portion_masses(design, 8_000_000))}
    assert {"blue", "green"} <= set(pours) and "teal" not in pours
    assert abs(pours["blue"].mass_mg - pours["green"].mass_mg) <= 1


def test_dye_follows_the_whole_pour():
    design = seeded("holly-leaf")
    plans = portion_masses(design, 9_000_000)
    green = next(pour for pour in pour_plan(design.legend, plans) if pour.key == "green")
    assert green.dyes == (("leaf green", round(green.mass_mg * 700 / 1_000_000)),)


def test_half_a_heart_is_built_at_its_own_length():
    # One bar cut in two: at the log's length its section has twice the area, so it is the root of two as wide.
    steps = build_plan(seeded("heart").legend, 400_000)
    assert (steps[0].copies, steps[0].mirror, steps[0].bar_um, steps[0].drawn_um) == (2, True, 400_000, 800_000)
    assert steps[0].scale_ppm == round(math.sqrt(2) * 1e6)
    assert (steps[1].bar_um, steps[1].drawn_um, steps[1].scale_ppm) == (400_000, 400_000, 1_000_000)


def test_a_bar_may_be_made_shorter_and_thicker():
    # Half as long as the log and drawn to two logs: four times the section, twice as wide.
    step = '\n[[build]]\nstep = "Half"\ncopies = 2\nbar_percent = 50\n'
    plan = build_plan(read_legend((LEGEND + step).encode()), 400_000)[0]
    assert (plan.bar_um, plan.drawn_um, plan.scale_ppm) == (200_000, 800_000, 2_000_000)


def test_a_log_of_no_length_cannot_be_built():
    with pytest.raises(OutOfRange, match="give its length"):
        build_plan(RING.legend, 0)


def test_a_legend_without_build_order_builds_nothing():
    assert build_plan(read_legend(LEGEND.encode()), 400_000) == ()


def test_nothing_on_the_slab_is_refused():
    with pytest.raises(OutOfRange, match="more than nothing"):
        portion_masses(RING, 0)


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 100_000_000), st.sampled_from(["holly-leaf", "pumpkin", "sailing-boat", "lemon-slice"]))
def test_what_is_poured_is_what_lies_on_the_slab(slab, name):
    design = seeded(name)
    plans = portion_masses(design, slab)
    assert sum(plan.make_mg for plan in plans) == slab
    assert sum(pour.mass_mg for pour in pour_plan(design.legend, plans)) == slab
    for plan in plans:
        assert not plan.blended_of or sum(mass for _, mass in plan.blended_of) == plan.make_mg


@given(st.integers(0, 10**12), st.lists(st.floats(0, 1e6), min_size=1, max_size=9).filter(lambda w: sum(w) > 0))
def test_a_split_sums_exactly_and_no_part_is_more_than_one_off(total, weights):
    parts = shared_out(total, weights)
    assert sum(parts) == total
    base = math.fsum(weights)
    # One unit for the remainder, and float rounding of a product of up to 1e12.
    assert all(abs(part - total * weight / base) <= 1.001 for part, weight in zip(parts, weights, strict=True))


def test_a_split_by_nothing_is_refused():
    with pytest.raises(OutOfRange, match="not all zero"):
        shared_out(10, [0, 0])
