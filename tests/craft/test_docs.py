"""The how-to's own picture and legend are read, and the explanations' figures are the program's."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from ledger.craft.boiling import CURVE, moisture_at
from ledger.craft.cook import cook_balance
from ledger.craft.density import glass_softens_at
from ledger.craft.picture import read_design
from ledger.craft.portions import build_plan
from tests.craft.support import CHARGE_A

DOCS = Path(__file__).resolve().parents[2] / "docs"
HOW_TO = (DOCS / "how-to" / "draw-a-design.md").read_text(encoding="utf-8")
COOK = " ".join((DOCS / "explanation" / "cook-and-temperature.md").read_text(encoding="utf-8").split())


def block(kind: str) -> bytes:
    found = re.search(rf"```{kind}\n(.*?)```", HOW_TO, re.DOTALL)
    assert found is not None
    return found.group(1).encode()


def test_the_design_of_the_how_to_is_a_whole_design():
    design = read_design(block("toml"), block("svg"))
    assert design.legend.name == "Rising sun"
    assert build_plan(design.legend, 400_000)[0].drawn_um == 800_000


def test_the_fields_of_the_how_to_are_all_there_are():
    for field in (
        "pulled_percent",
        "dye",
        "blend",
        "copies",
        "mirror",
        "minutes",
        "bar_percent",
        "pour_allowance_percent",
        "outside",
    ):
        assert field in HOW_TO


def test_the_curve_on_the_page_is_the_curve_of_the_program():
    for point in CURVE[1:]:
        assert f"{point.solids_pct:g}" in COOK and f"{point.rise_c:g}" in COOK, point


def test_the_figures_of_the_page_are_the_programs():
    balance = cook_balance(CHARGE_A, 20_000)
    for text in (
        f"{balance.solids_mg / 1e6:.3f} kg",
        f"{balance.cooked_mg / 1e6:.3f} kg",
        f"{balance.boiled_off_mg / 1e6:.3f} kg",
    ):
        assert text in COOK, text
    band = moisture_at(150_000, 100_000)
    assert f"{band.likely_ppm / 1e4:.1f} %, band {band.low_ppm / 1e4:.1f} to {band.high_ppm / 1e4:.1f} %" in COOK
    assert [round(glass_softens_at(m)) for m in (10_000, 20_000, 30_000, 40_000)] == [53, 45, 37, 30]


@pytest.mark.parametrize("page", ["explanation/cook-and-temperature.md", "explanation/picture-and-rod.md"])
def test_a_page_says_its_kind(page):
    assert "*Explanation." in (DOCS / page).read_text(encoding="utf-8")
