"""What stands on the bench when the history ends: one batch pulled and waiting to be built, one opened and not yet lit."""

from __future__ import annotations

from datetime import date, timedelta

from ledger.domain.batch import commands as c
from ledger.domain.codes import next_batch_code
from ledger.domain.parts import ALL, Give, Take, Work
from seeds.shop import sheets
from seeds.shop.recorder import at
from seeds.shop.settings import Line
from seeds.shop.world import World


def leave_some(world: World, day: date) -> int:
    """Start two batches on the last day, from what is in the store; returns how many were started."""
    taken = set(world.recorder.ledger.queries.batches(first_day=day.isoformat(), last_day=day.isoformat())["batch"])
    lines = [x for x in world.shop.lines.values() if x.design.kind == "picture"][:2]
    begun = 0
    for number, line in enumerate(lines):
        takes = _charge(world, line)
        if not takes:
            continue
        batch = next_batch_code(day.isoformat(), taken)
        taken.add(batch)
        start = at(day, 14.5 + number * 1.5, world.recorder.zone)
        planned = world.plan.next(line, day) if world.plan is not None else ""
        opened = c.OpenBatch(
            day=day.isoformat(), flavour=line.id, design=line.design.id, batch=batch, plan_line=planned
        )
        world.recorder.tell(opened, "MK", start)
        world.note("sheets", sheets.print_one(world, line, batch, day, 14.5 + number * 1.5, 0.7))
        begun += 1
        if number:
            continue
        charged = sum(t.mass_mg for t in takes)
        water = charged * 15 // 100
        solids = sum(t.mass_mg * t.solids_ppm for t in takes) // 1_000_000
        poured = solids * 100 // 98 * 992 // 1000
        clear = poured * 45 // 100 // 10_000 * 10_000
        white = poured // 10_000 * 10_000 - clear
        gives = (
            Give(lot="", kind="mass", mass_mg=clear, portion="clear"),
            Give(lot="", kind="mass", mass_mg=white, portion="white"),
        )
        cooked = c.Cook(
            day=day.isoformat(), batch=batch, takes=takes, water_mg=water, gives=gives, station="K1", end_temperature_mc=154_400,
            end_temperature="154.4 C", work=(Work(worker="MK", seconds=2_700),),
        )  # fmt: skip
        world.recorder.tell(cooked, "MK", start + timedelta(minutes=10))
        pulled = c.Pull(
            day=day.isoformat(), batch=batch, takes=(Take(lot=f"{batch}-C2", basis=ALL),), station="HOOK",
            work=(Work(worker="JO", seconds=720),),
        )  # fmt: skip
        world.recorder.tell(pulled, "JO", start + timedelta(minutes=62))
    return begun


def _charge(world: World, line: Line) -> tuple[Take, ...]:
    """Seven tenths of a kettle from the fullest lot of each material; empty when one is short."""
    from ledger.domain.books.entries import Material

    lots = world.recorder.ledger.queries.lots(kinds=["material"])
    takes = []
    for need in line.recipe.lines:
        material = world.shop.book.get(Material, need.material)
        if not material.tracked:
            continue
        mass = need.mass_mg * 7 // 10
        fit = lots[(lots["item"] == need.material) & (lots["mass_mg"] >= mass) & (lots["held"] == "")].sort_values(
            "best_before"
        )
        if fit.empty:
            return ()
        takes.append(Take(lot=str(fit.iloc[0]["lot"]), mass_mg=mass, solids_ppm=material.solids_ppm))
    return tuple(takes)
