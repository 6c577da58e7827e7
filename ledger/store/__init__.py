"""The event store: what happened, in order, for ever. Everything an outsider needs is here."""

from __future__ import annotations

from ledger.store.backup import backup
from ledger.store.dump import dump_lines
from ledger.store.errors import LedgerBusy, LedgerNotReady, LedgerUnreachable
from ledger.store.reader import Reader
from ledger.store.records import CommandRecord, EncodedEvent, Head, NewEvent, Recorded, StoredEvent
from ledger.store.restore import Restored, restore_lines
from ledger.store.statements import Statement, among, insert_into, upsert
from ledger.store.store import Store, open_store
from ledger.store.unit import Unit
from ledger.store.verify import TreeReport, verify_tree

__all__ = [
    "CommandRecord",
    "EncodedEvent",
    "Head",
    "LedgerBusy",
    "LedgerNotReady",
    "LedgerUnreachable",
    "NewEvent",
    "Reader",
    "Recorded",
    "Restored",
    "Statement",
    "Store",
    "StoredEvent",
    "TreeReport",
    "Unit",
    "among",
    "backup",
    "dump_lines",
    "insert_into",
    "open_store",
    "restore_lines",
    "upsert",
    "verify_tree",
]
