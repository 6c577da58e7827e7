"""The indexes of only some rows serve the questions they were made for (SQLite's own plan says so)."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from sqlalchemy import select

from ledger.projections import statements
from ledger.projections.tables import in_batch, lots, postings
from ledger.store import open_store
from ledger.store.statements import SQLITE, Statement


@pytest.mark.parametrize(
    ("statement", "index"),
    [
        (statements.ORIGINS_OF_LOT, "ix_postings_lot"),
        (statements.LOTS_OF_ITEM, "ix_lots_holding"),
        (Statement(select(postings.c.line).where(postings.c.site == "s", in_batch(postings, "26303-1"))), "ix_postings_in_batch"),
    ],
)  # fmt: skip
def test_a_partial_index_serves_its_question(tmp_path: Path, statement: Statement, index: str) -> None:
    assert index in plan_of(tmp_path, statement)


def test_a_question_that_leaves_the_condition_out_is_not_served(tmp_path: Path) -> None:
    bare = Statement(select(lots.c.lot).where(lots.c.site == "s", lots.c.item == "LEMON-JAR"))
    assert "ix_lots_holding" not in plan_of(tmp_path, bare)


def plan_of(folder: Path, statement: Statement) -> str:
    store = open_store(f"sqlite:///{folder / 'plan.db'}")
    store.create()
    store.close()
    sql = statement.on(SQLITE).sql
    with sqlite3.connect(folder / "plan.db") as connection:
        return " ".join(row[3] for row in connection.execute(f"EXPLAIN QUERY PLAN {sql}", ("?",) * sql.count("?")))
