"""A batch that was made, line by line beside its sheet."""

from __future__ import annotations

import pytest

from ledger.application import sheets, sheets_compare
from ledger.application.ledger import Ledger
from ledger.application.reports_types import basis
from ledger.domain.batch import commands as c
from ledger.domain.parts import Take
from tests.application.sheets.support import LEMON, make


def test_a_batch_made_as_planned_is_off_by_nothing(shop: Ledger):
    done = sheets.issue(shop, LEMON)
    make(shop, done.planned.sheet)
    _, lines, found = sheets_compare.compared(basis(shop), shop, done.batch)
    assert not found.beyond
    by_key = {line.key: line for line in lines}
    assert all(line.actual is not None for line in lines), [line.key for line in lines if line.actual is None]
    assert {
        key: line.off
        for key, line in by_key.items()
        if key.split(":")[0] in ("charge", "addition", "dye", "pour") and line.off
    } == {}
    assert (by_key["end"].off, by_key["good-pieces"].off, by_key["packs"].off, by_key["rods"].off) == (0, 0, 0, 0)
    # The blend is what is left of two pours, whose parts are rounded to the milligram: a few may lie between.
    assert all(abs(line.off or 0) <= 3 for key, line in by_key.items() if key.startswith("portion:"))


def test_a_heavy_pour_shows_as_over_and_a_report_says_so(shop: Ledger):
    done = sheets.issue(shop, LEMON)
    make(shop, done.planned.sheet, heavier=0.97)
    report = sheets_compare.batch_report(shop, done.batch)
    pours = report.tables["portions"].frame
    assert pours[pours.key.str.startswith("pour:")]["off_ratio"].tolist() == pytest.approx([-0.03] * 3, abs=1e-5)
    assert "3.0 % under" in report.sentence
    every = sheets_compare.all_report(shop)
    assert (
        every.tables["batches"].frame["batch"].tolist()[0] == done.batch
    )  # newest first; the demo has sheets of its own behind it


def test_what_was_recorded_and_never_planned_stands_apart(shop: Ledger):
    done = sheets.issue(shop, LEMON)
    sheet = done.planned.sheet
    extra = str(shop.queries.lots(kinds=["material"], item="MALIC")["lot"].iloc[0])
    sugar = next(line for line in sheet.charge if line.role == "sugar")
    takes = (Take(lot=sugar.lots[0].lot, mass_mg=1_000_000), Take(lot=extra, mass_mg=12_000))
    shop.do(c.Cook(day=shop.today(), batch=done.batch, takes=takes, water_mg=300_000))
    report = sheets_compare.batch_report(shop, done.batch)
    assert ("Malic acid", 12_000) in list(report.tables["beyond"].frame.itertuples(index=False, name=None))
    weighed = report.tables["materials"].frame.set_index("title")
    assert weighed.loc["Granulated sugar", "off"] == 1_000_000 - sugar.mass_mg
