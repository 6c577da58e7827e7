"""What the command line says reaches every terminal, file and pipe, whatever the system's own encoding.

cp1252 is the code page of a Western Windows: what Python takes there for a file or a pipe (Python's documentation of `sys.stdout`).
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from ledger.application.ledger import open_ledger
from ledger.domain.books.commands import Define
from ledger.domain.books.entries import Flavour, Site
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


@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "cp850"])
def test_a_code_page_that_was_asked_for_loses_no_figure(shop: Path, encoding: str) -> None:
    done = slabbook(shop, "book", "show", "flavour", PYTHONIOENCODING=encoding)
    assert (done.returncode, done.stderr) == (0, b"")
    told = done.stdout.decode(encoding)
    assert "1 440 g" in told and ("half" in told)
    assert ("Crème" in told) == (encoding != "ascii")


def test_a_refusal_is_told_in_a_code_page_too(shop: Path) -> None:
    done = slabbook(shop, "book", "show", "flavour", "naïveté–", PYTHONIOENCODING="ascii")
    assert done.returncode == 2 and b"There is no flavour" in done.stderr and b"Traceback" not in done.stderr


def test_plain_signs_are_plain() -> None:
    assert all(plain.isascii() for plain in PLAIN.values())
