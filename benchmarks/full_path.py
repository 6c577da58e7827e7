"""The whole command path for the append benchmark: rule, postings, kept tables, hash, tree, idempotency, one durable commit.

The command is a sale: the entry a shop records most often (five posting lines, one lot changed).
"""

from __future__ import annotations

from collections.abc import Callable
from uuid import uuid4

from ledger.application.ledger import Ledger, Outcome, open_ledger
from ledger.domain.batch import commands as bc
from ledger.domain.parts import Give
from ledger.domain.shelf.commands import Sell
from tests.support.given_when_then import BATCH, DAY, KG, cook
from tests.support.histories import opening


def shop(url: str) -> Ledger:
    """A ledger with one batch packed into very many jars."""
    ledger = open_ledger(url, create=False)
    ledger.store.create()
    for command in opening():
        ledger.do(command, "AB")
    ledger.do(bc.OpenBatch(day=DAY, flavour="LEMON", design="STAR"), "AB")
    ledger.do(cook(), "AB")
    for step in (bc.Build, bc.Roll):
        ledger.do(step(day=DAY, batch=BATCH), "AB")
    ledger.do(
        bc.CutRods(day=DAY, batch=BATCH, gives=(Give(lot="", kind="pieces", mass_mg=13_900_000, pieces=6_170),)), "AB"
    )
    ledger.do(bc.PackUp(day=DAY, batch=BATCH, pack="LEMON-JAR", packs=100), "AB")
    from ledger.domain.lots.commands import CountLot

    ledger.do(CountLot(day=DAY, lot=f"{BATCH}-J1", packs=5_000_000), "AB")
    assert KG
    return ledger


def append_once(url: str) -> Callable[[int], Outcome]:
    """Records the n-th sale through the whole path."""
    ledger = shop(url)

    def once(number: int) -> Outcome:
        return ledger.do(
            Sell(day=DAY, pack="LEMON-JAR", packs=1, channel="SHOP", amount=600), "AB", command_id=str(uuid4())
        )

    return once
