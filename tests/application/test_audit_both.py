"""The recursive statements and the recall run alike on SQLite and PostgreSQL."""

from __future__ import annotations

from ledger.application import audit, audit_recall
from ledger.domain.batch import commands as bc
from tests.support.given_when_then import DAY, cook
from tests.support.histories import opening
from tests.support.ledgers import ledger_at


def test_paths_and_a_recall_answer_on_both_databases(ledger_url):
    ledger = ledger_at(ledger_url)
    for command in opening():
        ledger.do(command)
    batch = ledger.do(bc.OpenBatch(day=DAY, flavour="LEMON", design="STAR")).batch
    ledger.do(cook(batch=batch))
    assert set(audit.trace(ledger, "SUG-1", "forward").path.others) == {f"{batch}-C1", f"{batch}-C2"}
    assert {"SUG-1", "SYR-1"} <= set(audit.trace(ledger, batch, "backward").path.others)
    audit_recall.start(ledger, "SUG-1", "drill", drill=True)
    assert len(audit_recall.report(ledger).answers) == 12
    ledger.close()
