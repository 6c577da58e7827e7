"""What people say is recorded exactly, and what cannot be is refused with both figures and writes nothing."""

from __future__ import annotations

import json
from typing import Any

import pytest

from ledger.application.ledger import open_ledger
from tests.interfaces.conftest import BATCH, DAY, Terminal


def event(terminal: Terminal, name: str, nth: int = -1) -> Any:
    ledger = open_ledger(f"sqlite:///{terminal.path}", create=False)
    try:
        return ledger.queries.event(int(ledger.queries.log(name=name).position.iloc[nth]))
    finally:
        ledger.close()


def test_what_people_say_becomes_exact_integers_and_is_kept_as_said(lived: Terminal) -> None:
    """1 lb = 453 592.37 mg (international yard and pound agreement 1959); 310 F = 154.444 C."""
    received = event(lived, "lot.received", 0).gives[0]
    assert (received.mass_mg, received.entered) == (round(55 * 453_592.37), "55 lb")
    assert event(lived, "lot.received", 1).gives[0].mass_mg == 12_400_000
    cooked = event(lived, "batch.cooked")
    assert (cooked.end_temperature_mc, cooked.end_temperature) == (154_444, "310 F")
    assert cooked.work[0].seconds == 80 * 60
    assert cooked.takes[0].entered == "8 kg 400 g"
    assert [g.portion for g in cooked.gives] == ["peel", "clear"]


def test_the_day_adds_up_to_the_milligram(lived: Terminal) -> None:
    cooked = event(lived, "batch.cooked")
    charged = sum(t.mass_mg for t in cooked.takes) + cooked.water_mg
    poured = sum(g.mass_mg for g in cooked.gives) + sum(x.mass_mg for x in cooked.losses)
    assert charged == poured + cooked.evaporated_mg + cooked.unexplained_mg
    cut = event(lived, "batch.cut")
    assert [g.kind for g in cut.gives] == ["pieces", "reboil"]
    assert cut.gives[0].pieces == 5_180


def test_an_answer_names_the_entry_the_batch_and_what_was_made(stocked: Terminal) -> None:
    stocked(*BATCH[2])
    answer = stocked(*BATCH[3])
    assert "Recorded as entry 19 (batch B1), made B1-C1, B1-C2." in answer.out


def test_the_same_command_id_is_recorded_once(stocked: Terminal) -> None:
    words = ("receive", "SUGAR", "1 kg", "--supplier", "MILL", "--lot", "S9", "--command-id", "mine-1")
    stocked(*words)
    before = stocked.root()
    assert "recorded before under this command id" in stocked(*words).all
    assert stocked.root() == before
    stocked.refused(
        "receive",
        "SUGAR",
        "2 kg",
        "--supplier",
        "MILL",
        "--lot",
        "S9",
        "--command-id",
        "mine-1",
        told=("mine-1", "[store.conflict]"),
    )


@pytest.mark.parametrize(
    ("words", "told"),
    [
        pytest.param(("receive", "SUGAR", "3 l", "--supplier", "MILL"), ("`l` measures volume, not mass", "27.5 lb", "[input.bad]"), id="a volume for a mass"),
        pytest.param(("receive", "SUGAR", "3 stones", "--supplier", "MILL"), ("`stones` is not a unit I know", "27.5 lb"), id="an unknown unit"),
        pytest.param(("receive", "SUGAR", "heavy", "--supplier", "MILL"), ("`heavy` cannot be read", "27.5 lb"), id="no number"),
        pytest.param(("receive", "SUGRA", "3 kg", "--supplier", "MILL"), ("SUGRA", "SUGAR", "[rule.unknown]"), id="an unknown material, the near one named"),
        pytest.param(("open", "LEMMON"), ("LEMMON", "LEMON", "[rule.unknown]"), id="an unknown flavour"),
        pytest.param(("receive", "SUGAR", "3 kg", "--supplier", "MILL", "--day", "2099-01-01"), ("2099-01-01", "future"), id="a day in the future"),
        pytest.param(("receive", "SUGAR", "3 kg", "--supplier", "MILL", "--day", "14 Feb"), ("`14 Feb` is no day", "2026-10-30"), id="no day"),
        pytest.param(("record", "cook", "[1]"), ("[1]", "named fields", "[input.bad]"), id="a list for a command"),
        pytest.param(("record", "define", '{"kind": "channel", "day": "14 Feb", "entry": {"id": "FAIR"}}'), ("`14 Feb` is no day", "2026-10-30"), id="no day for the book"),
        pytest.param(("record", "amend", '{"origin": "1", "day": "14 Feb", "reason": "x", "command": {"name": "work", "work": []}}'), ("`14 Feb` is no day",), id="no day for an amendment"),
        pytest.param(("sell", "LEMON-JAR", "1", "--over", "shop"), ("1 packs were asked for", "hold 0", "[rule.not-enough]"), id="nothing on the shelf"),
        pytest.param(("work", "AB=90 kg"), ("`kg` measures mass, not time", "1 h 20 min"), id="a mass for a time"),
        pytest.param(("count", "SUG-9", "--mass", "1 kg"), ("SUG-9", "slabbook stock --all", "[rule.unknown]"), id="an unknown lot"),
        pytest.param(("scrap", "SUG-1", "spilt", "--mass", "900 kg"), ("900.000 kg", "24.948 kg", "[rule.not-enough]"), id="more than is in the lot"),
        pytest.param(("record", "cook", "{"), ("line 1", "column"), id="broken JSON"),
        pytest.param(("record", "bake", "{}"), ("`bake` is not something to record",), id="an unknown command"),
        pytest.param(("record", "receive", '{"material": "SUGAR", "mas": "3 kg", "supplier": "MILL"}'), ("mas", "did you mean `mass`"), id="a misspelled field"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(stocked: Terminal, words: tuple[str, ...], told: tuple[str, ...]) -> None:
    stocked.refused(*words, told=told)


def test_a_cut_before_a_build_is_refused_with_the_way_out(stocked: Terminal) -> None:
    stocked(*BATCH[2])
    stocked(*BATCH[3])
    stocked.refused("cut", "B1", "--out", "5 kg", "--pieces", "100", "--day", DAY, told=("cut", "B1", "[rule.refused]"))


def test_more_than_the_lot_holds_is_refused_with_both_figures(stocked: Terminal) -> None:
    stocked(*BATCH[2])
    stocked.refused(
        "cook",
        "B1",
        "--in",
        "SYR-1=13 kg",
        "--end",
        "154 C",
        "--day",
        DAY,
        told=("13.000 kg", "12.400 kg", "SYR-1", "[rule.not-enough]"),
    )


def test_a_temperature_in_kilograms_is_refused(stocked: Terminal) -> None:
    stocked(*BATCH[2])
    stocked.refused("cook", "B1", "--in", "SUG-1=8 kg", "--end", "154 kg", "--day", DAY, told=("154 kg", "310 F"))


def test_every_problem_of_a_command_is_told_at_once(stocked: Terminal) -> None:
    stocked.refused(
        "record",
        "receive",
        '{"material": "SUGAR", "mass": "3 l", "day": "soon"}',
        told=("mass:", "day:", "supplier: is missing"),
    )


def test_words_missing_on_the_line_are_asked_for(stocked: Terminal) -> None:
    assert "--supplier" in stocked("receive", "SUGAR", "3 kg", code=2).err
    assert "No such command" in stocked("bakke", code=2).err


def test_held_lots_do_not_leave_until_released(lived: Terminal) -> None:
    lived("hold", "B1-J1", "--reason", "labels to be checked")
    lived.refused("sell", "LEMON-JAR", "1", "--over", "shop", "--lot", "B1-J1", told=("B1-J1", "labels to be checked"))
    lived("release", "B1-J1", "--reason", "labels are right")
    lived("sell", "LEMON-JAR", "1", "--over", "shop", "--lot", "B1-J1")


def test_a_stock_take_shows_as_a_flag_and_can_be_answered(lived: Terminal) -> None:
    answer = lived("count", "B1-J1", "--packs", "73")
    assert "Flag: Lot B1-J1: 73" in answer.all
    entry = str(lived.root()[0])
    lived("answer", entry, "count", "one stood in the window")
    assert "one stood in the window" in lived("flags", "--json").out


def test_jars_come_back_and_are_thrown_away(lived: Terminal) -> None:
    lived("return", "B1-J1", "1", "--over", "post", "--amount", "5.90")
    lived("scrap", "B1-J1", "broken", "--packs", "1")
    lot = json.loads(lived("stock", "--json").out)
    assert any("74" in str(row) for table in lot["tables"].values() for row in table["rows"])


def test_re_boil_is_a_lot_of_a_later_cook(lived: Terminal) -> None:
    lived("open", "LEMON", "--design", "SLICE", "--batch", "B2", "--day", "2026-02-16")
    lived(
        "cook",
        "B2",
        "--in",
        "SUG-1=8 kg",
        "--in",
        "SYR-1=5 kg",
        "--in",
        "B1-B1",
        "--water",
        "2 kg",
        "--end",
        "154 C",
        "--out",
        "12.4 kg",
        "--day",
        "2026-02-16",
    )
    takes = event(lived, "batch.cooked", 0).takes + event(lived, "batch.cooked", 1).takes
    assert ("B1-B1", 300_000) in {(t.lot, t.mass_mg) for t in takes}


def test_blending_makes_a_new_portion(stocked: Terminal) -> None:
    stocked(*BATCH[2])
    stocked(*BATCH[3])
    answer = stocked("blend", "B1", "--in", "B1-C1=400 g", "--in", "B1-C2=450 g", "--out", "rind=850 g", "--day", DAY)
    assert "made B1-" in answer.out


def test_the_book_loads_again_with_only_what_differs(stocked: Terminal, tmp_path: Any) -> None:
    from tests.interfaces.conftest import BOOK

    book = tmp_path / "book.toml"
    book.write_text(BOOK.replace('price = "5.90"', 'price = "6.20"'), encoding="utf-8")
    assert "1 recorded" in stocked("book", "load", str(book)).out
    before = stocked.root()
    assert "0 recorded" in stocked("book", "load", str(book)).out
    assert stocked.root() == before
    assert '"price": 620' in stocked("book", "show", "pack", "LEMON-JAR").out
    assert "version 2" in stocked("book", "history", "pack", "LEMON-JAR").out
    assert "station" in stocked("book", "show").out
    stocked.refused("book", "show", "pack", "LEMON-JRA", told=("LEMON-JRA", "LEMON-JAR"))


def test_a_book_of_one_kind_loads_from_csv(stocked: Terminal, tmp_path: Any) -> None:
    rows = tmp_path / "flavours.csv"
    rows.write_text("id;name\nPLUM;Plum\nLEMON;Sharp lemon\n", encoding="utf-8-sig")
    assert "1 recorded" in stocked("book", "load", str(rows), "--kind", "flavour").out
    assert "--kind" in stocked("book", "load", str(rows), code=2).err
