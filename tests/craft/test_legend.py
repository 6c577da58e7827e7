"""Legends: what they must say, blends traced back to pours, and every refusal."""

from __future__ import annotations

import pytest

from ledger.craft.errors import LegendUnreadable
from ledger.craft.picture_legend import colour_name, read_legend
from tests.craft.support import LEGEND


def test_a_blend_is_traced_back_to_what_is_poured():
    legend = read_legend(
        b'name="a"\npicture="a.svg"\njacket="none"\n'
        b"[portion.green]\n[portion.white]\npulled_percent = 100\n[portion.pale]\nblend = { green = 1, white = 3 }\n"
        b'[portion.leaf]\ncolour = "#00ff00"\nblend = { pale = 1, green = 1 }'
    )
    # Half of it is green; the other half a quarter green: 5/8 green, 3/8 white.
    assert {key: float(share) for key, share in legend.pours("leaf").items()} == {"green": 0.625, "white": 0.375}
    # Densities mix by volume: 1 / (0.625/1450 + 0.375/1200).
    assert legend.density("leaf") == pytest.approx(1 / (0.625 / 1450 + 0.375 / 1200))


def test_a_legend_says_its_jacket_or_that_there_is_none():
    assert read_legend(LEGEND.encode()).jacket == "red"
    assert read_legend(LEGEND.replace('jacket = "red"', 'jacket = "none"').encode()).jacket is None


def test_percentages_may_have_places():
    legend = read_legend(LEGEND.replace("percent = 5", "percent = 2.5").encode())
    assert legend.pour_allowance_ppm == 25_000


def test_a_colour_is_named_as_it_is_written():
    assert colour_name((255, 170, 0)) == "#ffaa00"


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('jacket = "red"', "", "does not say what the jacket is"),
        ('jacket = "red"', 'jacket = "blue"', "`blue` is no portion"),
        ('colour = "#eeeeee"', 'colour = "grey"', "six hexadecimal digits"),
        ('colour = "#eeeeee"', 'colour = "#ff0000"', "so has portion red"),
        ('colour = "#eeeeee"', 'colour = "#ffffff"', "so has `outside`"),
        ("red = 1", "ruby = 1", "`ruby`, which is no portion"),
        ("red = 1", "pale = 1", "blended of itself: pale -> pale"),
        ("red = 1", "red = 0", "whole numbers above zero"),
        ("pulled_percent = 100", "pulled_percent = 110", "percent from 0 to 100"),
        ("pulled_percent = 100", "puled_percent = 100", "`puled_percent` is not a field"),
        ("blend =", "pulled_percent = 5\nblend =", "pulling are theirs"),
        ('name = "Ring"', "", "`name` is missing"),
        ("version = 1", "version = 0", "whole number from 1"),
        ("version = 1", "version = ", "cannot be read as TOML"),
    ],
)
def test_a_legend_that_contradicts_itself_is_refused(old, new, message):
    assert old in LEGEND
    with pytest.raises(LegendUnreadable, match=message):
        read_legend(LEGEND.replace(old, new).encode())


@pytest.mark.parametrize(
    ("step", "message"),
    [
        ('step = "Roll"\nportions = ["blue"]', "name portions of this legend"),
        ('step = "Roll"\ncopies = 0', "`copies` is 0"),
        ('step = "Roll"\nmirror = 1', "true or false"),
        ("minutes = 3", "`step` is missing"),
        ('step = "Roll"\ncopies = 2\nbar_percent = 201', "whole number from 5 to 200"),
    ],
)
def test_a_build_step_that_cannot_be_followed_is_refused(step, message):
    with pytest.raises(LegendUnreadable, match=message):
        read_legend(f"{LEGEND}\n[[build]]\n{step}".encode())


def test_a_legend_without_portions_is_refused():
    with pytest.raises(LegendUnreadable, match="lists no portions"):
        read_legend(b'name="a"\npicture="a.png"\njacket="none"')
