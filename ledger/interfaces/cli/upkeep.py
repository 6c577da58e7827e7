"""`slabbook verify, rebuild, backup, restore, dump`: keeping the ledger sound."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from ledger.errors import Refused
from ledger.interfaces.cli.context import Shop, console, pass_shop
from ledger.projections.check import verify as verify_ledger
from ledger.projections.rebuild import rebuild as rebuild_tables
from ledger.store import backup as write_backup
from ledger.store import dump_lines, open_store, restore_lines


@contextmanager
def progress_bar(told: str) -> Any:
    """A progress bar on the error stream, fed with (done, whole)."""
    with Progress(
        TextColumn(told),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=console(error=True),
        transient=True,
    ) as bar:
        task = bar.add_task(told, total=None)

        def step(done: int, whole: int) -> None:
            bar.update(task, completed=done, total=whole)

        yield step


@click.command("verify")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
@pass_shop
def verify(shop: Shop, as_json: bool) -> None:
    """Check the hash tree, the kept tables against a fresh replay, and the trial balance."""
    with progress_bar("Reading the log") as step:
        verdict = verify_ledger(shop.ledger.store, step)
    if as_json:
        found = [{"what": f.what, "holds": f.holds, "told": f.told} for f in verdict.findings]
        click.echo(
            json.dumps(
                {"position": verdict.position, "root": verdict.root, "holds": verdict.holds, "findings": found},
                indent=2,
            )
        )
    else:
        out = console()
        for finding in verdict.findings:
            out.print(f"{'holds ' if finding.holds else 'FAILS '} {finding.what}: {finding.told}", markup=False)
        out.print(f"{verdict.position} entries, root {verdict.root}", markup=False)
        out.print(
            "The ledger holds."
            if verdict.holds
            else "The ledger does not hold; keep it as it is and look at the lines marked FAILS."
        )
    if not verdict.holds:
        sys.exit(1)


@click.command("rebuild")
@pass_shop
def rebuild(shop: Shop) -> None:
    """Write the kept tables anew from the log."""
    with progress_bar("Rebuilding") as step:
        number = rebuild_tables(shop.ledger.store, step)
    console().print(f"Kept tables rebuilt from {number} entries.")


@click.command("backup")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@pass_shop
def backup(shop: Shop, file: Path) -> None:
    """Copy the ledger to a new file; safe while others write."""
    shop.ledger.queries.as_of()
    console().print(f"Backed up to {write_backup(shop.ledger.store, file)}.")


@click.command("dump")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path, allow_dash=True))
@pass_shop
def dump(shop: Shop, file: Path) -> None:
    """Write the whole log as JSON lines (`-`: to standard output)."""
    with shop.ledger.store.read() as reader:
        lines = dump_lines(reader)
        if str(file) == "-":
            for line in lines:
                click.echo(line)
            return
        if file.exists():
            raise Refused(f"{file} is there already; name a new file for the log.", file=str(file))
        with file.open("x", encoding="utf-8", newline="\n") as target:
            for line in lines:
                target.write(line + "\n")
    console().print(f"Log written to {file}.")


@click.command("restore")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@pass_shop
def restore(shop: Shop, file: Path) -> None:
    """Build an identical ledger from a log of JSON lines, in an empty database."""
    from ledger.interfaces.cli.context import as_url

    store = open_store(as_url(shop.url), shop.site)
    store.create()
    with file.open(encoding="utf-8") as lines:
        restored = restore_lines(store, (line.rstrip("\n") for line in lines))
    with progress_bar("Rebuilding") as step:
        rebuild_tables(store, step)
    console().print(f"Restored {restored.position} entries, root {restored.root.hex()}.")


Step = Callable[[int, int], None]
COMMANDS: tuple[click.Command, ...] = (verify, rebuild, backup, dump, restore)
