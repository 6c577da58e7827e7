"""No page reads more the longer the ledger gets: every big table is entered by an index of what is asked."""

from __future__ import annotations

import sqlite3
import threading

import pytest

from dashboard.page import pages
from dashboard.shell import render, render_filters
from ledger.application import audit_recall
from ledger.application.ledger import Ledger
from ledger.store.sqlite_backend import SqliteSession
from ledger.store.statements import Params, Row, Statement

GROWS = ("events", "postings", "edges", "lots", "batches", "papers")
BRIEF = ("LIMIT", "ix_lots_holding", "newest")
"""What makes a walk short: a limit, the index of only what is in stock, the walk from week to week."""


def test_no_page_walks_a_table_that_grows(demo: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLite's own plan of every statement behind every page: each big table is entered by more of an index than the site.

    Only what keeps the page waiting: how the season stands is read from its whole history in a thread, while the page is up.
    """
    asked: dict[str, Params] = {}
    here = threading.get_ident()

    def rows(self: SqliteSession, statement: Statement, params: Params = ()) -> list[Row]:
        sql, arranged = statement.arranged("sqlite", params)
        if threading.get_ident() == here:
            asked[sql] = arranged
        return self.execute(sql, arranged).fetchall()

    ledger = demo
    jar = str(ledger.queries.lots(kinds=["packs"])["lot"].iloc[0])
    if not ledger.queries.papers("recall"):
        audit_recall.start(ledger, jar, "drill", drill=True)
    monkeypatch.setattr(SqliteSession, "rows", rows)
    for page in pages():
        for search in ("", f"?mark={jar}&way=backward"):
            render_filters(ledger, page.path, search)
            render(ledger, page.path, search)
    plans = sqlite3.connect(str(ledger.store.url.database))
    walks = []
    for sql, params in asked.items():
        plan = [str(row[3]) for row in plans.execute(f"EXPLAIN QUERY PLAN {sql}", params)]
        names = {**{t: t for t in GROWS}, "p": "postings", "e": "edges"}
        for step in plan:
            word = step.split()
            table = names.get(word[1]) if word[0] in ("SCAN", "SEARCH") else None
            whole = word[0] == "SCAN" or step.endswith("(site=?)")
            if table and whole and not any(b in f"{sql} {step}" for b in BRIEF):
                walks.append((step, sql))
    assert len(asked) > 30 and walks == []
