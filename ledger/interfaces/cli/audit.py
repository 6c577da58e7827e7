"""`slabbook trace, lot, leaks`: what is in a lot, where it went, and whether its mass adds up."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from ledger.application import audit
from ledger.interfaces.cli.audit_papers import COMMANDS as PAPERS
from ledger.interfaces.cli.audit_recall import recall
from ledger.interfaces.cli.context import Shop, console, pass_shop
from ledger.interfaces.cli.read import KNOWN, show, with_forms


@click.command("trace")
@click.argument("mark")
@click.option("--back", "direction", flag_value="backward", help="To every supplier lot.")
@click.option("--forward", "direction", flag_value="forward", help="To every jar, customer and tasting.")
@click.option("--svg", "drawing", type=click.Path(dir_okay=False, path_type=Path), help="Draw the path into this file.")
@KNOWN
@with_forms
@pass_shop
def trace(shop: Shop, mark: str, direction: str | None, drawing: Path | None, known: str | None, **form: Any) -> None:
    """Follow a lot, a batch, the code on a jar, or a delivery document (both ways if neither is named)."""
    for way in [direction] if direction else ["backward", "forward"]:
        traced = audit.trace(shop.ledger, mark, way, known)  # type: ignore[arg-type]
        show(traced.report, **form)
        if drawing is not None:
            file = drawing if direction else drawing.with_stem(f"{drawing.stem}-{way}")
            if traced.drawing:
                file.write_text(traced.drawing, encoding="utf-8")
                console(error=True).print(f"Drawn in {file}.", markup=False)
            else:
                console(error=True).print(
                    f"{len(traced.path.lots)} lots are too many to draw; the table holds them all.", markup=False
                )


@click.command("lot")
@click.argument("lot")
@KNOWN
@with_forms
@pass_shop
def lot(shop: Shop, lot: str, known: str | None, **form: Any) -> None:
    """The story of one lot, and whether its mass adds up."""
    show(audit.lot_report(shop.ledger, lot, known), **form)


@click.command("leaks")
@click.argument("lot")
@click.option("--tolerance", default=0.5, show_default=True, help="Percent of a step's mass.")
@KNOWN
@with_forms
@pass_shop
def leaks(shop: Shop, lot: str, tolerance: float, known: str | None, **form: Any) -> None:
    """The batches and steps where a lot's mass leaks beyond the usual."""
    show(audit.leaks_report(shop.ledger, lot, known, tolerance / 100), **form)


COMMANDS: tuple[click.Command, ...] = (trace, lot, leaks, recall, *PAPERS)
