"""`slabbook sheet`, `season`, `recall`, `trace`, `labels`, `serve`, `demo`: what stands on the ledger."""

from __future__ import annotations

import click

COMMANDS: tuple[click.Command, ...] = ()
