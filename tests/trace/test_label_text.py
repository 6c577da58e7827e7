"""Label words against the rules' own wording.

Sources: 21 CFR 101.4(a) and 101.22(k) (order, 2 % rule, certified colours), FALCPA/FASTER (nine allergens), Regulation
(EU) 1169/2011 annex II (fourteen, wheat glucose syrup exempt), 21 CFR 101.7 and Directive 76/211/EEC (type sizes). The six warned
colours and their words: Regulation (EC) 1333/2008 annex V as printed in the Food Standards Agency's guidance on it of 3 June 2010
(read 2026-11-25 at food.gov.uk). The nine certified food colours: 21 CFR part 74 subpart A, section list (read at chanrobles.com), their
E numbers: FDA-certified colours as a maker lists them (read at pharmorgana.de, ebrary.net 116131). What 101.22(k)(1) lets go of the name:
a dye maker's summary (read at primeingredients.com).
Prices, people and recipes are invented.
"""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.domain.books.additives import CERTIFIED_US, WARNED_COLOURS
from ledger.errors import BadInput
from ledger.trace.allergens import ALLERGENS, named
from ledger.trace.label_text import (
    Reboil,
    Used,
    eu_figure_height_mm,
    label_words,
    net_weight,
    opened,
    us_panel_area,
    us_type_height,
)  # fmt: skip

KG = 1_000_000
SUGAR = Used("sugar", "sugar", 10 * KG)
SYRUP = Used("corn syrup", "glucose syrup", 6 * KG)
WATER = Used("water", "water", 3 * KG, role="water")
ACID = Used("citric acid", "citric acid", 160_000, role="acid", e_number="E330")
FLAVOUR = Used("natural and artificial flavor", "flavouring", 32_000, role="flavour")
RED = Used("Red 40", "Allura Red AC", 3_200, role="colour", e_number="E129", certified=True)
WHOLE = (RED, FLAVOUR, SYRUP, WATER, ACID, SUGAR)


def us(*used: Used, reboil: tuple[Reboil, ...] = ()) -> object:
    return label_words(used, market="us", lot="26102A", net_mg=113_398, reboil=reboil)


def test_the_us_list_is_in_descending_weight_with_the_small_ones_after_their_words() -> None:
    words = label_words(WHOLE, market="us", lot="26102A", net_mg=113_398)
    assert words.ingredients == (
        "Ingredients: Sugar, corn syrup, contains 2% or less of: citric acid, natural and artificial flavor, Red 40."
    )
    assert words.allergens == ""
    assert words.lot == "L 26102A"
    assert "Check this text against the food law" in words.notes[0]


def test_the_eu_list_names_classes_e_numbers_and_the_warning_for_the_six_colours() -> None:
    words = label_words(WHOLE, market="eu", lot="26102A", net_mg=113_000, best_before=date(2027, 10, 12))
    assert words.ingredients == (
        "Ingredients: Sugar, glucose syrup, acid: citric acid (E330), flavouring, colour: Allura Red AC (E129)."
    )
    assert words.warnings == ("Allura Red AC: may have an adverse effect on activity and attention in children.",)
    assert (words.net, words.best_before) == ("113 g", "Best before 2027-10-12")


ANNEX_V = {
    "Sunset yellow": "E110",
    "Quinoline yellow": "E104",
    "Carmoisine": "E122",
    "Allura red": "E129",
    "Tartrazine": "E102",
    "Ponceau 4R": "E124",
}
PART_74 = {"E133": ("FD&C Blue No. 1", "74.101"), "E132": ("FD&C Blue No. 2", "74.102"), "E143": ("FD&C Green No. 3", "74.203"),
           "E127": ("FD&C Red No. 3", "74.303"), "E129": ("FD&C Red No. 40", "74.340"), "E102": ("FD&C Yellow No. 5", "74.705"),
           "E110": ("FD&C Yellow No. 6", "74.706")}  # fmt: skip


@pytest.mark.parametrize(("name", "number"), ANNEX_V.items())
def test_each_of_the_six_colours_of_annex_v_carries_its_words_in_the_eu_and_not_in_the_us(
    name: str, number: str
) -> None:
    colour = Used(name, name, 3_000, role="colour", e_number=number, certified=number in PART_74)
    eu = label_words([SUGAR, colour], market="eu", lot="A", net_mg=113_000)
    assert eu.warnings == (f"{name}: may have an adverse effect on activity and attention in children.",)
    assert f"colour: {name} ({number})" in eu.ingredients
    assert label_words([SUGAR, colour], market="us", lot="A", net_mg=113_398).warnings == ()


def test_two_warned_colours_share_one_warning_and_another_colour_gives_none() -> None:
    yellow = Used("Yellow 5", "tartrazine", 4_000, role="colour", e_number="E102", certified=True)
    blue = Used("Blue 1", "Brilliant Blue FCF", 2_000, role="colour", e_number="E133", certified=True)
    both = label_words([SUGAR, RED, yellow, blue], market="eu", lot="A", net_mg=113_000)
    assert both.warnings == (
        "Tartrazine, Allura Red AC: may have an adverse effect on activity and attention in children.",
    )
    assert label_words([SUGAR, blue], market="eu", lot="A", net_mg=113_000).warnings == ()
    assert sorted(WARNED_COLOURS) == sorted(ANNEX_V.values())


def test_the_certified_colours_are_those_of_part_74_that_candy_may_hold_by_their_short_names() -> None:
    assert {n: (name, section) for n, (name, _, section) in CERTIFIED_US.items()} == PART_74
    for name, short, _ in CERTIFIED_US.values():
        assert short == name.removeprefix("FD&C ").replace("No. ", "")


def test_a_label_for_the_us_tells_of_a_colour_that_is_not_listed_not_certified_or_named_otherwise() -> None:
    def told(us: str, number: str, certified: bool) -> str:
        used = Used(us, "x", 3_000, role="colour", e_number=number, certified=certified)
        return " ".join(label_words([SUGAR, used], market="us", lot="A", net_mg=113_398).notes)

    assert "may not be sold in the US" in told("quinoline yellow color", "E104", True)
    assert "must come from a certified batch (21 CFR 74.340)" in told("Red 40", "E129", False)
    assert "its listed name is FD&C Red No. 40" in told("cherry red", "E129", True)
    assert "21 CFR" not in told("FD&C Red No. 40 Lake", "E129", True)
    assert "carmine" in told("natural color", "E120", False) and "named" not in told("carmine", "E120", False)


def test_a_label_for_the_eu_tells_of_a_colour_without_a_number_or_off_the_list_and_a_food_has_no_class() -> None:
    dye = Used("Red 40", "red dye", 3_000, role="colour", certified=True)
    assert "no E number in the book" in " ".join(label_words([SUGAR, dye], market="eu", lot="A", net_mg=113_000).notes)
    white = Used("titanium dioxide", "titanium dioxide", 3_000, role="colour", e_number="E171")
    assert "may not be sold there" in " ".join(label_words([SUGAR, white], market="eu", lot="A", net_mg=113_000).notes)
    food = Used("spirulina extract color", "spirulina concentrate", 3_000, role="colour", additive_class="none")
    wax = Used("beeswax", "beeswax", 1_000, e_number="E901", additive_class="glazing agent")
    words = label_words([SUGAR, food, wax], market="eu", lot="A", net_mg=113_000)
    assert words.ingredients == "Ingredients: Sugar, spirulina concentrate, glazing agent: beeswax (E901)."


def test_more_syrup_than_sugar_turns_the_order_round() -> None:
    more = Used("corn syrup", "glucose syrup", 11 * KG)
    words = label_words([SUGAR, more], market="us", lot="A", net_mg=113_398)
    assert words.ingredients == "Ingredients: Corn syrup, sugar."


def test_re_boil_carries_its_allergens_in_however_little_there_is() -> None:
    toffee = Reboil(1, (SUGAR, Used("butter", "butter", 500_000, frozenset({"milk"}))))
    words = label_words([SUGAR, SYRUP], market="us", lot="A", net_mg=113_398, reboil=[toffee])
    assert words.allergens == "Contains: Milk."
    assert "butter" in words.ingredients
    eu = label_words([SUGAR, SYRUP], market="eu", lot="A", net_mg=113_000, reboil=[toffee])
    assert eu.emphasis == ("milk",) and eu.allergens == "Contains: milk."


def test_re_boil_without_ingredients_on_record_is_refused() -> None:
    with pytest.raises(BadInput, match="allergens are not known"):
        opened([SUGAR], [Reboil(KG, (WATER,))])


@given(st.lists(st.integers(1, 10**8), min_size=1, max_size=6), st.integers(1, 10**8))
def test_opened_re_boil_adds_its_mass_and_nothing_else(masses: list[int], reboiled: int) -> None:
    parts = tuple(Used(f"m{n}", f"m{n}", mass) for n, mass in enumerate(masses))
    total = sum(u.mass_mg for u in opened([SUGAR], [Reboil(reboiled, parts)]))
    assert abs(total - SUGAR.mass_mg - reboiled) <= len(masses)
    shares = [u.mass_mg for u in opened([SUGAR], [Reboil(reboiled, parts)])]
    assert shares == sorted(shares, reverse=True)


def test_wheat_glucose_syrup_is_declared_in_the_us_and_exempt_in_the_eu() -> None:
    wheat = Used("wheat glucose syrup", "glucose syrup", 6 * KG, frozenset({"wheat@glucose-syrup"}))
    assert label_words([SUGAR, wheat], market="us", lot="A", net_mg=113_398).allergens == "Contains: Wheat."
    eu = label_words([SUGAR, wheat], market="eu", lot="A", net_mg=113_000)
    assert (eu.allergens, eu.emphasis) == ("", ())


def test_sulphites_count_in_the_eu_above_ten_milligrams_a_kilogram_of_the_whole() -> None:
    for so2, named_there in ((26, False), (27, True)):
        syrup = Used("corn syrup", "glucose syrup", 6 * KG, so2_mg_per_kg=so2)
        words = label_words([SUGAR, syrup], market="eu", lot="A", net_mg=113_000)
        assert ("sulphites" in words.emphasis) is named_there  # 26 * 6/16 = 9.75, 27 * 6/16 = 10.125 mg/kg


def test_there_are_nine_allergens_in_the_us_and_fourteen_groups_in_the_eu() -> None:
    assert len([a for a in ALLERGENS.values() if a.us]) == 9
    assert len([a for a in ALLERGENS.values() if a.eu and a.code != "wheat"]) == 14


def test_a_nut_is_named_by_its_species_and_an_unknown_code_is_refused() -> None:
    assert named(["tree-nut:almond", "milk", "tree-nut:almond"], "us") == ("Milk", "Almond")
    assert named(["tree-nut:almond"], "eu") == ("almond",)
    with pytest.raises(BadInput, match="tree-nut:almond"):
        named(["tree-nut"], "us")
    with pytest.raises(BadInput, match="no allergen known"):
        named(["nutt"], "us")


@pytest.mark.parametrize(
    ("net_mg", "ounces", "text"),
    [
        (113_398, Fraction(4), "Net Wt 4 oz (113 g)"),
        (113_000, None, "Net Wt 3.98 oz (113 g)"),
        (453_592, Fraction(16), "Net Wt 16 oz (1 lb) (453 g)"),
        (1_133_980, Fraction(40), "Net Wt 40 oz (2 lb 8 oz) (1.133 kg)"),
    ],
)
def test_net_weight_is_told_in_both_units_and_never_overstated(net_mg: int, ounces: Fraction | None, text: str) -> None:
    # 4 oz = 113.398 g, told as 113 g: cut down, not rounded up (21 CFR 101.7; common practice).
    assert net_weight(net_mg, "us", ounces=ounces) == text
    with pytest.raises(BadInput, match="more than"):
        net_weight(110_000, "us", ounces=Fraction(4))


@given(st.integers(1_000, 50 * KG))
def test_no_declared_weight_is_more_than_the_contents(net_mg: int) -> None:
    eu = net_weight(net_mg, "eu")
    value, unit = eu.split(" ")
    assert Fraction(value) * (KG if unit == "kg" else 1000) <= net_mg
    ounces = Fraction(net_weight(net_mg, "us").split(" ")[2])
    assert ounces * Fraction(28349523125, 1_000_000) <= net_mg


def test_type_sizes_follow_the_front_and_the_weight() -> None:
    assert [us_type_height(a) for a in (5, 5.1, 25, 100, 401)] == [Fraction(1, n) for n in (16, 8, 8)] + [
        Fraction(3, 16),
        Fraction(1, 2),
    ]
    assert us_panel_area(4, circumference_in=10) == pytest.approx(16.0)
    assert us_panel_area(4, width_in=3) == 12
    with pytest.raises(BadInput, match="one of the two"):
        us_panel_area(4)
    assert [eu_figure_height_mm(g * 1000) for g in (50, 51, 200, 201, 1000, 1001)] == [2, 3, 3, 4, 4, 6]


def test_nothing_to_list_or_a_name_missing_in_a_market_is_refused() -> None:
    with pytest.raises(BadInput, match="nothing to list"):
        label_words([WATER], market="us", lot="A", net_mg=113_398)
    with pytest.raises(BadInput, match="no name for eu labels"):
        label_words([SUGAR, Used("molasses", "", KG)], market="eu", lot="A", net_mg=113_000)
