"""`slabbook import` and `slabbook export`: files in and files out."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click
import pandas as pd

from ledger.errors import BadInput
from ledger.interfaces.cli.context import Shop, console, pass_shop, read_text
from ledger.interfaces.csv_import import KINDS, import_csv, read_mapping
from ledger.interfaces.exports import write


@click.command("import")
@click.argument("kind", type=click.Choice(KINDS))
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option(
    "--map", "mapping", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="Column mapping (TOML)."
)
@click.option("--dry-run", "dry", is_flag=True, help="Read and check everything, write nothing.")
@click.option("--partial", is_flag=True, help="Record the good rows even if others are bad.")
@pass_shop
def import_(shop: Shop, kind: str, file: Path, mapping: Path | None, dry: bool, partial: bool) -> None:
    """Record receipts, batches or daily sales from a CSV file. Safe to run twice."""
    columns = read_mapping(read_text(mapping)) if mapping else None
    done = import_csv(shop.ledger, kind, read_text(file), columns, by=shop.by, dry=dry, partial=partial)
    out = console()
    for bad in done.bad:
        where = (
            f"line {bad.line}"
            + (f", column {bad.column}" if bad.column else "")
            + (f", value `{bad.value}`" if bad.value else "")
        )
        console(error=True).print(f"{where}: {bad.why}", markup=False)
    again = f", {done.repeated} were there already" if done.repeated else ""
    if dry:
        out.print(
            f"Dry run: {done.rows} rows read, {done.recorded} entries would be recorded{again}, {len(done.bad)} problems."
        )
    elif done.written:
        out.print(f"{done.rows} rows read, {done.recorded} commands recorded{again}, {len(done.bad)} problems.")
    else:
        out.print(
            f"{done.rows} rows read, {len(done.bad)} problems: nothing was written. Mend the lines above, or use --partial."
        )
    if done.bad and not partial:
        sys.exit(2)


TABLES = ("postings", "lots", "batches", "flags", "log", "book")


@click.command("export")
@click.argument("table", type=click.Choice(TABLES))
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--from", "first", default=None, help="First ISO week.")
@click.option("--to", "last", default=None, help="Last ISO week.")
@pass_shop
def export(shop: Shop, table: str, file: Path, first: str | None, last: str | None) -> None:
    """Write a whole table to a .csv, .parquet, .xlsx or .json file."""
    frame = table_frame(shop, table, first, last)
    write({table: frame}, file)
    console().print(f"{len(frame)} rows written to {file}.")


def table_frame(shop: Shop, table: str, first: str | None, last: str | None) -> pd.DataFrame:
    """One of the kept tables, or the log, as a DataFrame."""
    queries = shop.ledger.queries
    made: dict[str, Any] = {
        "postings": lambda: queries.postings(first, last), "lots": lambda: queries.lots(holding=False),
        "batches": lambda: queries.batches(most=10**9), "flags": lambda: queries.flags(first, last),
        "log": lambda: queries.log(most=10**9), "book": lambda: queries.book_history().assign(data=lambda f: f["data"].map(str)),
    }  # fmt: skip
    if table not in made:
        raise BadInput(f"There is no table `{table}`; known are {', '.join(TABLES)}.", value=table)
    frame: pd.DataFrame = made[table]()
    return frame


COMMANDS: tuple[click.Command, ...] = (import_, export)
