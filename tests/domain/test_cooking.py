"""What a cook records. Worked cook A: sucrose 10 kg, glucose syrup 6 kg at 80.3 % dry substance (Corn Refiners Association, Critical
Data Tables, from memory), water 3 kg; the mass identity charge = evaporated + cooked gives 15.1204 kg at 2 % moisture."""

import pytest

from ledger.domain.batch import commands as bc
from ledger.domain.derive import cooked_mass
from ledger.domain.parts import Give, Take
from ledger.errors import NotEnough, Refused, UnknownThing
from tests.support.given_when_then import BATCH, DAY, KG, Bench, cook


@pytest.fixture
def bench():
    bench = Bench()
    bench.do(bc.OpenBatch(day=DAY, flavour="LEMON", design="STAR"))
    return bench


@pytest.mark.parametrize(
    ("moisture_ppm", "cooked_mg"), [(25_000, 15_197_948), (20_000, 15_120_408), (15_000, 15_043_654)]
)
def test_the_theoretical_mass_is_that_of_the_worked_balance(moisture_ppm, cooked_mg):
    # worked A: S = 14.818 kg; 15.1979 / 15.1204 / 15.0437 kg at 2.5 / 2.0 / 1.5 % moisture (derived from the mass identity)
    assert abs(cooked_mass(14_818_000, moisture_ppm) - cooked_mg) <= 1


def test_a_weighed_pour_within_the_moisture_band_is_all_evaporation(bench):
    (event,) = bench.do(cook())
    assert event.evaporated_mg == 19 * KG - 15_100_000
    assert event.unexplained_mg == 0
    assert event.theory_mg == 19 * KG - cooked_mass(14_818_000, 20_000)
    bench.balances(event)


def test_what_lies_below_the_driest_glass_is_unexplained_and_flagged(bench):
    gives = (Give(lot="", kind="mass", mass_mg=14 * KG),)
    (event,) = bench.do(cook(gives=gives))
    driest = cooked_mass(14_818_000, 10_000)
    assert event.evaporated_mg == 19 * KG - driest
    assert event.unexplained_mg == driest - 14 * KG
    assert [f.code for f in event.flags] == ["unexplained"]
    bench.balances(event)


def test_more_poured_than_the_wettest_glass_is_unexplained_the_other_way(bench):
    (event,) = bench.do(cook(gives=(Give(lot="", kind="mass", mass_mg=16 * KG),)))
    assert event.unexplained_mg == cooked_mass(14_818_000, 30_000) - 16 * KG < 0
    assert "more came out than went in" in event.flags[0].text


def test_without_a_weighed_pour_the_theory_says_what_was_poured(bench):
    (event,) = bench.do(cook(gives=()))
    assert [g.basis for g in event.gives] == ["derived"]
    assert event.gives[0].mass_mg == cooked_mass(14_818_000, 20_000)


def test_hands_and_ingredients_pay_for_the_portions_by_mass(bench):
    (event,) = bench.do(cook())
    assert sum(g.cost for g in event.gives) == sum(t.cost for t in event.takes) + 1_500
    bench.balances(event)


def test_a_colour_that_went_into_one_portion_is_no_parent_of_the_other(bench):
    takes = (*cook().takes, Take(lot="RED-1", mass_mg=3_000, portion="white"))
    bench.do(cook(takes=takes))
    from ledger.domain.movement import edges

    found = {(a, b) for a, b, _ in edges(bench.world.log[bench.position].event)}
    assert ("RED-1", f"{BATCH}-C2") in found
    assert ("RED-1", f"{BATCH}-C1") not in found


def test_an_end_temperature_off_the_recipe_is_accepted_and_flagged(bench):
    (event,) = bench.do(cook(end_temperature_mc=160_000, end_temperature="320 F"))
    assert [f.code for f in event.flags] == ["end-temperature"]


def test_at_a_height_the_recipes_temperature_comes_down_with_boiling_water(bench):
    # water boils 5.05 °C lower at 1,524 m (US Standard Atmosphere 1976 with the Antoine equation, derived table)
    from ledger.craft.water import boiling_drop_mc
    from ledger.domain.books import entries as e
    from ledger.domain.books.commands import Define

    assert boiling_drop_mc(1_524) == pytest.approx(5_050, abs=120)
    assert boiling_drop_mc(0) == 0
    bench.do(Define(day=DAY, entry=e.Site(id="BENCH", name="High bench", altitude_m=1_524)))
    (event,) = bench.do(cook(end_temperature_mc=149_400, end_temperature="149.4 C"))
    assert not event.flags
    bench.do(bc.OpenBatch(day=DAY, flavour="LEMON"))
    (event,) = bench.do(cook(batch="26045B", end_temperature_mc=154_400))
    assert "1524 m above sea level" in event.flags[0].text


def test_an_unknown_lot_is_refused_with_the_way_out(bench):
    bench.refuses(cook(takes=(Take(lot="SUG-9", mass_mg=KG),)), UnknownThing, "SUG-9", "slabbook stock")


def test_too_little_in_the_lot_is_refused_with_both_figures(bench):
    error = bench.refuses(
        cook(takes=(Take(lot="SUG-1", mass_mg=101 * KG),)), NotEnough, "100.000 kg", "101.000 kg", "count"
    )
    assert (error.asked, error.held) == (101 * KG, 100 * KG)


def test_a_lot_named_twice_is_drawn_down_between_the_two(bench):
    bench.refuses(
        cook(takes=(Take(lot="SUG-1", mass_mg=60 * KG), Take(lot="SUG-1", mass_mg=60 * KG))), NotEnough, "40.000 kg"
    )


def test_a_cook_without_solids_is_refused(bench):
    from ledger.domain.lots.commands import ReceiveLot

    bench.do(ReceiveLot(day=DAY, material="SUGAR", mass_mg=KG, supplier="MILL", lot="S2"))
    bench.refuses(cook(takes=()), Exception, "inputs")


def test_more_losses_than_the_kettle_held_are_refused_when_nothing_was_weighed(bench):
    from ledger.domain.parts import Loss

    bench.refuses(cook(gives=(), losses=(Loss(cause="floor", mass_mg=40 * KG),)), Refused, "More comes out")
