"""The glossary says what the code computes, and the reference lists every column a report has.

`SLABBOOK_WRITE_DOCS=1 pytest tests/analytics/test_measure_docs.py` writes both files anew.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from ledger.analytics import yields
from ledger.analytics.measures import MEASURES, markdown
from ledger.application import reports as r
from ledger.application.report_text import unit_of
from ledger.application.reports_types import KINDS, Shop
from tests.analytics.workshop import weeks_of_work
from tests.support.shared import ROOT

GLOSSARY, REFERENCE = ROOT / "docs" / "glossary.md", ROOT / "docs" / "reference" / "measures.md"
MARK = "<!-- measures -->\n"
WRITE = bool(os.environ.get("SLABBOOK_WRITE_DOCS"))


def test_the_glossary_holds_every_measure_as_the_code_defines_it() -> None:
    head, _, found = GLOSSARY.read_text(encoding="utf-8").partition(MARK)
    if WRITE:
        GLOSSARY.write_text(head + MARK + markdown(), encoding="utf-8")
        found = markdown()
    assert found == markdown()
    words = [line.split("**")[1] for line in head.splitlines() if line.startswith("| **")]
    assert len(words) == len(set(words)) > 30


def test_every_ratio_has_a_definition() -> None:
    assert set(yields.RATIOS) <= {m.name for m in MEASURES}
    assert len({m.name for m in MEASURES}) == len(MEASURES)


def test_the_reference_lists_every_column(tmp_path: Path) -> None:
    ledger, _clock = weeks_of_work(f"sqlite:///{tmp_path / 'ledger.db'}")
    week = "2026-W45"
    reports = [
        r.week_report(ledger, week), r.stock_report(ledger), r.hours_report(ledger, "2026-W41", week), r.losses_report(ledger, "2026-W41", week),
        r.batch_report(ledger, "26306B"), r.control_report(ledger, "ANISE", "2026-W41", week), r.flags_report(ledger),
    ]  # fmt: skip
    ledger.close()
    text = _page(reports)
    if WRITE:
        REFERENCE.parent.mkdir(exist_ok=True)
        REFERENCE.write_text(text, encoding="utf-8")
    if not REFERENCE.exists():
        pytest.fail("docs/reference/measures.md is missing; write it with SLABBOOK_WRITE_DOCS=1")
    assert REFERENCE.read_text(encoding="utf-8") == text


def _page(reports: list[r.Report]) -> str:
    metric, us = Shop(), Shop(units="us", currency="USD")
    lines = [
        "# Reports, tables and columns", "",
        "*Reference, written from the code. Files and the API carry the figures as they are kept (`_mg`, `_s`, `_minor`, shares of 1);",
        "terminal and pages show them in the shop's units. What each measure means stands in the [glossary](../glossary.md).*", "",
        "## Kinds of figure", "", "| kind | kept as | metric | US |", "|---|---|---|---|",
        *(f"| `{kind}` | {means} | {unit_of(kind, metric)} | {unit_of(kind, us)} |" for kind, means in KINDS.items()),
    ]  # fmt: skip
    for report in reports:
        lines += ["", f"## `{report.name}`"]
        for name, table in report.tables.items():
            lines += ["", f"**`{name}`** {table.title}", "", "| column | over it | kind |", "|---|---|---|"]
            lines += [f"| `{c.name}` | {c.title} | `{c.kind}` |" for c in table.columns]
    return "\n".join(lines) + "\n"
