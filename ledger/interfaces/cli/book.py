"""`slabbook book load|show|history`: what the shop knows before a burner is lit."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click
import msgspec
from rich.table import Table

from ledger.application.contacts import KINDS as CONTACT_KINDS
from ledger.application.contacts import erase_contact, set_contacts, whose
from ledger.application.ledger import Order
from ledger.domain.books.commands import Define
from ledger.domain.books.entries import KIND_OF, KINDS
from ledger.interfaces import book_file
from ledger.interfaces.cli.context import Shop, console, pass_shop, read_text


@click.group("book")
def book() -> None:
    """Materials, flavours, designs, recipes, packs, workers, stations, the site, feasts, partners and channels."""


@book.command("load")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--kind", type=click.Choice(sorted(KINDS)), help="For a CSV file: what its rows are.")
@pass_shop
def load(shop: Shop, file: Path, kind: str | None) -> None:
    """Load a TOML book, or a CSV file of one kind. Loading again records only what differs."""
    text = read_text(file)
    ledger = shop.ledger
    known = ledger.book()
    if file.suffix.lower() == ".csv":
        if kind is None:
            raise click.UsageError("A CSV file needs --kind, to say what its rows are.")
        entries, contacts = book_file.entries_from_csv(kind, text, known), []
    else:
        entries, contacts = book_file.entries_from_toml(text, known), book_file.contacts_from_toml(text)
    outcomes = ledger.do_all([Order(Define(day=ledger.today(), entry=e), shop.by) for e in entries]) if entries else []
    if contacts:
        now = ledger.book()
        set_contacts(ledger, [(c.kind, whose(now, c.kind, c.id), c.name, c.address, c.phone) for c in contacts])
    changed = [KIND_OF[type(e)] + " " + e.id for e, o in zip(entries, outcomes, strict=True) if o.first]
    out = console()
    out.print(
        f"{len(entries)} entries read, {len(changed)} recorded, {len(entries) - len(changed)} unchanged; {len(contacts)} contacts set."
    )
    if 0 < len(changed) <= 20:
        out.print("Recorded: " + ", ".join(changed))


@book.command("show")
@click.argument("kind", type=click.Choice(sorted(KINDS)), required=False)
@click.argument("id", required=False)
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
@pass_shop
def show(shop: Shop, kind: str | None, id: str | None, as_json: bool) -> None:
    """Show what the book holds: all kinds, one kind, or one entry."""
    entries = shop.ledger.book()
    out = console()
    if kind is None:
        table = Table(title="The book")
        table.add_column("kind")
        table.add_column("entries", justify="right")
        for name, cls in KINDS.items():
            table.add_row(name, str(len(entries.all(cls))))
        out.print(table)
        return
    found: list[Any] = (
        [entries.get(KINDS[kind], entries.meant(KINDS[kind], id))] if id else list(entries.all(KINDS[kind]))
    )
    if as_json or id:
        click.echo(json.dumps([msgspec.to_builtins(e) for e in found], indent=2, ensure_ascii=False))
        return
    names = [f.name for f in msgspec.inspect.type_info(KINDS[kind]).fields][:7]  # type: ignore[attr-defined]
    table = Table(title=f"{kind} ({len(found)})")
    for name in names:
        table.add_column(name, no_wrap=name == "id", overflow="fold")
    for entry in found:
        table.add_row(*(str(getattr(entry, n)) for n in names))
    out.print(table)


@book.command("history")
@click.argument("kind", type=click.Choice(sorted(KINDS)))
@click.argument("id")
@pass_shop
def history(shop: Shop, kind: str, id: str) -> None:
    """Every version of one entry, and what changed between them."""
    entries = shop.ledger.book()
    id = entries.get(KINDS[kind], entries.meant(KINDS[kind], id)).id
    frame = shop.ledger.queries.book_history(kind, id)
    before: dict[str, object] = {}
    for row in frame.to_dict("records"):
        data: dict[str, Any] = dict(row["data"])
        changed = {k: v for k, v in data.items() if before.get(k) != v} if before else data
        console().print(
            f"version {row['version']}, {row['day']}, entry {row['position']}: "
            + json.dumps(changed, ensure_ascii=False),
            markup=False,
        )
        before = data


@book.command("forget")
@click.argument("kind", type=click.Choice(CONTACT_KINDS))
@click.argument("id")
@pass_shop
def forget(shop: Shop, kind: str, id: str) -> None:
    """Erase the name, address and telephone of a worker or business. The log keeps the id, which says nothing by itself."""
    id = whose(shop.ledger.book(), kind, id)
    erase_contact(shop.ledger, kind, id)
    console().print(
        f"No name is kept for {kind} {id} any more. Backups, printed sheets and files made before may still hold it.",
        markup=False,
    )


COMMANDS: tuple[click.Command, ...] = (book,)
