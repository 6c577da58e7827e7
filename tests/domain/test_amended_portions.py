"""A cook amended: portions and what went into them are added, changed and taken out; what later steps used stays, or the steps are named."""

from dataclasses import replace

import pytest

from ledger.domain.batch import commands as bc
from ledger.domain.batch import events as be
from ledger.domain.books import entries as e
from ledger.domain.books.commands import Define
from ledger.domain.parts import Give, Take, Work
from ledger.errors import BadInput, StepsInTheWay
from tests.support.given_when_then import BATCH, DAY, KG, Bench, cook

RED = Take(lot="RED-1", mass_mg=4_000)


def poured(lot, mass_mg, portion, **more):
    return Give(lot=lot, kind="mass", mass_mg=mass_mg, portion=portion, **more)


@pytest.fixture
def bench():
    bench = Bench()
    bench.do(bc.OpenBatch(day=DAY, flavour="LEMON", design="STAR"))
    bench.do(cook())
    return bench


def amend(bench, command, kind=be.Cooked):
    return bench.do(bc.Amend(day=DAY, origin=bench.position_of(kind), command=command, reason="forgotten"))


def test_a_portion_added_later_gets_the_next_code_and_its_colour_goes_into_it_alone(bench):
    three = (
        poured(f"{BATCH}-C1", 8 * KG, "clear"),
        poured(f"{BATCH}-C2", 6_100_000, "white"),
        poured("", KG, "red", colour="red"),
    )
    amend(bench, cook(gives=three, takes=(*cook().takes, replace(RED, portion="red"))))
    added = bench.lot(f"{BATCH}-C3")
    assert (added.portion, added.colour, added.mass_mg) == ("red", "red", KG)
    assert [bench.lot(f"{BATCH}-C{n}").mass_mg for n in (1, 2)] == [8 * KG, 6_100_000]
    bench.balances(bench.world.recorded(bench.position_of(be.Cooked)).event)


def test_a_portion_taken_out_leaves_the_code_of_the_other_alone(bench):
    amend(bench, cook(gives=(poured(f"{BATCH}-C2", 15_100_000, "white"),)))
    assert bench.lot(f"{BATCH}-C2").mass_mg == 15_100_000
    assert bench.lot(f"{BATCH}-C1").mass_mg == 0


def test_a_portion_that_was_pulled_is_not_taken_out_and_the_pull_is_named(bench):
    bench.do(bc.Pull(day=DAY, batch=BATCH, takes=(Take(lot=f"{BATCH}-C2", basis="all"),)))
    error = bench.refuses(
        bc.Amend(day=DAY, origin=bench.position_of(be.Cooked), command=cook(gives=(poured(f"{BATCH}-C1", 15 * KG, "clear"),)), reason="x"),
        StepsInTheWay, "pull of batch", "C2",
    )  # fmt: skip
    assert len(error.steps) == 1


def test_a_portion_added_never_gets_the_code_of_one_taken_out(bench):
    amend(bench, cook(gives=(poured(f"{BATCH}-C1", 9 * KG, "clear"), poured("", 6_100_000, "red"))))
    assert bench.lot(f"{BATCH}-C3").portion == "red"
    assert (bench.lot(f"{BATCH}-C2").portion, bench.lot(f"{BATCH}-C2").mass_mg) == ("white", 0)


def test_a_portion_renamed_is_known_by_its_new_name(bench):
    amend(
        bench,
        cook(gives=(poured(f"{BATCH}-C1", 9 * KG, "amber", colour="amber"), poured(f"{BATCH}-C2", 6_100_000, "white"))),
    )
    assert (bench.lot(f"{BATCH}-C1").portion, bench.lot(f"{BATCH}-C1").colour) == ("amber", "amber")


def test_a_portion_added_to_a_closed_batch_is_refused_with_the_way(bench):
    bench.do(bc.Build(day=DAY, batch=BATCH))
    bench.do(bc.CloseBatch(day=DAY, batch=BATCH))
    gives = (
        poured(f"{BATCH}-C1", 9 * KG, "clear"),
        poured(f"{BATCH}-C2", 6_100_000, "white"),
        poured("", 100_000, "red"),
    )
    cooked = bench.position_of(be.Cooked)
    bench.refuses(
        bc.Amend(day=DAY, origin=cooked, command=cook(gives=gives), reason="x"),
        StepsInTheWay,
        "Void the closing first",
        "red 100.0 g",
    )
    bench.do(bc.Void(day=DAY, origin=bench.position_of(be.BatchClosed), reason="a portion was forgotten"))
    amend(bench, cook(gives=gives))
    used = tuple(Take(lot=f"{BATCH}-C{n}", basis="all") for n in (1, 2, 3))
    amend(
        bench,
        bc.Build(day=DAY, batch=BATCH, takes=used, gives=(Give(lot=f"{BATCH}-L1", kind="log", basis="derived"),)),
        be.Built,
    )
    assert bench.lot(f"{BATCH}-L1").mass_mg == 15_200_000
    bench.do(bc.CloseBatch(day=DAY, batch=BATCH))
    assert bench.lot(f"{BATCH}-C3").mass_mg == 0


def test_what_goes_into_a_portion_nobody_poured_is_refused(bench):
    bench.refuses(
        bc.Amend(day=DAY, origin=bench.position_of(be.Cooked), command=cook(takes=(*cook().takes, replace(RED, portion="red"))), reason="x"),
        BadInput, "RED-1", "`red`", "`clear`, `white`",
    )  # fmt: skip


def test_an_amendment_keeps_the_wages_and_the_solids_of_its_day(bench):
    bench.do(Define(day=DAY, entry=e.Worker(id="AB", rate=9_900)))
    bench.do(Define(day=DAY, entry=e.Material(id="SYRUP", name="Glucose syrup", role="syrup", solids_ppm=700_000)))
    old = bench.world.recorded(bench.position_of(be.Cooked)).event
    assert amend(bench, cook()) == []
    amend(bench, cook(work=(Work(worker="AB", seconds=1_800),)))
    new = bench.world.recorded(bench.position_of(be.Cooked)).event
    assert [w.rate for w in new.work] == [1_500]
    assert new.takes == old.takes


def test_words_for_the_same_figure_are_no_amendment(bench):
    said = tuple(replace(t, entered=f"{t.mass_mg // KG} kg") for t in cook().takes)
    assert amend(bench, cook(takes=said)) == []
