"""The tutorial is typed along exactly as printed: every command, every line of output it promises."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner

from ledger.application.ledger import open_ledger
from ledger.errors import SlabbookError
from ledger.interfaces.cli.main import cli
from seeds import first_day

PAGE = Path(__file__).parents[2] / "docs" / "tutorial" / "first-day.md"


def blocks() -> list[tuple[str, str]]:
    return re.findall(r"```(sh|text)\n(.*?)```", PAGE.read_text(encoding="utf-8"), flags=re.DOTALL)


def typed() -> list[str]:
    return [
        line for kind, text in blocks() if kind == "sh" for line in text.splitlines() if line.startswith("slabbook")
    ]


def run(line: str, ledger: str) -> str:
    words = ["--ledger", ledger, "--by", "MK", *first_day.arguments(line)]
    result = CliRunner().invoke(cli, words, standalone_mode=False)
    if isinstance(result.exception, SlabbookError):
        return f"{result.exception.message}  [{result.exception.code}]"
    assert result.exception is None, (line, result.exception)
    return result.output


def test_every_command_of_the_tutorial_answers_what_the_page_says(sqlite_url: str) -> None:
    said = ""
    for kind, text in blocks():
        if kind == "sh":
            said = "".join(run(line, sqlite_url) for line in text.splitlines() if line.startswith("slabbook"))
        else:
            told = " ".join(said.split())
            for line in text.splitlines():
                assert " ".join(line.split()) in told, line


def test_the_file_to_load_holds_the_same_commands_as_the_page() -> None:
    recording = [x for x in typed() if shlex.split(x)[1] not in ("week", "verify") and "200" not in shlex.split(x)]
    assert recording == first_day.lines()


def test_the_day_loads_in_one_call_and_balances(sqlite_url: str) -> None:
    assert first_day.record(sqlite_url) == len(first_day.lines())
    ledger = open_ledger(sqlite_url, create=False)
    postings = ledger.queries.postings()
    assert not postings.groupby("known_from")[["mass_mg", "pieces", "packs", "seconds", "money"]].sum().to_numpy().any()
    assert ledger.queries.lot("L1-J1")["packs"] == 95  # type: ignore[index]
    ledger.close()


@pytest.mark.parametrize("figure", ["11.500 kg of good pieces", "89.9 %"])
def test_the_yield_on_the_page_is_the_mass_identity_of_a_cook(figure: str) -> None:
    """Charge = evaporated + cooked; cooked = solids / (1 - moisture); process yield = sound mass / theory (common trade arithmetic)."""
    solids = 8.4 * 0.9995 + 5 * 0.803 + 0.110 * 0.995 + 0.014 + 0.003 * 0.96
    assert figure in PAGE.read_text(encoding="utf-8")
    assert round(100 * 11.5 / (solids / 0.98), 1) == 89.9
