"""An entry told again as the command it came from, one figure changed."""

import re

import pytest

from ledger.domain.batch import events as be
from ledger.domain.books.book import Book
from ledger.domain.lots import commands as lc
from ledger.domain.movement import Movement
from ledger.domain.restate import command_of, restate, set_field
from ledger.domain.shelf import commands as sc
from ledger.errors import Refused
from ledger.interfaces.commands_in import read_command
from tests.support.given_when_then import BATCH, DAY, TODAY, Bench, whole_batch


@pytest.fixture(scope="module")
def bench():
    bench = Bench()
    whole_batch(bench)
    bench.do(sc.Sell(day=DAY, pack="LEMON-JAR", packs=3, channel="SHOP", amount=1_800))
    bench.do(sc.Ship(day=DAY, pack="LEMON-JAR", packs=5, customer="CAFE", document="D-1"))
    bench.do(sc.TakeBack(day=DAY, lot=f"{BATCH}-J1", packs=1))
    bench.do(lc.SampleLot(day=DAY, lot=f"{BATCH}-K1", pieces=6))
    bench.do(lc.ScrapLot(day=DAY, lot=f"{BATCH}-B1", cause="damp", mass_mg=1_000))
    bench.do(lc.CountLot(day=DAY, lot="SUG-1", mass_mg=80_000_000))
    return bench


def test_every_entry_told_again_reads_as_the_same_command(bench):
    book = bench.world.book
    seen = 0
    for entry in bench.world.log.values():
        if isinstance(entry.event, Movement):
            told = restate(entry.event)
            again = read_command(told["name"], {k: v for k, v in told.items() if k != "name"}, book, TODAY)
            assert type(again) is type(command_of(entry.event))
            seen += 1
    assert seen >= 13


def test_one_mass_of_one_portion_can_be_set(bench):
    told = restate(bench.world.log[bench.position_of(be.Cooked)].event)
    set_field(told, "gives.1.mass", "6 kg")
    set_field(told, "end_temperature", "309 F")
    set_field(told, "work.0.time", "40 min")
    command = read_command("cook", {k: v for k, v in told.items() if k != "name"}, bench.world.book, TODAY)
    assert [g.mass_mg for g in command.gives] == [9_000_000, 6_000_000]
    assert (command.end_temperature_mc, command.work[0].seconds) == (153_889, 2_400)


@pytest.mark.parametrize(
    "path", ["gives.9.mass", "gives.9", "gives.clear", "gives.clear.mass", "note.mass", "note.0.mass"]
)
def test_a_path_that_leads_nowhere_is_refused_with_the_fields_there_are(bench, path):
    told = restate(bench.world.log[bench.position_of(be.Cooked)].event)
    with pytest.raises(Refused, match=rf"{re.escape(path)}.*takes"):
        set_field(told, path, "1 kg")


def test_what_is_not_amended_says_what_to_do_instead():
    assert Book().site().id == "SHOP"
    with pytest.raises(Refused, match="void it"):
        command_of(be.FlagAnswered(day=DAY, origin=1, code="count", answer="x"))
