"""The whole path on both databases: idempotent commands, rebuild equals live, as it was known, nothing written on refusal."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor, wait

import pytest
from sqlalchemy import func, select

from ledger.domain.batch import commands as bc
from ledger.domain.books.commands import Define
from ledger.domain.parts import Take
from ledger.domain.shelf import commands as sc
from ledger.errors import Conflict, SlabbookError, StepsInTheWay
from ledger.projections.check import verify
from ledger.projections.rebuild import rebuild
from ledger.projections.tables import lots
from ledger.store import dump_lines, open_store, restore_lines
from ledger.store.statements import Statement
from tests.support.given_when_then import BATCH, BOOK, DAY, KG, cook
from tests.support.histories import opening
from tests.support.ledgers import ledger_at, live, tables

pytestmark = pytest.mark.slow


@pytest.fixture
def ledger(ledger_url):
    ledger = ledger_at(ledger_url)
    for command in opening():
        ledger.do(command, "AB")
    yield ledger
    ledger.close()


def test_a_command_sent_twice_is_recorded_once_and_answers_the_same(ledger):
    first = ledger.do(bc.OpenBatch(day=DAY, flavour="LEMON"), "AB", command_id="once")
    again = ledger.do(bc.OpenBatch(day=DAY, flavour="LEMON"), "AB", command_id="once")
    assert (again.first, again.batch, again.repeated) == (first.first, first.batch, True)
    assert list(ledger.queries.batches().batch) == [BATCH]


def test_a_command_id_with_other_content_is_a_conflict(ledger):
    ledger.do(bc.OpenBatch(day=DAY, flavour="LEMON"), "AB", command_id="once")
    with pytest.raises(Conflict, match="once"):
        ledger.do(bc.OpenBatch(day=DAY, flavour="LEMON", note="other"), "AB", command_id="once")


def test_a_refused_command_is_not_remembered(ledger):
    with pytest.raises(SlabbookError):
        ledger.do(cook(), "AB", command_id="early")
    ledger.do(bc.OpenBatch(day=DAY, flavour="LEMON"), "AB")
    assert ledger.do(cook(), "AB", command_id="early").first


def test_loading_the_book_again_records_only_what_differs(ledger):
    before = ledger.queries.as_of().position
    outcomes = [ledger.do(Define(day=DAY, entry=e), "AB") for e in BOOK]
    assert not any(o.first for o in outcomes)
    assert ledger.queries.as_of().position == before


def test_many_commands_are_all_recorded_or_none(ledger):
    from ledger.application.ledger import Order

    before = ledger.queries.as_of().position
    with pytest.raises(SlabbookError):
        ledger.do_all([Order(bc.OpenBatch(day=DAY, flavour="LEMON")), Order(cook()), Order(cook(batch="NONE"))])
    assert ledger.queries.as_of().position == before
    assert ledger.queries.batches().empty


def test_a_report_as_known_then_is_what_it_was_then(ledger):
    ledger.do(bc.OpenBatch(day=DAY, flavour="LEMON", design="STAR"), "AB")
    cooked = ledger.do(cook(), "AB").first
    kept = ledger.queries.weekly("2026-W07")
    known = ledger.queries.as_of().position
    ledger.do(bc.Amend(day=DAY, origin=cooked, command=cook(water_mg=2 * KG), reason="misread"), "AB")
    ledger.do(sc.NoteRunOut(day=DAY, flavour="LEMON", channel="SHOP"), "AB")
    again = ledger.queries.weekly("2026-W07", known=known)
    key = list(kept.columns[:8])
    assert again.sort_values(key).values.tolist() == kept.sort_values(key).values.tolist()
    assert ledger.queries.weekly("2026-W07").sort_values(key).values.tolist() != kept.sort_values(key).values.tolist()


def test_another_process_sees_what_was_recorded_and_can_go_on(ledger, ledger_url):
    ledger.do(bc.OpenBatch(day=DAY, flavour="LEMON"), "AB")
    other = ledger_at(ledger_url)
    other.store.ids.number = 10_000
    other.do(cook(), "CD")
    with pytest.raises(SlabbookError, match="no rods"):
        ledger.do(bc.CutRods(day=DAY, batch=BATCH), "AB")
    ledger.do(bc.Pull(day=DAY, batch=BATCH, takes=(Take(lot=f"{BATCH}-C2", basis="all"),)), "AB")
    assert verify(ledger.store).holds
    other.close()


@pytest.mark.parametrize("seed", [3, 11])
def test_a_rebuild_after_any_history_writes_the_same_rows(ledger_url, seed):
    ledger = ledger_at(ledger_url)
    live(ledger, seed, 45)
    assert verify(ledger.store).holds
    before = tables(ledger)
    seen: list[tuple[int, int]] = []
    rebuild(ledger.store, lambda done, whole: seen.append((done, whole)))
    assert tables(ledger) == before
    assert seen and seen[-1][0] == seen[-1][1]
    ledger.close()


def test_a_changed_kept_row_is_found(ledger):
    from sqlalchemy import bindparam, update

    change = Statement(update(lots).where(lots.c.lot == bindparam("lot")).values(mass_mg=1), ["lot"])
    ledger.store.run(lambda unit: unit.write(change, [("SUG-1",)]), exclusive=True)
    verdict = verify(ledger.store)
    assert [f.what for f in verdict.findings if not f.holds] == ["table lots"]
    rebuild(ledger.store)
    assert verify(ledger.store).holds


def test_who_began_to_read_before_a_rebuild_reads_the_old_rows_to_the_end(ledger_url):
    ledger = ledger_at(ledger_url)
    live(ledger, 7, 20)
    many = Statement(select(func.count()).select_from(lots), [])
    with ThreadPoolExecutor(1) as hands:
        with ledger.store.read() as reader:
            rebuilding = hands.submit(rebuild, ledger.store)
            wait([rebuilding], timeout=1)
            before = reader.rows(many)[0][0]
        rebuilding.result(timeout=60)
    with ledger.store.read() as reader:
        assert reader.rows(many)[0][0] == before > 0
    ledger.close()


def test_a_restored_log_is_the_same_ledger(ledger_url, tmp_path):
    ledger = ledger_at(ledger_url)
    live(ledger, 5, 30)
    with ledger.store.read() as reader:
        lines = list(dump_lines(reader))
        root = reader.root()
    copy = open_store(f"sqlite:///{tmp_path / 'copy.db'}")
    copy.create()
    assert restore_lines(copy, lines).root == root
    rebuild(copy)
    other = ledger_at(f"sqlite:///{tmp_path / 'copy.db'}")
    assert tables(other) == tables(ledger)
    assert verify(copy).holds
    other.close()
    copy.close()
    ledger.close()


@pytest.mark.postgres
@pytest.mark.parametrize("seed", [1, 2])
def test_both_databases_come_to_the_same_ledger(sqlite_url, postgres_url, seed):
    one, two = ledger_at(sqlite_url), ledger_at(postgres_url)
    live(one, seed, 40)
    live(two, seed, 40)
    assert tables(one) == tables(two)
    with one.store.read() as a, two.store.read() as b:
        assert a.root() == b.root()
    one.close()
    two.close()


def test_a_refused_correction_leaves_the_memory_as_it_was(ledger):
    ledger.do(bc.OpenBatch(day=DAY, flavour="LEMON"), "AB")
    cooked = ledger.do(cook(), "AB").first
    ledger.do(bc.Build(day=DAY, batch=BATCH), "AB")
    with pytest.raises(StepsInTheWay):
        ledger.do(bc.Void(day=DAY, origin=cooked, reason="no"), "AB")
    ledger.do(bc.Roll(day=DAY, batch=BATCH), "AB")
    assert verify(ledger.store).holds
