"""Receipts, batches and daily sales from a CSV file: mapped, tried dry, every bad row named, all or nothing, safe to run twice."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.interfaces.conftest import Terminal
from tests.interfaces.test_recording import event

RECEIPTS = "day,material,mass,supplier,supplier_lot,lot,cost\n2026-02-03,SUGAR,25 kg,MILL,D1,R-1,23.00\n2026-02-03,SYRUP,55 lb,MILL,,R-2,28.75\n"
BATCHES = (
    "batch,flavour,design,day,in,water,end_temperature,poured,pieces,cut,reboil,lost,pack,packs,work,note\n"
    'B7,LEMON,SLICE,2026-02-16,"SUG-1=8 kg; SYR-1=5 kg",2.5 kg,310 F,12.2 kg,4900,11.2 kg,0.3 kg,"ends=0.3 kg; crumbs=0.2 kg",LEMON-JAR,95,'
    '"AB=2 h; CD=1 h 30 min",told on paper\n'
)
SALES = "day,pack,packs,channel,amount\n2026-02-18,LEMON-JAR,3,shop,17.70\n2026-02-18,LEMON-JAR,2,post,11.80\n2026-02-18,LEMON-JAR,3,shop,17.70\n"


def written(tmp_path: Path, text: str, encoding: str = "utf-8") -> str:
    file = tmp_path / "rows.csv"
    file.write_text(text, encoding=encoding, newline="")
    return str(file)


def test_receipts_become_lots(stocked: Terminal, tmp_path: Path) -> None:
    assert (
        "2 rows read, 2 commands recorded, 0 problems" in stocked("import", "receipts", written(tmp_path, RECEIPTS)).out
    )
    second = event(stocked, "lot.received", 3).gives[0]
    assert (second.lot, second.item, second.mass_mg, second.cost) == ("R-2", "SYRUP", round(55 * 453_592.37), 2_875)


def test_a_batch_in_one_row_becomes_its_steps(stocked: Terminal, tmp_path: Path) -> None:
    stocked("import", "batches", written(tmp_path, BATCHES))
    story = stocked("log", "--batch", "B7").out
    for name in (
        "batch.opened",
        "batch.cooked",
        "batch.built",
        "batch.rolled",
        "batch.cut",
        "batch.packed",
        "batch.closed",
    ):
        assert name in story
    cut = event(stocked, "batch.cut")
    assert cut.gives[0].pieces == 4_900 and {x.cause: x.mass_mg for x in cut.losses} == {
        "ends": 300_000,
        "crumbs": 200_000,
    }
    assert event(stocked, "batch.cooked").work[1].seconds == 5_400
    assert "The ledger holds." in stocked("verify").out


def test_two_rows_that_say_the_same_are_two_sales(lived: Terminal, tmp_path: Path) -> None:
    assert "3 rows read, 3 commands recorded" in lived("import", "sales", written(tmp_path, SALES)).out


def test_a_file_run_twice_records_nothing_new(lived: Terminal, tmp_path: Path) -> None:
    file = written(tmp_path, SALES)
    lived("import", "sales", file)
    before = lived.root()
    assert "0 commands recorded, 3 were there already" in lived("import", "sales", file).out
    assert lived.root() == before


def test_a_row_added_later_is_the_only_one_recorded(lived: Terminal, tmp_path: Path) -> None:
    lived("import", "sales", written(tmp_path, SALES))
    longer = SALES.replace("amount\n", "amount\n2026-02-19,LEMON-JAR,1,shop,5.90\n")
    assert "1 commands recorded, 3 were there already" in lived("import", "sales", written(tmp_path, longer)).out


def test_a_dry_run_writes_nothing_and_says_what_would_be(lived: Terminal, tmp_path: Path) -> None:
    before = lived.root()
    answer = lived("import", "sales", written(tmp_path, SALES), "--dry-run")
    assert "Dry run: 3 rows read, 3 entries would be recorded" in answer.out
    assert lived.root() == before


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        pytest.param(SALES.replace(",", ";").replace(".70", ",70"), "utf-8", id="semicolons and decimal commas"),
        pytest.param(SALES, "utf-8-sig", id="with a byte order mark"),
        pytest.param(SALES.replace("\n", "\r\n"), "utf-8", id="lines from Windows"),
        pytest.param(SALES.replace(",", "\t"), "utf-8", id="tabs"),
        pytest.param(SALES + "\n,,,,\n", "utf-8", id="empty lines"),
    ],
)
def test_a_file_from_any_spreadsheet_is_read(lived: Terminal, tmp_path: Path, text: str, encoding: str) -> None:
    assert "3 rows read, 3 commands recorded" in lived("import", "sales", written(tmp_path, text, encoding)).out
    assert event(lived, "shelf.sold", 1).money == 1_770


BAD = (
    "day,pack,packs,channel,amount\n"
    "2026-02-18,LEMON-JAR,3,shop,17.70\n"
    "18.2.26,LEMON-JAR,3,shop,17.70\n"
    "2026-02-18,LEMON-JRA,3,shop,17.70\n"
    "2026-02-18,LEMON-JAR,three,shop,17.70\n"
    "2026-02-18,LEMON-JAR,9000,shop,17.70\n"
)


def test_every_bad_row_is_named_with_line_column_value_and_why_and_nothing_is_written(
    lived: Terminal, tmp_path: Path
) -> None:
    before = lived.root()
    answer = lived("import", "sales", written(tmp_path, BAD), code=2)
    told = answer.err.splitlines()
    assert "line 3, column day, value `18.2.26`" in told[0] and "2026-10-30" in told[0]
    assert "line 4, column pack, value `LEMON-JRA`" in told[1] and "LEMON-JAR" in told[1]
    assert "line 5, column packs, value `three`" in told[2] and "5016" in told[2]
    assert "line 6, column packs, value `9000`" in told[3] and "hold 71" in told[3]
    assert len(told) == 4 and "5 rows read, 4 problems: nothing was written" in answer.out
    assert lived.root() == before


def test_partial_records_the_good_rows_and_still_names_the_bad(lived: Terminal, tmp_path: Path) -> None:
    before = lived.root()[0]
    answer = lived("import", "sales", written(tmp_path, BAD), "--partial")
    assert "5 rows read, 1 commands recorded, 4 problems" in answer.out and len(answer.err.splitlines()) == 4
    assert lived.root()[0] == before + 1


MAP = """
[columns]
"Date" = "day"
"Product" = "pack"
"Qty" = "packs"
"Till" = "-"
[defaults]
channel = "shop"
[values.pack]
"Lemon jar 113 g" = "LEMON-JAR"
"""


def test_a_mapping_file_turns_foreign_columns_and_values_into_ours(lived: Terminal, tmp_path: Path) -> None:
    mapping = tmp_path / "map.toml"
    mapping.write_text(MAP, encoding="utf-8")
    rows = written(tmp_path, "Date;Product;Qty;Till\n2026-02-18;Lemon jar 113 g;4;2\n2026-02-18;Plum jar;1;2\n")
    answer = lived("import", "sales", rows, "--map", str(mapping), "--partial")
    assert "2 rows read, 1 commands recorded" in answer.out
    assert "line 3, column Product, value `Plum jar`" in answer.err
    sold = event(lived, "shelf.sold", 1)
    assert (sold.pack, sold.channel, sum(t.packs for t in sold.takes)) == ("LEMON-JAR", "SHOP", 4)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "The file is empty"),
        ("day,pack\n2026-02-18,LEMON-JAR,3,shop\n", "Line 2 has more values than the head has columns"),
        ("date,pack,packs,channel\n2026-02-18,LEMON-JAR,3,shop\n", "column date"),
    ],
)
def test_a_file_that_is_no_table_is_refused(lived: Terminal, tmp_path: Path, text: str, told: str) -> None:
    before = lived.root()
    assert told in lived("import", "sales", written(tmp_path, text), code=2).err
    assert lived.root() == before


def test_a_file_in_another_encoding_is_told(lived: Terminal, tmp_path: Path) -> None:
    answer = lived("import", "sales", written(tmp_path, SALES.replace("LEMON-JAR", "CITROËN"), "latin-1"), code=2)
    assert "UTF-8" in answer.err


def test_a_strange_mapping_file_is_refused(lived: Terminal, tmp_path: Path) -> None:
    mapping = tmp_path / "map.toml"
    for text, told in (("[colums]\n", "colums"), ("[columns\n", "cannot be read")):
        mapping.write_text(text, encoding="utf-8")
        lived.refused("import", "sales", written(tmp_path, SALES), "--map", str(mapping), told=(told,))


def test_a_bad_step_of_a_batch_is_named_with_its_line(stocked: Terminal, tmp_path: Path) -> None:
    answer = stocked("import", "batches", written(tmp_path, BATCHES.replace("SUG-1=8 kg", "SUG-1=80 kg")), code=2)
    assert "line 2" in answer.err and "80.000 kg" in answer.err and "24.948 kg" in answer.err
    assert "batch.opened" not in stocked("log").out


def test_one_row_that_cannot_be_read_keeps_all_the_others_out(lived: Terminal, tmp_path: Path) -> None:
    before = lived.root()
    rows = SALES + "18.2.26,LEMON-JAR,1,shop,5.90\n"
    answer = lived("import", "sales", written(tmp_path, rows), code=2)
    assert "4 rows read, 1 problems: nothing was written" in answer.out
    assert lived.root() == before
