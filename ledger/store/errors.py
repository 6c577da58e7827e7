"""Errors only the store can raise; they hang on the tree of ``ledger.errors``.

::

    SlabbookError
    ├── LedgerNotReady      the database holds no ledger yet, or one of another age than this program
    ├── LedgerBusy          others held the ledger for longer than we were ready to wait
    ├── Conflict            (ledger.errors) a stream moved on, or an id came back
    └── LedgerDamaged       (ledger.errors) what is stored contradicts itself
"""

from __future__ import annotations

from ledger.errors import SlabbookError


class LedgerNotReady(SlabbookError):
    """The database holds no ledger yet, or one made by an older or newer program."""

    code = "store.not-ready"


class LedgerBusy(SlabbookError):
    """Other writers held the ledger for longer than we were ready to wait; nothing was written."""

    code = "store.busy"
