"""What an amended entry keeps of the one it corrects: codes of its lots, rates and shares of its day, words said for the same figure."""

from __future__ import annotations

from dataclasses import replace

from ledger.domain.batch import commands as bc
from ledger.domain.codes import LOT_LETTER, REBOIL_LETTER, next_lot_code
from ledger.domain.movement import Movement
from ledger.domain.parts import Give, Loss, Take
from ledger.domain.state import Recorded, State
from ledger.errors import StepsInTheWay
from ledger.quantities import mass_text


def new_codes(command: bc.StepCommand, old: Movement, state: State) -> bc.StepCommand:
    """Where some outputs are named by their lots, the others are new: none gets the code of one that is taken out, which later steps may name."""
    own = {g.lot for g in old.gives}
    if not any(g.lot in own for g in command.gives) or all(g.lot for g in command.gives):
        return command
    taken = own | {x.lot for x in state.lots_of_batch(old.batch)}
    gives = []
    for give in command.gives:
        letter = REBOIL_LETTER if give.kind == "reboil" else LOT_LETTER[old.step]
        give = give if give.lot else replace(give, lot=next_lot_code(f"{old.batch}-", letter, taken))
        taken.add(give.lot)
        gives.append(give)
    return replace(command, gives=tuple(gives))


def as_then(new: Movement, old: Movement) -> Movement:
    """The new entry with what an amendment does not mean to touch: rates and dry shares as they stood then, and words said for the same figure."""
    rates = {w.worker: w.rate for w in old.work}
    order = list(rates)
    work = sorted(new.work, key=lambda w: order.index(w.worker) if w.worker in rates else len(order))
    solids = {t.lot: t.solids_ppm for t in old.takes}
    parts: list[Take | Give | Loss] = [*old.takes, *old.gives, *old.losses]
    said = {_figure(x): x.entered for x in parts}
    takes = (replace(t, solids_ppm=solids.get(t.lot, t.solids_ppm)) for t in new.takes)
    return replace(
        new, work=tuple(replace(w, rate=rates.get(w.worker, w.rate)) for w in work),
        takes=tuple(replace(t, entered=said.get(_figure(t), t.entered)) for t in takes),
        gives=tuple(replace(g, entered=said.get(_figure(g), g.entered)) for g in new.gives),
        losses=tuple(replace(x, entered=said.get(_figure(x), x.entered)) for x in new.losses),
    )  # fmt: skip


def _figure(part: Take | Give | Loss) -> tuple[str, str, int]:
    where = part.cause if isinstance(part, Loss) else part.lot
    return type(part).__name__, where, part.mass_mg


def no_loose_lot(record: Recorded, new: Movement, state: State) -> None:
    """A portion, log or rods added to a closed batch would be left lying: nothing after the closing can take it."""
    batch = state.batch(new.batch) if new.batch else None
    if batch is None or batch.status != "closed":
        return
    had = {g.lot for g in record.event.gives}
    added = [g for g in new.gives if g.lot not in had and g.kind in ("mass", "log", "rods")]
    if added:
        told = ", ".join(f"{g.portion or g.kind} {mass_text(g.mass_mg)}" for g in added)
        raise StepsInTheWay(
            f"Batch {batch.batch} is closed, so {told} added to its {new.step} could go nowhere. Void the closing first, then add it here, "
            "amend the step that used it, and close the batch again.",
            batch=batch.batch, steps=["close"],
        )  # fmt: skip
