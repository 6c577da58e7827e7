"""Errors only the store can raise; they hang on the tree of ``ledger.errors``.

::

    SlabbookError
    ├── LedgerNotReady      the database holds no ledger yet, or one of another age than this program
    ├── LedgerBusy          others held the ledger for longer than we were ready to wait
    ├── LedgerUnreachable   the database server does not answer, or went away while writing
    ├── Conflict            (ledger.errors) a stream moved on, or an id came back
    └── LedgerDamaged       (ledger.errors) what is stored contradicts itself
"""

from __future__ import annotations

from ledger.errors import Conflict, SlabbookError


class LedgerNotReady(SlabbookError):
    """The database holds no ledger yet, or one made by an older or newer program."""

    code = "store.not-ready"


class LedgerBusy(SlabbookError):
    """Other writers held the ledger for longer than we were ready to wait; nothing was written."""

    code = "store.busy"


class LedgerUnreachable(SlabbookError):
    """The database server does not answer, or the connection broke while writing."""

    code = "store.unreachable"


def taken_event_id() -> Conflict:
    """The error for an event id that the site's ledger holds already."""
    return Conflict("an event with this event id is recorded already; nothing was written", what="event id")


def taken_command_id() -> Conflict:
    """The error for remembering an answer to a command that has one."""
    return Conflict("this command id has an answer already; nothing was written", what="command id")
