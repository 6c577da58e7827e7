"""`slabbook size, sheet, sheet-check, sheet-compare`: the batch sheet before the burner is lit, and against what happened after."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from ledger import quantities
from ledger.application import sheets, sheets_check, sheets_compare
from ledger.application.sheets import Ask, Planned
from ledger.craft.build_pdf import render_build_pdf
from ledger.craft.sheet import BatchSheet, sheet_to_plain
from ledger.craft.sheet_html import render_html
from ledger.craft.sheet_pdf import render_pdf
from ledger.craft.sheet_text import Units, percent, sheet_text
from ledger.domain.books import entries as e
from ledger.errors import BadInput
from ledger.interfaces.cli.context import Code, Shop, console, pass_shop
from ledger.interfaces.cli.read import KNOWN, show, with_forms

ASKED = (
    click.argument("design", type=Code(e.Design)),
    click.option("--flavour", type=Code(e.Flavour), default="", help="Flavour id (the design's own if not given)."),
    click.option("--packs", default=0, help="How many packs are wanted."),
    click.option("--pieces", default=0, help="How many pieces are wanted, instead of packs."),
    click.option(
        "--pack", type=Code(e.Pack), default="", help="Pack id (the flavour's smallest of this design if not given)."
    ),
    click.option(
        "--kettle", type=Code(e.Station), default="", help="Station id of the kettle (the one that fits if not given)."
    ),
    click.option("--day", default="", help="Day of the batch, ISO (today if not given)."),
    click.option(
        "--water-reads", "water", default="", help='What the thermometer shows in boiling water today: "98.6 C".'
    ),
    click.option("--barometer", default="", help='Air pressure in the shop today: "97.2 kPa".'),
    click.option("--sea-level", is_flag=True, help="The barometer figure is a weather report's, reduced to sea level."),
    click.option("--log", "log", default="", help='Diameter of the log: "150 mm".'),
    click.option("--rod", default="", help='Diameter of the rod: "1/2 in".'),
    click.option("--piece", default="", help='Length of a piece: "12.7 mm".'),
    click.option("--ends", default="", help='Length of log lost to both tapered ends: "20 mm".'),
    click.option("--on-low-yield", is_flag=True, help="Size it so that even a poor yield gives the packs."),
)
FILES = (
    click.option("--pdf", type=click.Path(dir_okay=False, path_type=Path), help="Write the sheet as PDF."),
    click.option("--html", type=click.Path(dir_okay=False, path_type=Path), help="Write the sheet as HTML."),
    click.option(
        "--build-pdf", type=click.Path(dir_okay=False, path_type=Path), help="Write the section of the log, one to one."
    ),
)


def asked(function: Any) -> Any:
    """What a sheet is asked with."""
    for option in reversed(ASKED):
        function = option(function)
    return function


def into_files(function: Any) -> Any:
    """Files a sheet may be written to."""
    for option in reversed(FILES):
        function = option(function)
    return function


def ask_of(given: dict[str, Any], batch: str = "") -> Ask:
    """An Ask from what was typed. Raises BadInput."""

    def read(name: str, reader: Callable[[str], int]) -> int:
        return reader(given[name]) if given[name] else 0

    return Ask(
        design=given["design"], flavour=given["flavour"], packs=given["packs"], pieces=given["pieces"], pack=given["pack"],
        kettle=given["kettle"], day=given["day"], batch=batch,
        water_reads_mc=quantities.temperature(given["water"]) if given["water"] else None,
        water_said=given["water"], barometer_pa=quantities.pressure(given["barometer"]) if given["barometer"] else None, barometer_is_sea_level=given["sea_level"],
        log_um=read("log", quantities.length), rod_um=read("rod", quantities.length), piece_um=read("piece", quantities.length),
        ends_um=quantities.length(given["ends"]) if given["ends"] else None, on_low_yield=given["on_low_yield"],
    )  # fmt: skip


def summary(sheet: BatchSheet, units: Units) -> list[str]:
    """The sheet in some lines for a terminal."""
    text, sizes = sheet_text(sheet, units), sheet.sizes
    lines = [
        f"{text.title}, for {sheet.planned_for}: {sizes.packs} x {sizes.pack}, {sizes.pieces_per_pack} pieces each",
        "",
        *[f"  {label + ':':<22} {value}" + (f"  ({remark})" if remark else "") for label, value, remark in text.facts],
        f"  {'Process yield:':<22} {percent(sheet.process_yield.likely_ppm)}  ({percent(sheet.process_yield.low_ppm)} to "
        f"{percent(sheet.process_yield.high_ppm)}, "
        + (
            f"last {sheet.process_yield.batches} batches)"
            if sheet.process_yield.batches
            else "from the recipe: too few batches yet)"
        ),
        "",
    ]
    for head, rows in (
        ("In the kettle", text.kettle),
        ("After the cook", text.after),
        ("Pour", text.pours),
        ("Blend", text.blends),
    ):
        if rows:
            lines.append(head)
            lines += [f"  {row.mass:>12}  {row.title}" + (f"  [{row.note}]" if row.note else "") for row in rows]
    lines.append("Log to packs")
    lines += [f"  {label + ':':<22} {value}" for label, value in text.sizes]
    lines += [
        f"  {text.thin}",
        f"Allergens: {text.allergens}. {text.changeover}",
    ]
    return lines


def tell(planned: Planned, issued: str = "") -> None:
    """A planned sheet on the terminal, warnings last so that they are read."""
    out = console()
    for line in summary(planned.sheet, planned.units):
        out.print(line, markup=False)
    for note in planned.notes:
        out.print(f"Note: {note}", markup=False)
    flags = sheet_text(planned.sheet, planned.units).flags
    for flag in flags:
        out.print(f"WARNING: {flag}", markup=False, style="bold red")
    for hint in planned.hints:
        out.print(f"Way out: {hint}", markup=False)
    if not flags:
        out.print("Nothing to warn of.")
    if issued:
        out.print(issued, markup=False)


def write_files(planned: Planned, pdf: Path | None, html: Path | None, build_pdf: Path | None) -> None:
    """Write what was asked for. Raises BadInput for a file that cannot be written."""
    made: list[tuple[Path | None, Callable[[], bytes]]] = [
        (pdf, lambda: render_pdf(planned.sheet, planned.units, planned.paper)),
        (html, lambda: render_html(planned.sheet, planned.units, planned.paper).encode("utf-8")),
        (build_pdf, lambda: render_build_pdf(planned.sheet, planned.units, planned.paper)),
    ]
    for file, render in made:
        if file is not None:
            try:
                file.write_bytes(render())
            except OSError as fault:
                raise BadInput(
                    f"{file} cannot be written: {fault.strerror}. Name another file.", value=str(file)
                ) from fault
            console().print(f"Written: {file}", markup=False)


@click.command("size")
@asked
@into_files
@click.option(
    "--json", "as_json", is_flag=True, help="As JSON, in whole milligrams, micrometres and thousandths of a degree."
)
@pass_shop
def size(shop: Shop, pdf: Path | None, html: Path | None, build_pdf: Path | None, as_json: bool, **given: Any) -> None:
    """Size a batch without recording anything: slabbook size LEMON-SLICE --packs 40."""
    planned = sheets.plan(shop.ledger, ask_of(given))
    if as_json:
        click.echo(
            json.dumps(sheet_to_plain(planned.sheet) | {"notes": list(planned.notes)}, indent=1, ensure_ascii=False)
        )
    else:
        tell(planned, "Nothing was recorded.")
    write_files(planned, pdf, html, build_pdf)


@click.command("sheet")
@asked
@into_files
@click.option(
    "--batch", type=Code(), default="", help="Issue it for this batch, opened already, instead of opening one."
)
@click.option("--open", "show_it", is_flag=True, help="Open the PDF (or HTML) when it is written.")
@click.option(
    "--command-id",
    default="",
    help="Given again with the same id, the first sheet comes back and nothing is recorded twice.",
)
@pass_shop
def sheet(
    shop: Shop, pdf: Path | None, html: Path | None, build_pdf: Path | None, batch: str, show_it: bool, command_id: str, **given: Any
) -> None:  # fmt: skip
    """Open a batch and issue its sheet: slabbook sheet LEMON-SLICE --flavour LEMON --packs 40 --pdf sheet.pdf"""
    done = sheets.issue(shop.ledger, ask_of(given, batch), shop.by, command_id)
    where = f"entry {done.last}" if done.first == done.last else f"entries {done.first} to {done.last}"
    said = (
        "was issued before under this command id"
        if done.repeated
        else "is open and its sheet is kept"
        if not batch
        else "has a new sheet"
    )
    tell(done.planned, f"Batch {done.batch} {said} ({where}). Its QR code opens {done.planned.sheet.address}")
    if show_it and not (pdf or html):
        pdf = Path(f"sheet-{done.batch}.pdf")
    write_files(done.planned, pdf, html, build_pdf)
    if show_it:
        click.launch(str(pdf or html))


@click.command("sheet-check")
@click.argument("station", type=Code(e.Station))
@click.option("--reads", required=True, help='What the thermometer shows in boiling water: "211 F".')
@click.option("--barometer", default="", help='Air pressure in the shop: "97.2 kPa" (else the altitude is used).')
@click.option("--sea-level", is_flag=True, help="The barometer figure is a weather report's, reduced to sea level.")
@click.option("--day", default="", help="Day of the check, ISO (today if not given).")
@click.option("--note", default="")
@pass_shop
def check(shop: Shop, station: str, reads: str, barometer: str, sea_level: bool, day: str, note: str) -> None:
    """Record a thermometer held in boiling water, and tell the end temperatures it means: slabbook sheet-check K1 --reads "211 F"."""
    pressure = quantities.pressure(barometer) if barometer else None
    found = sheets_check.check(
        shop.ledger, station, reads, barometer_pa=pressure, sea_level=sea_level, day=day, note=note, by=shop.by
    )
    out = console()
    for line in found.lines:
        out.print(line, markup=False)
    if found.warning:
        out.print(f"WARNING: {found.warning}", markup=False, style="bold red")
    out.print(f"Recorded as entry {found.entry}; the next sheet for {station} uses it.")


@click.command("sheet-compare")
@click.argument("batch", type=Code(), required=False)
@KNOWN
@with_forms
@pass_shop
def compare(shop: Shop, batch: str | None, known: str | None, **form: Any) -> None:
    """Plan against actual: one batch portion by portion, or every batch that has a sheet."""
    at = int(known) if known and known.isdigit() else known
    if batch:
        show(sheets_compare.batch_report(shop.ledger, batch, at), **form)
    else:
        show(sheets_compare.all_report(shop.ledger, at), **form)


COMMANDS: tuple[click.Command, ...] = (size, sheet, check, compare)
