"""`slabbook verify, rebuild, backup, restore, dump`: keeping the ledger sound."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from ledger.application.contacts import set_contacts
from ledger.errors import Refused
from ledger.interfaces.book_file import Contact, contacts_from_toml, contacts_to_toml
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
@click.option(
    "--contacts", type=click.Path(dir_okay=False, path_type=Path),
    help="Write names, addresses and telephones too, to a file of their own that only you can read.",
)  # fmt: skip
@pass_shop
def dump(shop: Shop, file: Path, contacts: Path | None) -> None:
    """Write the whole log as JSON lines (`-`: to standard output). Names and addresses are not in it, so that they can be erased."""
    people = [
        Contact(**{str(k): str(v) for k, v in r.items()}) for r in shop.ledger.queries.contacts().to_dict("records")
    ]
    if contacts is not None:
        _write_contacts(contacts, people)
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
    if contacts is not None:
        console().print(
            f"{len(people)} contacts written to {contacts}. After an erasure write it anew and destroy this one.",
            markup=False,
        )
    elif people:
        console().print(
            f"{len(people)} contacts (whom to call in a recall) are not in it; `--contacts FILE` keeps them in a file of their own.",
            markup=False,
        )


def _write_contacts(file: Path, people: list[Contact]) -> None:
    """A new file that only its owner can read."""
    try:
        handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        raise Refused(f"{file} is there already; name a new file for the contacts.", file=str(file)) from None
    with open(handle, "w", encoding="utf-8", newline="\n") as target:
        target.write(contacts_to_toml(people))


@click.command("restore")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option(
    "--contacts", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="Names and addresses as `dump --contacts` wrote them."
)  # fmt: skip
@pass_shop
def restore(shop: Shop, file: Path, contacts: Path | None) -> None:
    """Build an identical ledger from a log of JSON lines, in an empty database."""
    from ledger.interfaces.cli.context import as_url

    store = open_store(as_url(shop.url), shop.site)
    people = contacts_from_toml(contacts.read_text(encoding="utf-8")) if contacts is not None else []
    store.create()
    with file.open(encoding="utf-8") as lines:
        restored = restore_lines(store, (line.rstrip("\n") for line in lines))
    with progress_bar("Rebuilding") as step:
        rebuild_tables(store, step)
    console().print(f"Restored {restored.position} entries, root {restored.root.hex()}.")
    if people:
        set_contacts(shop.ledger, [(c.kind, c.id, c.name, c.address, c.phone) for c in people])
    told = (
        f"{len(people)} contacts restored."
        if people
        else "No contacts: a recall knows nobody to call. Load them with `slabbook book load FILE`."
    )
    console().print(told, markup=False)


Step = Callable[[int, int], None]
COMMANDS: tuple[click.Command, ...] = (verify, rebuild, backup, dump, restore)
