"""`slabbook week, stock, hours, losses, batch, control, flags, log`: reading the ledger."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import click
from rich.table import Table as Grid

from ledger.application import report_text, reports
from ledger.application.reports_types import Report, Table, basis, columns
from ledger.domain.books.entries import Flavour
from ledger.domain.postings import iso_week
from ledger.errors import BadInput
from ledger.interfaces.cli.context import Code, Shop, console, pass_shop
from ledger.interfaces.exports import write

FORMS = (
    click.option("--json", "as_json", is_flag=True, help="As JSON."),
    click.option("--csv", "as_csv", is_flag=True, help="As CSV (the first table, or the one named by --table)."),
    click.option("--table", "only", default="", help="Only this table of the report."),
    click.option(
        "--to-file",
        "file",
        type=click.Path(dir_okay=False, path_type=Path),
        help="Into a .csv, .xlsx, .parquet or .json file.",
    ),
)
KNOWN = click.option(
    "--as-known",
    "known",
    default=None,
    metavar="DAY",
    help="As it was known at the end of a day, or after an entry number.",
)


def with_forms(function: Any) -> Any:
    """The ways a report may leave."""
    for option in reversed(FORMS):
        function = option(function)
    return function


def show(report: Report, as_json: bool, as_csv: bool, only: str, file: Path | None) -> None:
    """A report on the terminal, as JSON, as CSV, or in a file."""
    if only and only not in report.tables:
        raise BadInput(f"`{only}` is no table of this report; it has {', '.join(report.tables)}.", value=only)
    if file is not None:
        tables = {name: table.frame for name, table in report.tables.items() if not only or name == only}
        write(tables, file)
        console().print(f"{report.title} written to {file}.", markup=False)
    elif as_json:
        click.echo(json.dumps(report_text.as_data(report), indent=2, ensure_ascii=False))
    elif as_csv:
        click.echo(report_text.as_csv(report, only), nl=False)
    else:
        console().print(report_text.renderable(report, (only,) if only else ()))


def _known(text: str | None) -> int | str | None:
    return int(text) if text and text.isdigit() else text


@click.command("week")
@click.argument("week", required=False)
@KNOWN
@with_forms
@pass_shop
def week(shop: Shop, week: str | None, known: str | None, **form: Any) -> None:
    """The weekly review: yield, losses, hours, what changed (if none is named: this week, or the newest with entries)."""
    show(reports.week_report(shop.ledger, week or _newest(shop), _known(known)), **form)


def _newest(shop: Shop) -> str:
    this = iso_week(shop.ledger.today())
    recorded = [w for w in shop.ledger.queries.weeks() if w <= this]
    return recorded[-1] if recorded else this


@click.command("stock")
@KNOWN
@click.option("--all", "every", is_flag=True, help="Every lot ever made, also the empty ones.")
@with_forms
@pass_shop
def stock(shop: Shop, known: str | None, every: bool, **form: Any) -> None:
    """Stock per flavour, pack and lot, with days of cover."""
    if every:
        if known:
            raise click.UsageError("--all shows every lot as it is now; leave --as-known out.")
        show(_every_lot(shop), **form)
        return
    show(reports.stock_report(shop.ledger, _known(known)), **form)


def _every_lot(shop: Shop) -> Report:
    """Every lot ever made with what it holds now."""
    seen = basis(shop.ledger)
    frame = seen.queries.lots(holding=False)
    shown = columns(
        ("lot", "lot"), ("kind", "kind"), ("item", "item", "item"), ("batch", "batch"), ("flavour", "flavour", "flavour"), ("day", "made", "day"),
        ("best_before", "best before", "day"), ("held", "held"), ("mass_mg", "holds", "mass"), ("pieces", "pieces", "count"), ("packs", "packs", "count"),
        ("made_mg", "held once", "mass"), ("supplier", "supplier"), ("supplier_lot", "supplier's lot"),
    )  # fmt: skip
    table = Table("Every lot", frame, shown)
    return Report(
        "lots", "Every lot", seen.as_of, f"{len(frame)} lots, the empty ones too.", {"lots": table}, shop=seen.shop
    )


def _weeks(shop: Shop, first: str | None, last: str | None, back: int) -> tuple[str, str]:
    today = shop.ledger.today()
    last = last or first or iso_week(today)
    return first or iso_week((date.fromisoformat(today) - timedelta(weeks=back)).isoformat()), last


def _ranged(name: str, make: Callable[..., Report], told: str, back: int) -> click.Command:
    @click.command(name, help=told)
    @click.argument("first", required=False)
    @click.argument("last", required=False)
    @KNOWN
    @with_forms
    @pass_shop
    def command(shop: Shop, first: str | None, last: str | None, known: str | None, **form: Any) -> None:
        show(make(shop.ledger, *_weeks(shop, first, last, back), known=_known(known)), **form)

    return command


@click.command("control")
@click.argument("flavour", type=Code(Flavour))
@click.argument("first", required=False)
@click.argument("last", required=False)
@with_forms
@pass_shop
def control(shop: Shop, flavour: str, first: str | None, last: str | None, **form: Any) -> None:
    """Control chart of a flavour's yield, with the unusual batches or weeks named."""
    show(reports.control_report(shop.ledger, flavour, *_weeks(shop, first, last, 52)), **form)


@click.command("batch")
@click.argument("batch", type=Code())
@with_forms
@pass_shop
def batch(shop: Shop, batch: str, **form: Any) -> None:
    """Everything of one batch."""
    show(reports.batch_report(shop.ledger, batch), **form)


@click.command("log")
@click.option("--batch", type=Code(), default=None, help="Only entries of this batch.")
@click.option("--stream", default=None, help="Only entries of this stream, e.g. `lot/M26033-1`.")
@click.option("--name", default=None, help="Only entries of this stored name, e.g. batch.cooked.")
@click.option("--text", default=None, help="Only entries that hold this text.")
@click.option("--most", default=40, show_default=True, help="At most so many.")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
@pass_shop
def log(shop: Shop, as_json: bool, most: int, **which: Any) -> None:
    """The log, newest first."""
    frame = shop.ledger.queries.log(newest_first=True, most=most, **which)
    if as_json:
        click.echo(frame.to_json(orient="records", force_ascii=False, indent=2))
        return
    table = Grid(title="Log, newest first", title_justify="left", box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("entry", justify="right", no_wrap=True)
    for name in ("happened (UTC)", "recorded (UTC)"):
        table.add_column(name, min_width=16)
    table.add_column("by", no_wrap=True)
    for name in ("what", "where"):  # folded where they do not fit: a code cut short is no code
        table.add_column(name, overflow="fold", min_width=14)
    for row in frame.to_dict("records"):
        happened, recorded = str(row["occurred_at"])[:16], str(row["recorded_at"])[:16]
        table.add_row(
            str(row["position"]), happened, recorded, str(row["recorded_by"]), str(row["name"]), str(row["stream"])
        )
    console().print(table)


COMMANDS: tuple[click.Command, ...] = (
    week, stock,
    _ranged("hours", reports.hours_report, "Minutes per kg and per thousand pieces by step, worker and flavour (last four weeks).", 3),
    _ranged("losses", reports.losses_report, "Where sugar was lost, kettle to jar, by step and cause (last four weeks).", 3),
    _ranged("flags", reports.flags_report, "What was strange, and what was answered.", 3),
    control, batch, log,
)  # fmt: skip
