"""Batch sheets of the last days: printed before the burner was lit, so that plan against actual has something to show."""

from __future__ import annotations

from datetime import date

from ledger.application import sheets
from ledger.craft.sheet import sheet_to_plain
from ledger.domain.batch.commands import IssueSheet
from seeds.shop.recorder import at
from seeds.shop.settings import Line
from seeds.shop.world import World

DAYS = 7
"""How many of the last days have sheets: each new picture takes half a second to read."""


def print_one(world: World, line: Line, batch: str, day: date, hour: float, share: float) -> bool:
    """Issue the sheet of a picture batch of the last days; share: how much of a full kettle it takes."""
    if line.design.kind != "picture" or (world.last - day).days >= DAYS:
        return False
    charge = sum(x.mass_mg for x in line.recipe.lines) * share
    packs = int(charge * 0.99 * line.recipe.process_yield_ppm / 1_000_000 / line.packs[0].net_mg)
    ask = sheets.Ask(design=line.design.id, flavour=line.id, pack=line.packs[0].id, packs=packs, batch=batch)
    planned = sheets.plan(world.recorder.ledger, ask)
    sheet = sheet_to_plain(planned.sheet) | {"batch": batch, "planned_for": day.isoformat()}
    world.recorder.tell(
        IssueSheet(day=day.isoformat(), batch=batch, sheet=sheet), "MK", at(day, hour + 0.05, world.recorder.zone)
    )
    return True
