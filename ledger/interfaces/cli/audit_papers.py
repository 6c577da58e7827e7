"""`slabbook label, epcis, epcis-import, proof, checkpoint, proof-check`: what leaves the house on paper or as a file."""

from __future__ import annotations

import click

COMMANDS: tuple[click.Command, ...] = ()
