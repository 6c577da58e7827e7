"""The question most tests of the batch sheet ask, and a batch made as its sheet says."""

from __future__ import annotations

import pytest

from ledger.application.ledger import Ledger
from ledger.application.sheets import Ask
from ledger.craft.sheet import BatchSheet
from ledger.domain.batch import commands as c
from ledger.domain.books.commands import Define
from ledger.domain.parts import Give, Take
from ledger.interfaces.cli.main import main

LEMON = Ask(design="LEMON-SLICE", packs=40)


def define(ledger: Ledger, entry: object) -> None:
    ledger.do(Define(day=ledger.today(), entry=entry))


def run(ledger: Ledger, capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str]:
    """The command line's exit code and everything it said."""
    with pytest.raises(SystemExit) as left:
        main(["--ledger", str(ledger.store.url.database), *words])
    said = capsys.readouterr()
    return int(left.value.code or 0), said.out + said.err


def make(ledger: Ledger, sheet: BatchSheet, heavier: float = 1.0) -> None:
    """Record the batch as the sheet says, with every pour `heavier` times as heavy."""
    day, batch = ledger.today(), sheet.batch
    takes = [
        Take(lot=lot.lot, mass_mg=lot.mass_mg)
        for line in (*sheet.charge, *sheet.additions, *sheet.dyes) for lot in line.lots
    ]  # fmt: skip
    water = next(line.mass_mg for line in sheet.charge if line.role == "water")
    gives = tuple(Give(lot="", kind="mass", mass_mg=round(p.mass_mg * heavier), portion=p.key) for p in sheet.pours)
    ledger.do(
        c.Cook(
            day=day, batch=batch, takes=tuple(takes), gives=gives, water_mg=water, end_temperature_mc=sheet.cook.end_mc
        )
    )
    lots = {row["portion"]: row["lot"] for row in ledger.queries.lots(batch=batch).to_dict("records")}
    for portion in sheet.portions:
        if portion.blended_of:
            parts = tuple(Take(lot=lots[key], mass_mg=round(mass * heavier)) for key, mass in portion.blended_of)
            ledger.do(
                c.Blend(
                    day=day,
                    batch=batch,
                    takes=parts,
                    gives=(Give(lot="", kind="mass", basis="derived", portion=portion.key),),
                )
            )
    ledger.do(c.Build(day=day, batch=batch))
    ledger.do(
        c.Roll(
            day=day,
            batch=batch,
            diameter_um=sheet.sizes.rod_um,
            gives=(Give(lot="", kind="rods", pieces=sheet.sizes.rods, basis="derived"),),
        )
    )
    pieces = sheet.process_yield.good_pieces
    ledger.do(
        c.CutRods(
            day=day, batch=batch, piece_um=sheet.sizes.piece_um,
            gives=(Give(lot="", kind="pieces", mass_mg=pieces * sheet.sizes.piece_mg, pieces=pieces),),
        )
    )  # fmt: skip
    ledger.do(c.PackUp(day=day, batch=batch, pack="LEMON-JAR", packs=sheet.sizes.packs))
