"""The event store: what happened, in order, for ever. Everything an outsider needs is here."""

from __future__ import annotations

from ledger.store.errors import LedgerBusy, LedgerNotReady
from ledger.store.reader import Reader
from ledger.store.records import CommandRecord, EncodedEvent, Head, NewEvent, Recorded, StoredEvent
from ledger.store.statements import Statement, among, insert_into, upsert
from ledger.store.store import Store, open_store
from ledger.store.unit import Unit

__all__ = [
    "CommandRecord",
    "EncodedEvent",
    "Head",
    "LedgerBusy",
    "LedgerNotReady",
    "NewEvent",
    "Reader",
    "Recorded",
    "Statement",
    "Store",
    "StoredEvent",
    "Unit",
    "among",
    "insert_into",
    "open_store",
    "upsert",
]
