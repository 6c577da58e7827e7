"""Every report as a table, as JSON, as CSV and in a file; and as it was known."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pandas as pd
import pytest

from tests.interfaces.conftest import Terminal

WEEKS = ("2026-W43", "2026-W46")
REPORTS = [
    ("week", "2026-W44"), ("stock",), ("hours", *WEEKS), ("losses", *WEEKS), ("flags", *WEEKS), ("control", "LEMON", "2026-W40", "2026-W47"),
    ("batch", "26295A"), ("stock", "--all"),
]  # fmt: skip
NAMES = [" ".join(words) for words in REPORTS]


@pytest.mark.parametrize("words", REPORTS, ids=NAMES)
def test_a_report_reads_as_a_table_and_as_json(demo: Terminal, words: tuple[str, ...]) -> None:
    data = json.loads(demo(*words, "--json").out)
    text = demo(*words).out
    assert data["title"] in text and f"As of entry {data['as_of']['position']}" in text
    for table in data["tables"].values():
        if table["rows"]:
            assert table["title"] in text
            for row in table["rows"]:
                assert set(row) >= {c["name"] for c in table["columns"]}


@pytest.mark.parametrize("words", REPORTS, ids=NAMES)
def test_a_report_leaves_as_csv_with_the_same_figures_as_json(demo: Terminal, words: tuple[str, ...]) -> None:
    first = next(iter(json.loads(demo(*words, "--json").out)["tables"].values()))
    rows = list(csv.DictReader(io.StringIO(demo(*words, "--csv").out)))
    assert len(rows) == len(first["rows"])
    for row, told in zip(rows, first["rows"], strict=True):
        for name, value in told.items():
            assert row[name] == ("" if value is None else str(value)), name


@pytest.mark.parametrize("suffix", [".csv", ".parquet", ".xlsx", ".json"])
def test_a_report_goes_to_a_file(demo: Terminal, tmp_path: Path, suffix: str) -> None:
    file = tmp_path / f"week{suffix}"
    only = () if suffix == ".xlsx" else ("--table", "flavours")
    assert "written to" in demo("week", "2026-W44", "--to-file", str(file), *only).out
    read = {
        ".csv": pd.read_csv,
        ".parquet": pd.read_parquet,
        ".json": pd.read_json,
        ".xlsx": lambda f: pd.read_excel(f, sheet_name="flavours"),
    }
    frame = read[suffix](file)  # type: ignore[operator]
    told = json.loads(demo("week", "2026-W44", "--json").out)["tables"]["flavours"]
    assert int(frame["packed"].sum() if "packed" in frame else len(frame)) >= len(told["rows"])
    assert len(frame) == len(told["rows"])


def test_a_report_as_xlsx_has_a_sheet_for_every_table(demo: Terminal, tmp_path: Path) -> None:
    file = tmp_path / "week.xlsx"
    demo("week", "2026-W44", "--to-file", str(file))
    tables = json.loads(demo("week", "2026-W44", "--json").out)["tables"]
    assert list(pd.read_excel(file, sheet_name=None)) == [name[:31] for name in tables]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("week", "2026-W99"), ("2026-W99", "W53")),
        (("week", "week 44"), ("week 44", "2026-W44")),
        (("losses", "2026-W44", "2026-W40"), ("2026-W40", "2026-W44", "Turn them round")),
        (("batch", "26399A"), ("26399A", "[rule.unknown]")),
        (("control", "LEMMON"), ("LEMMON", "LEMON")),
        (("week", "--as-known", "999999999"), ("999999999",)),
        (("week", "2026-W44", "--table", "flavour"), ("`flavour` is no table of this report", "flavours")),
        (("week", "2026-W44", "--to-file", "week.doc"), (".doc", ".xlsx")),
        (("week", "2026-W44", "--to-file", "week.csv"), ("holds one table", ".xlsx")),
    ],
    ids=lambda words: " ".join(words),
)
def test_a_question_that_cannot_be_answered_is_refused(
    demo: Terminal, words: tuple[str, ...], told: tuple[str, ...]
) -> None:
    demo.refused(*words, told=told)


def test_a_report_can_be_asked_as_known_on_a_day_or_after_an_entry(demo: Terminal) -> None:
    known = json.loads(demo("week", "2026-W44", "--as-known", "1000", "--json").out)
    assert known["as_of"]["position"] == 1000
    for words in (("stock",), ("hours", *WEEKS), ("losses", *WEEKS), ("flags", *WEEKS)):
        assert json.loads(demo(*words, "--as-known", "1000", "--json").out)["as_of"]["position"] == 1000
    nothing = json.loads(demo("week", "2026-W44", "--as-known", "2020-01-01", "--json").out)
    assert nothing["as_of"]["position"] == 0


def test_the_log_is_read_newest_first_and_filtered(demo: Terminal) -> None:
    rows = json.loads(demo("log", "--name", "batch.cooked", "--most", "3", "--json").out)
    assert [r["name"] for r in rows] == ["batch.cooked"] * 3
    assert rows[0]["position"] > rows[-1]["position"]
    assert "batch/26295A" in demo("log", "--batch", "26295A").out
    assert "Log, newest first" in demo("log", "--text", "winter closure").out


@pytest.mark.parametrize("width", [100, 150])
@pytest.mark.parametrize("words", REPORTS, ids=NAMES)
def test_tables_fit_the_terminal_and_words_keep_room(
    demo: Terminal, words: tuple[str, ...], width: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    lines = demo(*words).out.splitlines()
    tables = [line for line in lines[lines.index("") if "" in lines else 2 :] if "  " in line.strip()]
    assert all(len(line.rstrip()) <= width for line in tables), max(tables, key=len)
    if words[0] == "week":
        names = [line[:12].strip() for line in tables]
        assert any("Peppermint" in n for n in names), "a flavour's name is not broken into letters"


def test_pages_and_tables_are_the_same_figures_in_us_units(demo: Terminal, tmp_path: Path) -> None:
    book = tmp_path / "us.toml"
    book.write_text('[site.LOFT]\nunits = "us"\n', encoding="utf-8")
    metric = json.loads(demo("week", "2026-W44", "--json").out)
    demo("book", "load", str(book))
    us = json.loads(demo("week", "2026-W44", "--json").out)
    assert us["tables"]["flavours"]["rows"] == metric["tables"]["flavours"]["rows"]
    assert us["units"] == "us" and " lb" in demo("week", "2026-W44").out
