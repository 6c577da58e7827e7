"""What is possible but strange in a step, as flags for somebody to answer. Nothing here refuses."""

from __future__ import annotations

from ledger.domain.batch.events import Cooked, Cut
from ledger.domain.books import entries as e
from ledger.domain.movement import Movement
from ledger.domain.parts import Flag
from ledger.domain.state import Batch, State
from ledger.quantities import mass_text

PPM = 1_000_000
OFF_YIELD_PPM = 100_000
"""A cut this far below the recipe's process yield is flagged: ten points (common practice, no source)."""


def watch(event: Movement, batch: Batch, state: State) -> tuple[Flag, ...]:
    """Flags for a kettle too full or too empty, too much re-boil, re-boil of another flavour, and a cut far under its usual yield."""
    if isinstance(event, Cooked):
        return (*_kettle(event, state), *_reboil(event, batch, state))
    if isinstance(event, Cut):
        return _yield(event, batch)
    return ()


def _kettle(event: Cooked, state: State) -> tuple[Flag, ...]:
    station = state.book.find(e.Station, event.station) if event.station else None
    if station is None:
        return ()
    charge = event.water_mg + sum(t.mass_mg for t in event.takes)
    if station.max_mg and charge > station.max_mg:
        told = f"{mass_text(charge)} went into {station.id}, which holds {mass_text(station.max_mg)}. Boiling syrup rises: never fill it so far."
        return (Flag(code="kettle-full", text=told),)
    if station.min_mg and charge < station.min_mg:
        return (
            Flag(
                code="kettle-low",
                text=f"{mass_text(charge)} went into {station.id}, whose smallest load is {mass_text(station.min_mg)}.",
            ),
        )
    return ()


def _reboil(event: Cooked, batch: Batch, state: State) -> tuple[Flag, ...]:
    lots = [(t, lot) for t in event.takes if (lot := state.lot(t.lot)) is not None and lot.kind == "reboil"]
    flags = []
    strange = sorted({lot.flavour for _, lot in lots if lot.flavour != batch.flavour})
    if strange:
        told = f"Re-boil of {', '.join(strange)} went into {batch.flavour}: its flavour, colours and allergens go with it. Check the label."
        flags.append(Flag(code="reboil-flavour", text=told))
    recipe = state.book.find(e.Recipe, batch.recipe)
    mass = sum(t.mass_mg for t, _ in lots)
    charge = sum(t.mass_mg for t in event.takes)
    if recipe is not None and charge and mass * PPM > charge * recipe.reboil_max_ppm:
        told = f"{mass_text(mass)} of re-boil is {mass * 100 / charge:.0f} % of the charge; the recipe allows {recipe.reboil_max_ppm / 10_000:g} %."
        flags.append(Flag(code="reboil-share", text=told))
    return tuple(flags)


def _yield(event: Cut, batch: Batch) -> tuple[Flag, ...]:
    used = sum(t.mass_mg for t in event.takes)
    sound = sum(g.mass_mg for g in event.gives if g.kind == "pieces")
    if not used or sound * PPM >= used * (batch.process_yield_ppm - OFF_YIELD_PPM):
        return ()
    told = f"{mass_text(sound)} of sound pieces from {mass_text(used)} of rods is {sound * 100 / used:.0f} %; usual is {batch.process_yield_ppm / 10_000:g} %."
    return (Flag(code="low-yield", text=told),)
