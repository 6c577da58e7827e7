"""Two shops in one database do not see each other, and rebuilding one leaves the other as it is."""

from __future__ import annotations

from ledger.application.ledger import open_ledger
from ledger.domain.batch import commands as bc
from ledger.projections.check import verify
from ledger.projections.rebuild import rebuild
from tests.support.given_when_then import BATCH, DAY, cook
from tests.support.histories import opening
from tests.support.ledgers import Clock


def test_two_sites_share_a_database_and_nothing_else(ledger_url):
    one = open_ledger(ledger_url, "harbour", Clock(), create=False)
    two = open_ledger(ledger_url, "hill", Clock(), create=False)
    for ledger in (one, two):
        for command in opening():
            ledger.do(command, "AB", command_id=f"{ledger.store.site}-{command}")
    one.do(bc.OpenBatch(day=DAY, flavour="LEMON"), "AB", command_id="same")
    two.do(bc.OpenBatch(day=DAY, flavour="LEMON", note="other"), "AB", command_id="same")
    one.do(cook(), "AB")
    assert one.queries.lot("SUG-1")["mass_mg"] == 190_000_000
    assert two.queries.lot("SUG-1")["mass_mg"] == 200_000_000
    assert list(two.queries.batches().batch) == [BATCH]
    assert one.queries.as_of().position == two.queries.as_of().position + 1
    rebuild(one.store)
    assert verify(one.store).holds
    assert verify(two.store).holds
    for ledger in (one, two):
        ledger.close()
