"""`slabbook label, epcis, epcis-import, proof, checkpoint, proof-check`: what leaves the house on paper or as a file."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from ledger.application import audit_epcis, audit_label, audit_proof
from ledger.application.checkpoints import checkpoint as tree_head
from ledger.application.reports_types import basis
from ledger.domain.books.entries import Pack, Partner
from ledger.interfaces.cli.context import Code, Shop, console, pairs, pass_shop
from ledger.interfaces.cli.read import KNOWN
from ledger.trace.allergens import Market
from ledger.trace.label_sheets import SHEETS
from ledger.trace.proof import check_proof, proof_from_json, proof_to_json

OUT = click.option("--out", type=click.Path(dir_okay=False, path_type=Path), required=True, help="File to write.")


@click.command("label")
@click.argument("lot", type=Code(Pack))
@click.option("--sheet", default="a4-24", show_default=True, type=click.Choice(sorted(SHEETS)))
@click.option(
    "--pdf", type=click.Path(dir_okay=False, path_type=Path), help="File to write; left out, only the words are shown."
)
@click.option("--count", default=0, help="How many (left out: one for each pack on hand).")
@click.option("--skip", default=0, help="Places already used on the first sheet.")
@click.option("--short", is_flag=True, help="Without the ingredient list, for small labels beside a printed one.")
@click.option("--market", type=click.Choice(["us", "eu"]), help="Whose words (left out: the shop's own law).")
@pass_shop
def label(
    shop: Shop, lot: str, sheet: str, pdf: Path | None, count: int, skip: int, short: bool, market: Market | None
) -> None:
    """Labels of a packed LOT, or of the newest lot of a pack: words from the lots used, codes, dates, weight."""
    out = console()
    if pdf is None:
        made = audit_label.label(shop.ledger, lot, short=short, market=market)
    else:
        data, made, number = audit_label.labels_pdf(
            shop.ledger, lot, sheet, count=count, skip=skip, short=short, market=market
        )
        pdf.write_bytes(data)
        out.print(f"{number} labels of {made.lot} written to {pdf}; print at 100 %.", markup=False)
    out.print(f"{made.pack.name}, {made.words.lot}, recipe {made.recipe}", markup=False)
    for line in (made.words.ingredients, made.words.allergens or "No allergen on record of the lots used.", made.words.best_before, made.words.net,
                 *made.words.warnings, *made.notes):  # fmt: skip
        out.print(f"  {line}", markup=False)


@click.command("epcis")
@click.argument("lot", type=Code(), required=False)
@click.option("--from", "first", default="", metavar="DAY")
@click.option("--to", "last", default="", metavar="DAY")
@click.option(
    "--base", default="", help="Your own https address or tag: URI that names lots (left out: the shop's address)."
)
@OUT
@pass_shop
def epcis(shop: Shop, lot: str | None, first: str, last: str, base: str, out: Path) -> None:
    """The path of a LOT, or a period, as a document compatible with GS1 EPCIS 2.0."""
    text, number = audit_epcis.export(shop.ledger, lot or "", first, last, base=base)
    out.write_text(text, encoding="utf-8")
    console().print(f"{number} events written to {out}.", markup=False)


@click.command("epcis-import")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option(
    "--material",
    "materials",
    multiple=True,
    metavar="CODE=MATERIAL",
    help="A sender's product code or GTIN, and the material it is here.",
)
@click.option(
    "--supplier",
    type=Code(Partner),
    default="",
    help="Our code of the sender, where the document does not name one we know.",
)
@click.option("--dry-run", "dry", is_flag=True, help="Read and check everything, write nothing.")
@pass_shop
def epcis_import(shop: Shop, file: Path, materials: tuple[str, ...], supplier: str, dry: bool) -> None:
    """Record the goods received that such a document tells of. Safe to run twice."""
    given = dict(pairs(materials, "CODE=MATERIAL"))
    done = audit_epcis.receive(
        shop.ledger, file.read_text(encoding="utf-8"), given, supplier=supplier, by=shop.by, dry=dry
    )
    for line in done.told:
        console().print(line, markup=False)
    if done.refused:
        sys.exit(2)


@click.command("proof")
@click.argument("entry", type=Code())
@click.option(
    "--since",
    default="",
    metavar="SIZE:ROOT",
    help="A checkpoint somebody holds on paper: prove that the ledger still begins with it.",
)
@KNOWN
@OUT
@pass_shop
def proof(shop: Shop, entry: str, since: str, known: str | None, out: Path) -> None:
    """A small file that proves an ENTRY (its number), or all entries of a LOT, to a stranger.

    With --as-known it ends in the root that a report of that entry or day carries.
    """
    made = audit_proof.proof(shop.ledger, entry, earlier=audit_proof.read_head(since) if since else None, known=known)
    out.write_text(proof_to_json(made), encoding="utf-8")
    console().print(
        f"Proof of {made.about}: {len(made.rows)} entries, written to {out}. Checkpoint {made.head.size}:{made.head.root}",
        markup=False,
    )


@click.command("checkpoint")
@KNOWN
@pass_shop
def checkpoint(shop: Shop, known: str | None) -> None:
    """Size and root of the ledger's tree, to print or send out of the house today; or as it was earlier, to hold against an old paper."""
    head = tree_head(shop.ledger, None if known is None else basis(shop.ledger, known).known)
    console().print(
        f"{head.size}:{head.root}\nLedger {shop.ledger.store.site}, {head.size} entries, the last recorded {head.at}.",
        markup=False,
    )


@click.command("proof-check")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--told", default="", metavar="SIZE:ROOT", help="The checkpoint you hold on paper.")
def proof_check(file: Path, told: str) -> None:
    """Check a proof file (needs no ledger)."""
    made = proof_from_json(file.read_text(encoding="utf-8"))
    wrong = check_proof(made, told=audit_proof.read_head(told) if told else None)
    for line in wrong:
        console(error=True).print(f"FAILS {line}", markup=False)
    if wrong:
        sys.exit(1)
    more = (
        ""
        if told
        else " Compare the checkpoint with one you were given in time, or the proof says nothing against its keeper."
    )
    console().print(
        f"Holds: {made.about}, {len(made.rows)} entries in {made.head.size}:{made.head.root}.{more}", markup=False
    )


COMMANDS: tuple[click.Command, ...] = (label, epcis, epcis_import, proof, checkpoint, proof_check)
