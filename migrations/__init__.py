"""Alembic migrations of the ledger; shipped with the package and run by ``Store.create``."""
