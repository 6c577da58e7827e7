"""What is strange but possible is accepted and flagged."""

import pytest

from ledger.domain.batch import commands as bc
from ledger.domain.books import entries as e
from ledger.domain.books.commands import Define
from ledger.domain.parts import Give, Take
from tests.support.given_when_then import BATCH, DAY, KG, Bench, cook, whole_batch


@pytest.fixture
def bench():
    bench = Bench()
    bench.do(Define(day=DAY, entry=e.Station(id="K9", kind="kettle", max_mg=15 * KG, min_mg=5 * KG)))
    return bench


def codes(events):
    return [f.code for f in events[0].flags]


def test_a_kettle_filled_over_its_limit_is_flagged(bench):
    bench.do(bc.OpenBatch(day=DAY, flavour="LEMON"))
    events = bench.do(cook(station="K9"))
    assert codes(events) == ["kettle-full"]
    assert "19.000 kg" in events[0].flags[0].text and "15.000 kg" in events[0].flags[0].text


def test_a_kettle_filled_less_than_its_smallest_load_is_flagged(bench):
    bench.do(bc.OpenBatch(day=DAY, flavour="LEMON"))
    assert codes(bench.do(cook(station="K9", takes=(Take(lot="SUG-1", mass_mg=2 * KG),), water_mg=KG, gives=()))) == [
        "kettle-low"
    ]


def test_a_cut_far_under_the_usual_yield_is_flagged(bench):
    bench.do(bc.OpenBatch(day=DAY, flavour="LEMON", design="STAR"))
    bench.do(cook())
    bench.do(bc.Build(day=DAY, batch=BATCH))
    bench.do(bc.Roll(day=DAY, batch=BATCH))
    events = bench.do(bc.CutRods(day=DAY, batch=BATCH, gives=(Give(lot="", kind="pieces", mass_mg=11 * KG),)))
    assert codes(events) == ["unexplained", "low-yield"]


def test_much_reboil_and_reboil_of_another_flavour_are_flagged(bench):
    whole_batch(bench)
    bench.do(Define(day=DAY, entry=e.Recipe(id="MINT", flavour="MINT")))
    bench.do(bc.OpenBatch(day=DAY, flavour="MINT"))
    takes = (Take(lot="SUG-1", mass_mg=3 * KG), Take(lot=f"{BATCH}-B1", mass_mg=620_000))
    assert codes(bench.do(cook(batch="26045B", takes=takes, gives=()))) == ["reboil-flavour", "reboil-share"]
