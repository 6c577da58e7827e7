"""Dump, restore, back up while others write, verify, rebuild: the ledger can be carried away and trusted."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

from tests.interfaces.conftest import Terminal


def test_a_dump_restores_to_an_identical_ledger(demo: Terminal, tmp_path: Path) -> None:
    log, copy = tmp_path / "log.jsonl", tmp_path / "copy.sqlite"
    assert "Log written" in demo("dump", str(log)).out
    position, root = demo.root()
    assert len(log.read_text(encoding="utf-8").splitlines()) >= position
    answer = demo("restore", str(log), ledger=copy)
    assert f"Restored {position} entries" in answer.out and root in answer.out
    assert demo.root(copy) == (position, root)
    assert "The ledger holds." in demo("verify", ledger=copy).out
    week = json.loads(demo("week", "2026-W44", "--json").out)
    assert json.loads(demo("week", "2026-W44", "--json", ledger=copy).out) == week


def test_names_and_telephones_are_carried_in_a_file_of_their_own_that_only_the_owner_reads(
    demo: Terminal, tmp_path: Path
) -> None:
    log, people, copy = tmp_path / "log.jsonl", tmp_path / "people.toml", tmp_path / "copy.sqlite"
    told = demo("dump", str(log)).all
    assert "12 contacts (whom to call in a recall) are not in it; `--contacts FILE`" in told
    assert "Marram" not in log.read_text(encoding="utf-8") and "01632" not in log.read_text(encoding="utf-8")
    log.unlink()
    demo("dump", str(log), "--contacts", str(people))
    assert people.stat().st_mode & 0o077 == 0
    demo("restore", str(log), "--contacts", str(people), ledger=copy)
    found = [_contacts(path) for path in (demo.path, copy)]
    assert len(found[0]) == 12 and found[0] == found[1]
    demo.refused(
        "dump", str(tmp_path / "again.jsonl"), "--contacts", str(people), told=("people.toml", "there already")
    )


def test_a_restore_without_contacts_says_so_and_an_erased_name_is_not_in_the_next_file(
    demo: Terminal, tmp_path: Path
) -> None:
    log, people, copy = tmp_path / "log.jsonl", tmp_path / "people.toml", tmp_path / "copy.sqlite"
    demo("book", "forget", "worker", "TB")
    demo("dump", str(log), "--contacts", str(people))
    assert "Brask" not in people.read_text(encoding="utf-8") and "Hotel Marram" in people.read_text(encoding="utf-8")
    assert "a recall knows nobody to call" in demo("restore", str(log), ledger=copy).all
    assert _contacts(copy) == []
    demo("book", "load", str(people), ledger=copy)
    assert _contacts(copy) == _contacts(demo.path)


def _contacts(path: Path) -> list[tuple[str, ...]]:
    with sqlite3.connect(path) as db:
        return db.execute("SELECT kind, id, name, address, phone FROM contacts ORDER BY 1, 2").fetchall()


def test_a_dump_goes_to_standard_output_and_never_over_a_file(lived: Terminal, tmp_path: Path) -> None:
    lines = lived("dump", "-").out.splitlines()
    assert all(json.loads(line) for line in lines)
    taken = tmp_path / "log.jsonl"
    taken.write_text("mine", encoding="utf-8")
    lived.refused("dump", str(taken), told=(str(taken.name), "there already"))
    assert taken.read_text(encoding="utf-8") == "mine"


def test_a_dump_is_not_restored_over_a_ledger(lived: Terminal, tmp_path: Path) -> None:
    log = tmp_path / "log.jsonl"
    lived("dump", str(log))
    before = lived.root()
    answer = lived("restore", str(log), code=2)
    assert "28 events already; restore into a new database" in answer.err
    assert lived.root() == before


def test_a_changed_dump_is_not_believed(lived: Terminal, tmp_path: Path) -> None:
    log, copy = tmp_path / "log.jsonl", tmp_path / "copy.sqlite"
    lived("dump", str(log))
    text = log.read_text(encoding="utf-8")
    assert "8 kg 400 g" in text
    log.write_text(text.replace("8 kg 400 g", "8 kg 500 g"), encoding="utf-8")
    assert "line 19: it was changed" in lived("restore", str(log), ledger=copy, code=2).err
    assert lived.root(copy)[0] == 0


WRITER = """
import sys
from ledger.interfaces.cli.main import cli
for number in range(1000):
    cli.main(args=["--ledger", sys.argv[1], "receive", "SUGAR", "1 kg", "--supplier", "MILL", "--lot", f"W-{number}"], standalone_mode=False)
    print(number, flush=True)
"""


def test_a_backup_is_whole_while_another_process_writes(stocked: Terminal, tmp_path: Path) -> None:
    copy = tmp_path / "copy.sqlite"
    with subprocess.Popen(
        [sys.executable, "-c", WRITER, str(stocked.path)], stdout=subprocess.PIPE, text=True
    ) as writer:
        assert writer.stdout is not None
        try:
            while "Recorded" not in (line := writer.stdout.readline()) and not line.startswith("3"):
                assert line, "the writer died"
            before = stocked.root()[0]
            stocked("backup", str(copy))
            after = stocked.root()[0]
        finally:
            writer.kill()
            writer.stdout.read()
    position, _root = stocked.root(copy)
    assert before <= position <= after
    assert "The ledger holds." in stocked("verify", ledger=copy).out
    assert "The ledger holds." in stocked("verify").out


def test_a_backup_never_goes_over_a_file(lived: Terminal, tmp_path: Path) -> None:
    taken = tmp_path / "copy.sqlite"
    taken.write_text("mine", encoding="utf-8")
    assert lived("backup", str(taken), code=2).err
    assert taken.read_text(encoding="utf-8") == "mine"


def spoil(path: Path, *statements: str) -> None:
    connection = sqlite3.connect(path)
    with connection:
        for statement in statements:
            connection.execute(statement)
    connection.close()


def test_verify_leaves_with_one_when_a_kept_row_was_changed_and_rebuild_mends_it(lived: Terminal) -> None:
    spoil(lived.path, "UPDATE postings SET mass_mg = mass_mg + 1 WHERE known_from = 19 AND line = 0")
    answer = lived("verify", code=1)
    assert "FAILS" in answer.out and "does not hold" in answer.out
    told = json.loads(lived("verify", "--json", code=1).out)
    assert told["holds"] is False and any(not f["holds"] for f in told["findings"])
    assert "rebuilt from 28 entries" in lived("rebuild").out
    assert "The ledger holds." in lived("verify").out


def test_verify_leaves_with_one_when_an_entry_was_changed(lived: Terminal) -> None:
    connection = sqlite3.connect(lived.path)
    triggers = [r[0] for r in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")]
    connection.close()
    assert triggers
    spoil(
        lived.path,
        *(f"DROP TRIGGER {name}" for name in triggers),
        "UPDATE events SET payload = replace(payload, '8400000', '8400001') WHERE position = 19",
    )
    answer = lived("verify", code=1)
    assert "FAILS" in answer.out


def test_an_entry_cannot_be_changed_with_plain_sql(lived: Terminal) -> None:
    for statement in ("UPDATE events SET payload = '{}' WHERE position = 19", "DELETE FROM events WHERE position = 28"):
        with pytest.raises(sqlite3.DatabaseError):
            spoil(lived.path, statement)


@pytest.mark.parametrize("table", ["postings", "lots", "batches", "flags", "log", "book"])
def test_a_table_leaves_in_every_form_with_the_same_rows(lived: Terminal, tmp_path: Path, table: str) -> None:
    counts = set()
    for suffix, read in (
        (".csv", pd.read_csv),
        (".parquet", pd.read_parquet),
        (".xlsx", pd.read_excel),
        (".json", pd.read_json),
    ):
        file = tmp_path / f"{table}{suffix}"
        assert "rows written" in lived("export", table, str(file)).out
        try:
            counts.add(len(read(file)))
        except pd.errors.EmptyDataError:
            counts.add(0)
    assert len(counts) == 1
    lived.refused("export", table, str(tmp_path / "x.doc"), told=(".doc", ".xlsx"))


def test_exported_postings_sum_to_zero(lived: Terminal, tmp_path: Path) -> None:
    file = tmp_path / "postings.parquet"
    lived("export", "postings", str(file))
    sums = pd.read_parquet(file).groupby("known_from")[["mass_mg", "pieces", "packs", "seconds", "money"]].sum()
    assert len(sums) and not sums.to_numpy().any()


def test_the_demo_goes_only_into_an_empty_ledger(lived: Terminal) -> None:
    lived.refused("demo", "--weeks", "1", told=("entries already", "--ledger"))


def test_a_file_that_is_no_ledger_is_told(lived: Terminal, tmp_path: Path) -> None:
    other = tmp_path / "letter.txt"
    other.write_text("Dear Sir", encoding="utf-8")
    answer = lived("week", ledger=other, code=1)
    assert "letter.txt" in answer.err and "store." in answer.err
