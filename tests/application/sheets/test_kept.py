"""A batch sheet is planned without a trace, kept with its batch in one transaction, and found again."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from ledger.application import sheets, sheets_plan
from ledger.application.ledger import Ledger, Order
from ledger.application.sheets import Ask
from ledger.craft.sheet import sheet_to_plain
from ledger.domain.batch import commands as c
from ledger.errors import Conflict, Refused, UnknownThing
from ledger.projections.check import verify
from tests.application.sheets.support import LEMON


def test_sizing_records_nothing(shop: Ledger):
    before = shop.queries.as_of()
    sheets.plan(shop, LEMON)
    assert shop.queries.as_of() == before


def test_the_sheet_that_is_kept_is_the_sheet_that_was_planned(shop: Ledger):
    before = shop.queries.as_of().position
    done = sheets.issue(shop, LEMON, "MK")
    assert sheets.kept(shop, done.batch) == done.planned.sheet
    log = shop.queries.log(after=before)
    assert list(log["name"]) == ["batch.opened", "batch.sheet-issued"]
    assert set(log["recorded_by"]) == {"MK"}
    assert done.planned.sheet.address == f"{shop.book().site().base_address}/batch?batch={done.batch}"


def test_every_gram_of_the_plan_has_a_place(shop: Ledger):
    sheet = sheets.plan(shop, LEMON).sheet
    assert (
        sum(line.mass_mg for line in sheet.charge)
        == sheet.cook.charge_mg
        == sheet.cook.cooked_mg + sheet.cook.boiled_off_mg
    )
    assert sum(p.make_mg for p in sheet.portions) == sum(p.mass_mg for p in sheet.pours) == sheet.cook.slab_mg
    for line in (*sheet.charge, *sheet.additions, *sheet.dyes):
        if line.role != "water":
            assert sum(lot.mass_mg for lot in line.lots) + line.short_mg == line.mass_mg


def test_a_command_id_that_comes_again_opens_no_second_batch(shop: Ledger):
    first = sheets.issue(shop, LEMON, "MK", "tap-1")
    at = shop.queries.as_of()
    again = sheets.issue(shop, LEMON, "MK", "tap-1")
    assert (again.batch, again.repeated, again.planned.sheet) == (first.batch, True, first.planned.sheet)
    assert shop.queries.as_of() == at


def test_a_command_id_is_remembered_however_many_sheets_came_after_it(shop: Ledger):
    first = sheets.issue(shop, LEMON, "MK", "tap-1")
    plain = sheet_to_plain(first.planned.sheet)
    day = shop.today()
    shop.do_all([Order(c.IssueSheet(day=day, batch=first.batch, sheet=plain), "MK", f"later-{n}") for n in range(201)])
    at = shop.queries.as_of()
    again = sheets.issue(shop, LEMON, "MK", "tap-1")
    assert (again.batch, again.repeated, again.last) == (first.batch, True, first.last)
    assert shop.queries.as_of() == at


def test_a_command_id_taken_by_something_else_is_a_conflict_and_opens_nothing(shop: Ledger):
    shop.do(
        c.CheckThermometer(day=shop.today(), station="K1", reading_mc=99_000, expected_mc=99_000), "MK", "tap-1-sheet"
    )
    at = shop.queries.as_of()
    with pytest.raises(Conflict, match="other content"):
        sheets.issue(shop, LEMON, "MK", "tap-1")
    assert shop.queries.as_of() == at


def test_a_code_that_somebody_else_took_meanwhile_gives_way_to_the_next(shop: Ledger, monkeypatch: pytest.MonkeyPatch):
    first = sheets.issue(shop, LEMON).batch
    honest, calls = sheets_plan._next_code, []

    def late(ledger: Ledger, day: str) -> str:
        calls.append(day)
        return first if len(calls) == 1 else honest(ledger, day)

    monkeypatch.setattr(sheets_plan, "_next_code", late)
    second = sheets.issue(shop, LEMON)
    assert second.batch != first and len(calls) == 2
    assert second.planned.sheet.batch == second.batch and second.planned.sheet.address.endswith(second.batch)


def test_a_code_given_to_a_batch_of_another_day_is_passed_over(shop: Ledger):
    code = sheets.plan(shop, LEMON).sheet.batch
    before = (date.fromisoformat(shop.today()) - timedelta(days=1)).isoformat()
    shop.do(c.OpenBatch(day=before, flavour="LEMON", batch=code))
    assert sheets.issue(shop, LEMON).batch == code[:-1] + chr(ord(code[-1]) + 1)


def test_a_second_sheet_of_a_batch_replaces_the_first_and_both_stay_in_the_log(shop: Ledger):
    first = sheets.issue(shop, LEMON)
    sheets.issue(shop, replace(LEMON, batch=first.batch, packs=60))
    assert sheets.kept(shop, first.batch).sizes.packs == 60
    assert sheets.kept(shop, first.batch, known=first.last).sizes.packs == 40


def test_a_sheet_for_tomorrow_opens_its_batch_today(shop: Ledger):
    tomorrow = (date.fromisoformat(shop.today()) + timedelta(days=1)).isoformat()
    done = sheets.issue(shop, replace(LEMON, day=tomorrow))
    assert done.planned.sheet.planned_for == tomorrow
    assert shop.queries.batches(names=[done.batch])["day"].iloc[0] == shop.today()


def test_an_open_batch_gets_a_sheet_and_a_closed_one_none(shop: Ledger):
    batch = shop.do(c.OpenBatch(day=shop.today(), flavour="LEMON", design="LEMON-SLICE")).batch
    assert sheets.issue(shop, replace(LEMON, batch=batch)).batch == batch
    with pytest.raises(Refused, match="opened for LEMON LEMON-SLICE"):
        sheets.issue(shop, Ask(design="TULIP", packs=40, batch=batch))
    closed = str(shop.queries.batches(status="closed", flavour="LEMON").iloc[0]["batch"])
    with pytest.raises(Refused, match="closed"):
        sheets.issue(shop, replace(LEMON, batch=closed))


def test_the_kept_tables_and_the_log_agree_after_sheets_and_checks(shop: Ledger):
    sheets.issue(shop, replace(LEMON, water_reads_mc=99_000))
    assert verify(shop.store).holds


def test_a_batch_without_a_sheet_says_how_to_get_one(shop: Ledger):
    with_sheets = {event.batch for _, event in shop.queries.papers("sheet")}
    closed = next(str(b) for b in shop.queries.batches(status="closed")["batch"] if b not in with_sheets)
    with pytest.raises(UnknownThing, match="slabbook sheet DESIGN --batch"):
        sheets.kept(shop, closed)
