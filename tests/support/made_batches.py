"""A batch made from kettle to jar by the commands a bench sends, in the amounts of its recipe: for tests in which a plan is worked by."""

from __future__ import annotations

from typing import Any

from ledger.application.ledger import Ledger
from ledger.domain.books import entries as e
from ledger.interfaces.commands_in import read_command


def say(ledger: Ledger, name: str, by: str = "MK", **data: Any) -> None:
    """One command in human words, as a tablet sends it."""
    ledger.do(read_command(name, data, ledger.book(), ledger.today()), by)


def make_batch(ledger: Ledger, batch: str, packed_kg: float, packs_short: int = 0) -> int:
    """Make an opened batch: its recipe's materials are weighed in, `packed_kg` is cut and packed in the flavour's smallest pack. The packs it gave.

    Raises AssertionError where the house holds too little of a material.
    """
    row = ledger.queries.batches(first_day="2000-01-01", most=5000).set_index("batch").loc[batch]
    book, flavour = ledger.book(), str(row["flavour"])
    recipe = book.recipe_of(flavour)
    assert recipe is not None
    takes: list[dict[str, str]] = []
    for line in recipe.lines:
        lots = ledger.queries.lots(kinds=["material"], item=line.material)
        lots = lots[(lots["held"] == "") & (lots["mass_mg"] >= line.mass_mg)]
        assert len(lots), f"too little {line.material} in the house"
        takes.append({"lot": str(lots["lot"].iloc[0]), "mass": f"{line.mass_mg / 1000:.3f} g"})
    packs = [p for p in book.all(e.Pack) if p.flavour == flavour and p.design in ("", str(row["design"]))]
    pack = min(packs, key=lambda p: p.net_mg)
    count = int(packed_kg * 1e6 // pack.net_mg) - packs_short
    say(
        ledger,
        "cook",
        batch=batch,
        takes=takes,
        gives=[{"mass": f"{packed_kg + 0.4} kg"}],
        work=[{"worker": "MK", "time": "1 h"}],
    )
    say(ledger, "build", batch=batch)
    say(ledger, "roll", batch=batch)
    say(
        ledger,
        "cut",
        batch=batch,
        gives=[{"kind": "pieces", "mass": f"{packed_kg + 0.1} kg"}],
        losses=[{"cause": "ends", "mass": "0.3 kg"}],
    )
    say(ledger, "pack", batch=batch, pack=pack.id, packs=str(count))
    say(ledger, "close-batch", batch=batch)
    return count


__all__ = ["make_batch", "say"]
