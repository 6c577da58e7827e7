"""What the command line says reaches every terminal, file and pipe, whatever the system's own encoding.

cp1252 is the code page of a Western Windows: what Python takes there for a file or a pipe (Python's documentation of `sys.stdout`).
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from io import BytesIO, TextIOWrapper
from pathlib import Path

import pytest

from ledger.application.ledger import open_ledger
from ledger.domain.books.commands import Define
from ledger.domain.books.entries import Flavour, Site
from ledger.interfaces.cli.main import main
from ledger.interfaces.cli.streams import PLAIN

SAID = "Crème brûlée, 1\u202f440 g – half"


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    ledger = open_ledger(f"sqlite:///{tmp_path}/shop.sqlite")
    ledger.do(Define(day=ledger.today(), entry=Site(id="LOFT", name="The loft")))
    ledger.do(Define(day=ledger.today(), entry=Flavour(id="BRULEE", name=SAID)))
    ledger.close()
    return tmp_path / "shop.sqlite"


def slabbook(shop: Path, *words: str, **system: str) -> subprocess.CompletedProcess[bytes]:
    """The real command in a process of its own, with its output in a pipe."""
    env = {k: v for k, v in os.environ.items() if k not in ("PYTHONIOENCODING", "PYTHONUTF8")} | system
    return subprocess.run(
        [sys.executable, "-m", "ledger.interfaces.cli.main", "--ledger", str(shop), *words],
        capture_output=True,
        env=env,
        check=False,
    )


def test_into_a_pipe_goes_utf_8_whatever_the_locale(shop: Path) -> None:
    done = slabbook(
        shop, "book", "show", "flavour", "BRULEE", "--json", LC_ALL="C", PYTHONCOERCECLOCALE="0", PYTHONUTF8="0"
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout.decode("utf-8"))[0]["name"] == SAID


def spoken(shop: Path, patch: pytest.MonkeyPatch, encoding: str, *words: str) -> tuple[int, str, str]:
    """Exit code and both streams of a command in this process, on streams of one encoding that somebody asked for."""
    out, err = (TextIOWrapper(BytesIO(), encoding=encoding, write_through=True) for _ in range(2))
    patch.setenv("PYTHONIOENCODING", encoding)
    patch.setenv("COLUMNS", "140")
    patch.setattr(sys, "stdout", out)
    patch.setattr(sys, "stderr", err)
    with pytest.raises(SystemExit) as left:
        main(["--ledger", str(shop), *words])
    patch.undo()
    told = [stream.buffer.getvalue().decode(encoding) for stream in (out, err)]  # type: ignore[attr-defined]
    return int(left.value.code or 0), *told


@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "cp850"])
def test_a_code_page_that_was_asked_for_loses_no_figure(
    shop: Path, monkeypatch: pytest.MonkeyPatch, encoding: str
) -> None:
    code, told, wrong = spoken(shop, monkeypatch, encoding, "book", "show", "flavour")
    assert (code, wrong) == (0, "")
    assert "1 440 g" in told and "half" in told
    assert ("Crème" in told) == (encoding != "ascii")


def test_a_refusal_is_told_in_a_code_page_too(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    code, told, wrong = spoken(shop, monkeypatch, "ascii", "book", "show", "flavour", "naïveté–")
    assert (code, told) == (2, "") and "There is no flavour `na?vet?-`" in wrong


def test_plain_signs_are_plain() -> None:
    assert all(plain.isascii() for plain in PLAIN.values())
