"""Works out what nobody weighed: shares of lots, evaporation, derived outputs, cost carried, and what stays unexplained.

The same function serves a new entry and the re-reading of an old one after an amendment, so that both always agree.
It is a pure function of the stated figures and of what the named lots held.

Evaporation. Charge - solids / (1 - moisture) is the theory (mass identity of a cook: charge = evaporated + cooked). What was
poured decides within the moisture band of the recipe; what lies outside the band cannot be water and is unexplained.
"""

from __future__ import annotations

from typing import Any, TypeVar

from ledger.domain.batch.events import Cooked, Packed
from ledger.domain.lots.events import LotCounted
from ledger.domain.movement import Movement
from ledger.domain.parts import ALL, DERIVED, NOMINAL, SHARE, Flag, Give, Take, changed
from ledger.domain.state import Lot, LotLookup, need_lot
from ledger.errors import NotEnough, Refused
from ledger.quantities import mass_text

M = TypeVar("M", bound=Movement)
PPM = 1_000_000
DERIVED_FLAGS = frozenset({"unexplained"})


def _short(kind: str, lot: Lot, wanted: str, there: str, **facts: object) -> NotEnough:
    return NotEnough(
        f"Lot {lot.lot} holds {there}, but {wanted} was asked for. Check the lot code and the figure; if the shelf really holds more, "
        f"count it first (`slabbook count {lot.lot} ...`).",
        lot=lot.lot, kind=kind, **facts,
    )  # fmt: skip


def derive_take(take: Take, lot: Lot) -> Take:
    """One take with its mass, counts and cost worked out against what the lot holds. Raises NotEnough."""
    mass, pieces, packs = take.mass_mg, take.pieces, take.packs
    if take.basis == ALL:
        mass, pieces, packs = lot.mass_mg, lot.pieces, lot.packs
    elif take.basis == SHARE:
        if packs:
            if packs > lot.packs:
                raise _short("packs", lot, f"{packs} packs", f"{lot.packs} packs", asked=packs, held=lot.packs)
            mass = lot.mass_mg * packs // lot.packs
            pieces = lot.pieces * packs // lot.packs
        else:
            if pieces > lot.pieces:
                raise _short("pieces", lot, f"{pieces} pieces", f"{lot.pieces} pieces", asked=pieces, held=lot.pieces)
            mass = lot.mass_mg * pieces // lot.pieces if lot.pieces else 0
    else:
        if mass > lot.mass_mg:
            raise _short("mass", lot, mass_text(mass), mass_text(lot.mass_mg), asked=mass, held=lot.mass_mg)
        if lot.pieces:
            pieces = lot.pieces if mass == lot.mass_mg else lot.pieces * mass // lot.mass_mg
    cost = lot.cost if mass == lot.mass_mg else lot.cost * mass // lot.mass_mg
    if mass == take.mass_mg and pieces == take.pieces and packs == take.packs and cost == take.cost:
        return take
    return Take(
        lot=take.lot, mass_mg=mass, pieces=pieces, packs=packs, cost=cost, solids_ppm=take.solids_ppm,
        basis=take.basis, portion=take.portion, entered=take.entered,
    )  # fmt: skip


def derive_takes(takes: tuple[Take, ...], lots: LotLookup) -> tuple[Take, ...]:
    """All takes of one entry; a lot named twice is drawn down between the two."""
    if len(takes) == 1:
        return (derive_take(takes[0], need_lot(lots, takes[0].lot)),)
    drawn: dict[str, Lot] = {}
    done = []
    for take in takes:
        lot = drawn.get(take.lot) or need_lot(lots, take.lot)
        result = derive_take(take, lot)
        done.append(result)
        drawn[take.lot] = Lot(
            lot.lot, lot.kind, mass_mg=lot.mass_mg - result.mass_mg, pieces=lot.pieces - result.pieces,
            packs=lot.packs - result.packs, cost=lot.cost - result.cost,
        )  # fmt: skip
    return tuple(done)


def cooked_mass(solids_mg: int, moisture_ppm: int) -> int:
    """Mass of the glass that these dry solids make at this moisture: solids / (1 - moisture)."""
    return solids_mg * PPM // (PPM - moisture_ppm)


def solids_of(takes: tuple[Take, ...]) -> int:
    """Dry solids charged, in mg."""
    return sum(t.mass_mg * t.solids_ppm for t in takes) // PPM


def spread(total: int, weights: list[int]) -> list[int]:
    """A whole number split by weights, exactly: rounded down, what is over goes to the last that has weight."""
    whole = sum(weights)
    if not whole:
        return [total if i == len(weights) - 1 else 0 for i in range(len(weights))]
    parts = [total * w // whole for w in weights]
    last = max(i for i, w in enumerate(weights) if w)
    parts[last] += total - sum(parts)
    return parts


def derive(event: M, lots: LotLookup) -> M:
    """The entry with every figure that follows from others. Raises NotEnough, UnknownThing, or Refused (more out than in)."""
    if isinstance(event, LotCounted):
        event = derive_count(event, lots)  # type: ignore[assignment]
    takes = derive_takes(event.takes, lots) if event.takes else ()
    gives, losses = event.gives, event.losses
    changes: dict[str, Any] = {}
    charge = event.water_mg
    for t in takes:
        charge += t.mass_mg
    lost = 0
    for x in losses:
        lost += x.mass_mg
    evaporated = 0
    fixed = lost
    open_gives = False
    for g in gives:
        if g.basis == DERIVED:
            open_gives = True
        else:
            fixed += g.mass_mg
    if isinstance(event, Cooked):
        solids = solids_of(takes)
        theory = charge - cooked_mass(solids, event.moisture_ppm)
        if open_gives:
            evaporated = max(0, theory)
        else:
            low = max(0, charge - cooked_mass(solids, event.moisture_high_ppm))
            high = max(0, charge - cooked_mass(solids, event.moisture_low_ppm))
            evaporated = min(max(charge - fixed, low), high)
        changes["theory_mg"] = theory
    rest = charge - evaporated - fixed
    if open_gives:
        if rest < 0:
            raise Refused(
                f"More comes out of this {event.step} than goes in: in {mass_text(charge)}, already accounted for "
                f"{mass_text(evaporated + fixed)}. Weigh the output, or correct the losses.",
                mass_in=charge, mass_out=evaporated + fixed,
            )  # fmt: skip
        gives = _fill_derived(gives, rest)
        rest = 0
    if isinstance(event, Packed):
        gives = _pieces_in_packs(gives, sum(t.pieces for t in takes) - sum(x.pieces for x in losses))
    if gives and event.step not in _SOURCES:
        gives = _carry_cost(gives, sum(t.cost for t in takes) + sum(w.wage() for w in event.work))
    flags = event.flags
    if event.step in _WATCHED:
        flags = tuple(f for f in flags if f.code not in DERIVED_FLAGS)
        limit = charge * event.unexplained_ppm // PPM
        if abs(rest) > limit:
            word = "more went in than came out" if rest > 0 else "more came out than went in"
            flags = (
                *flags,
                Flag(
                    code="unexplained",
                    text=f"{event.step}: {word}, {mass_text(abs(rest))} of {mass_text(charge)} unexplained (limit {mass_text(limit)})",
                ),
            )
    return changed(
        event, takes=takes, gives=gives, evaporated_mg=evaporated, unexplained_mg=rest if event.step in _BALANCED else 0,
        flags=flags, **changes,
    )  # fmt: skip


_SOURCES = frozenset({"receive", "return", "count"})
_WATCHED = frozenset({"cook", "pull", "blend", "build", "roll", "cut", "pack"})
_BALANCED = _WATCHED | {"close", "other"}


def derive_count(event: LotCounted, lots: LotLookup) -> LotCounted:
    """What a stock-take found, as the difference to the books: a take where less was found, a give where more."""
    lot = need_lot(lots, event.lot)
    if event.counted == "mass":
        found, held = event.found_mg, lot.mass_mg
        pieces = lot.pieces * found // held if held else lot.pieces
        target = (found, pieces, lot.packs)
    elif event.counted == "packs":
        found, held = event.found_packs, lot.packs
        unit_mg = lot.made_mg // lot.made_packs if lot.made_packs else 0
        unit_pieces = lot.made_pieces // lot.made_packs if lot.made_packs else 0
        target = (
            (lot.mass_mg * found // held, lot.pieces * found // held, found)
            if held and found <= held
            else (lot.mass_mg + unit_mg * (found - held), lot.pieces + unit_pieces * (found - held), found)
        )
    else:
        found, held = event.found_pieces, lot.pieces
        unit_mg = lot.made_mg // lot.made_pieces if lot.made_pieces else 0
        target = (
            (lot.mass_mg * found // held, found, lot.packs)
            if held and found <= held
            else (lot.mass_mg + unit_mg * (found - held), found, lot.packs)
        )
    mass, pieces, packs = target[0] - lot.mass_mg, target[1] - lot.pieces, target[2] - lot.packs
    takes: tuple[Take, ...] = ()
    gives: tuple[Give, ...] = ()
    if mass < 0 or packs < 0 or pieces < 0:
        takes = (Take(lot=lot.lot, mass_mg=-mass, pieces=-pieces, packs=-packs, basis=NOMINAL),)
    elif mass or packs or pieces:
        gives = (
            Give(lot=lot.lot, kind=lot.kind, item=lot.item, mass_mg=mass, pieces=pieces, packs=packs, basis=NOMINAL),
        )
    return changed(
        event, kind=lot.kind, item=lot.item, flavour=lot.flavour, design=lot.design, takes=takes, gives=gives
    )


def _fill_derived(gives: tuple[Give, ...], rest: int) -> tuple[Give, ...]:
    open_count = sum(1 for g in gives if g.basis == DERIVED)
    parts = iter(spread(rest, [1] * open_count))
    return tuple(changed(g, mass_mg=next(parts)) if g.basis == DERIVED else g for g in gives)


def _pieces_in_packs(gives: tuple[Give, ...], pieces: int) -> tuple[Give, ...]:
    into = [g for g in gives if g.kind == "packs"]
    if not into or any(g.kind == "pieces" for g in gives):
        return gives
    parts = iter(spread(pieces, [g.packs for g in into]))
    return tuple(changed(g, pieces=next(parts)) if g.kind == "packs" else g for g in gives)


def _carry_cost(gives: tuple[Give, ...], cost: int) -> tuple[Give, ...]:
    if len(gives) == 1:
        return gives if gives[0].cost == cost else (changed(gives[0], cost=cost),)
    return tuple(changed(g, cost=c) for g, c in zip(gives, spread(cost, [g.mass_mg for g in gives]), strict=True))


__all__ = ["NOMINAL", "cooked_mass", "derive", "derive_take", "solids_of", "spread"]
