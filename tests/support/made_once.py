"""Files that cost time to make, made once a test run however many processes share the work; a test that writes takes a copy."""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from ledger.application.ledger import Ledger, open_ledger
from seeds.shop import fill

LONGEST_WAIT = 900
"""Seconds one process waits for another to finish making a file."""


def made_once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], object]) -> Path:
    """The file of this name, made by the first process of the run that asks for it; the others wait for it. Read it, or copy it; never write to it.

    The folder belongs to the run and goes with it, so nothing is ever taken from an earlier one. The lock is SQLite's own: it is let
    go when its holder dies.
    """
    folder = factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        folder = folder.parent  # the workers' folders lie in the run's
    folder = folder / "made-once"
    folder.mkdir(exist_ok=True)
    target, part = folder / name, folder / f"{name}.part"
    with closing(sqlite3.connect(folder / f"{name}.lock", timeout=LONGEST_WAIT, isolation_level=None)) as door:
        door.execute("BEGIN EXCLUSIVE")
        if not target.exists():
            for left in folder.glob(f"{name}.part*"):  # by a process that was killed
                left.unlink()
            make(part)
            assert not list(folder.glob(f"{name}.part-*")), (
                "the ledger was left open: its last entries are not in its file"
            )
            part.rename(target)
    return target


def invented_shop(factory: pytest.TempPathFactory, weeks: int) -> Path:
    """So many weeks of the invented shop in an SQLite file, as they come from its usual seed."""
    return made_once(factory, f"shop-{weeks}-weeks.sqlite", lambda path: fill(f"sqlite:///{path}", weeks=weeks))


def copied(source: Path, target: Path) -> Path:
    """A copy that a test may write to."""
    shutil.copy(source, target)
    return target


def own_ledger(source: Path, folder: Path) -> Ledger:
    """A ledger that a test may write to: a copy of a made one, in the test's folder."""
    return open_ledger(f"sqlite:///{copied(source, folder / 'shop.sqlite')}")


__all__ = ["copied", "invented_shop", "made_once", "own_ledger"]
