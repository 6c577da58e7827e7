"""Loads every event class, so that the registry of stored names is complete."""

from ledger.domain.batch import events as batch
from ledger.domain.books import events as books
from ledger.domain.lots import events as lots
from ledger.domain.season import events as season
from ledger.domain.shelf import events as shelf

__all__ = ["batch", "books", "lots", "season", "shelf"]
