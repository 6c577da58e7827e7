"""One rule for codes wherever one enters: capitals, digits, `-` and `.`; small letters mean the same. Our own rule, no outside source."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dashboard.app import create_app
from ledger.application.ledger import open_ledger
from ledger.application.season_facts import fact
from ledger.domain.books.book import Book
from ledger.domain.books.commands import Define
from ledger.domain.books.entries import Channel, Flavour, Material, Pack, Partner, Recipe, Worker
from ledger.errors import BadInput
from ledger.interfaces.book_file import entries_from_csv, entries_from_toml
from ledger.interfaces.commands_in import read_command
from ledger.interfaces.csv_import import import_csv
from tests.interfaces.conftest import DAY, Terminal
from tests.support.asgi import client_of


def book_with(*entries: object) -> Book:
    book = Book()
    for entry in entries:
        book.put(entry, 1)
    return book


SHELF = book_with(
    Flavour(id="LEMON", name="Lemon"),
    Pack(id="LEMON-JAR", name="Jar", flavour="LEMON", net_mg=113_000),
    Channel(id="counter", name="Counter"),  # as an older ledger may have it
    Partner(id="GIFTS", role="customer"),
    Material(id="SUGAR", name="Sugar"),
    Worker(id="AB"),
)


def test_small_letters_find_what_stands_in_capitals_and_an_older_code_in_small_ones_too() -> None:
    sold = read_command(
        "sell", {"pack": "lemon-jar", "packs": "2", "channel": "COUNTER", "lot": "26045a-j1"}, SHELF, DAY
    )
    assert (sold.pack, sold.channel, sold.lot) == ("LEMON-JAR", "counter", "26045A-J1")
    cooked = read_command("cook", {"batch": "26045a", "takes": [{"lot": "sug-1", "mass": "1 kg"}], "work": [{"worker": "ab", "time": "5 min"}]}, SHELF, DAY)  # fmt: skip
    assert (cooked.batch, cooked.takes[0].lot, cooked.work[0].worker) == ("26045A", "SUG-1", "AB")
    held = read_command("hold", {"lots": "26045a-j1, m26045-1", "reason": "look"}, SHELF, DAY)
    assert held.lots == ("26045A-J1", "M26045-1")


def test_what_is_another_house_s_or_plain_words_stays_as_it_was_typed() -> None:
    got = read_command("receive", {"material": "sugar", "mass": "1 kg", "supplier": "gifts", "supplier_lot": "ab-7x", "note": "torn sack"}, SHELF, DAY)  # fmt: skip
    assert (got.material, got.supplier, got.supplier_lot, got.note) == ("SUGAR", "GIFTS", "ab-7x", "torn sack")


def test_a_new_entry_gets_its_code_in_capitals_and_an_old_one_no_twin() -> None:
    new = read_command(
        "define", {"kind": "flavour", "entry": {"id": "rose", "name": "Rose", "like": "lemon"}}, SHELF, DAY
    )
    assert (new.entry.id, new.entry.like) == ("ROSE", "LEMON")
    again = read_command("define", {"kind": "flavour", "entry": {"id": "lemon", "name": "Sharp lemon"}}, SHELF, DAY)
    assert again.entry == Flavour(id="LEMON", name="Sharp lemon")
    older = read_command("define", {"kind": "channel", "entry": {"id": "Counter", "name": "The counter"}}, SHELF, DAY)
    assert older.entry.id == "counter"


@pytest.mark.parametrize("id", ["lemon jar", "RÖSE", "straße", "A/B", "-A", "A" * 21])
def test_a_new_code_that_fits_no_label_is_refused_with_the_rule(id: str) -> None:
    with pytest.raises(BadInput, match="use capitals, digits, `-`") as caught:
        read_command("define", {"kind": "flavour", "entry": {"id": id, "name": "Rose"}}, SHELF, DAY)
    assert [p["field"] for p in caught.value.facts["problems"]] == ["id"]


def test_a_book_file_may_be_in_small_letters_throughout() -> None:
    text = """
    [material.sugar]
    name = "Sugar"
    [flavour.rose]
    name = "Rose"
    feast = "easter, christmas"
    [feast.easter]
    name = "Easter"
    rule = "easter"
    [feast.christmas]
    name = "Christmas"
    rule = "12-25"
    [recipe.rose]
    flavour = "rose"
    [recipe.rose.lines]
    sugar = "8 kg"
    """
    found = {type(x): x for x in entries_from_toml(text)}
    assert (found[Material].id, found[Flavour].id, found[Recipe].flavour) == ("SUGAR", "ROSE", "ROSE")
    assert found[Flavour].feast == "EASTER, CHRISTMAS"
    assert found[Recipe].lines[0].material == "SUGAR"
    (mint,) = entries_from_csv("flavour", "id,name\nmint,Mint\n")
    assert mint.id == "MINT"


def test_facts_of_a_season_follow_the_same_rule() -> None:
    noted = fact({"kind": "run-out", "from": DAY, "flavour": "lemon", "channel": "Counter"}, SHELF, DAY)
    assert (noted.flavour, noted.channel) == ("LEMON", "counter")


def test_the_command_line_takes_small_letters_to_record_and_to_read(lived: Terminal) -> None:
    assert "Recorded" in lived("sell", "lemon-jar", "1", "--over", "shop", "--lot", "b1-j1").out
    assert json.loads(lived("batch", "b1", "--json").out) == json.loads(lived("batch", "B1", "--json").out)
    assert lived("book", "show", "flavour", "lemon").out == lived("book", "show", "flavour", "LEMON").out
    assert lived("log", "--batch", "b1").out == lived("log", "--batch", "B1").out
    lived.refused("sell", "lemmon-jar", "1", "--over", "shop", told=("`lemmon-jar`", "Known: LEMON-JAR"))


def test_a_file_of_sales_may_be_in_small_letters_and_is_still_known_the_second_time(
    lived: Terminal, tmp_path: Path
) -> None:
    ledger = open_ledger(f"sqlite:///{lived.path}", create=False)
    text = f"day,pack,packs,channel\n{DAY},lemon-jar,2,post\n"
    assert (import_csv(ledger, "sales", text).recorded, import_csv(ledger, "sales", text).repeated) == (1, 1)
    last = ledger.queries.event(ledger.queries.as_of().position)
    assert (last.pack, last.channel) == ("LEMON-JAR", "POST")


def test_an_entry_kept_in_small_letters_before_the_rule_is_amended_as_it_is(lived: Terminal) -> None:
    ledger = open_ledger(f"sqlite:///{lived.path}", create=False)
    ledger.do(Define(day=DAY, entry=Channel(id="fair", name="The fair")))
    assert "Recorded" in lived("sell", "LEMON-JAR", "1", "--over", "FAIR").out
    entry = ledger.queries.as_of().position
    assert ledger.queries.event(entry).channel == "fair"
    assert "Recorded" in lived("amend", str(entry), "--reason", "miscounted", "--set", "packs=2").out


def test_the_initials_of_who_records_are_a_code_like_every_other(lived: Terminal) -> None:
    ledger = open_ledger(f"sqlite:///{lived.path}", create=False)

    def last() -> str:
        return str(ledger.queries.log(most=1, newest_first=True)["recorded_by"].iloc[0])

    for typed, means in (
        ("ab", "AB"),
        ("Ab", "AB"),
        ("zq", "ZQ"),
    ):  # one of the book's workers, and one it does not know yet
        assert "Recorded" in lived("--by", typed, "sell", "lemon-jar", "1", "--over", "shop", "--lot", "b1-j1").out
        assert last() == means
    with client_of(create_app(ledger)) as client:
        sold = {
            "name": "sell",
            "data": {"pack": "LEMON-JAR", "packs": 1, "channel": "shop", "lot": "B1-J1"},
            "actor": "cd",
        }
        assert client.post("/api/v1/commands", json=sold).status_code < 300
    assert last() == "CD"
    ledger.do(Define(day=DAY, entry=Worker(id="ef")))  # as an older ledger may have it
    assert ledger.book().who("EF") == "ef"
