"""What stands on the shelf and in the store room, as the shop itself would count it: the generator's own mirror of the ledger."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date


@dataclass(slots=True)
class PackLot:
    """Packs of one lot: what is left, and how many were made."""

    lot: str
    pack: str
    left: int
    made: int
    best_before: str
    from_day: date


@dataclass(slots=True)
class Shelf:
    """Packs by pack id, first expired first."""

    lots: dict[str, list[PackLot]] = field(default_factory=dict)
    coming: list[PackLot] = field(default_factory=list)

    def put(self, lot: PackLot) -> None:
        """A lot that may be sold from its `from_day` on."""
        self.coming.append(lot)

    def morning(self, day: date) -> None:
        """Put on the shelf what was entered in the ledger before today."""
        ready = [x for x in self.coming if x.from_day <= day]
        if ready:
            self.coming = [x for x in self.coming if x.from_day > day]
            for lot in ready:
                here = self.lots.setdefault(lot.pack, [])
                here.append(lot)
                here.sort(key=lambda x: (x.best_before, x.lot))

    def free(self, pack: str) -> int:
        """Packs that may be sold now."""
        return sum(x.left for x in self.lots.get(pack, ()))

    def on_the_way(self, pack: str) -> int:
        """Packs made but not yet entered."""
        return sum(x.left for x in self.coming if x.pack == pack)

    def take(self, pack: str, packs: int) -> int:
        """Take packs, oldest lot first; the number really taken."""
        need = packs
        for lot in self.lots.get(pack, ()):
            part = min(need, lot.left)
            lot.left -= part
            need -= part
            if not need:
                break
        if pack in self.lots:
            self.lots[pack] = [x for x in self.lots[pack] if x.left]
        return packs - need

    def drop(self, lot: str) -> int:
        """A lot is put aside or thrown away; the packs it had."""
        for pack, here in self.lots.items():
            for found in here:
                if found.lot == lot:
                    self.lots[pack] = [x for x in here if x is not found]
                    return found.left
        return 0


@dataclass(slots=True)
class StoreLot:
    """A received lot of a material."""

    lot: str
    material: str
    left: int
    day: date
    best_before: date


@dataclass(slots=True)
class StoreRoom:
    """Materials by id, oldest first, and which batches each lot went into."""

    lots: dict[str, list[StoreLot]] = field(default_factory=dict)
    used_in: dict[str, list[str]] = field(default_factory=dict)

    def free(self, material: str) -> int:
        """Milligrams at hand."""
        return sum(x.left for x in self.lots.get(material, ()))

    def put(self, lot: StoreLot) -> None:
        """A lot came in."""
        self.lots.setdefault(lot.material, []).append(lot)

    def take(self, material: str, mass_mg: int, batch: str) -> list[tuple[str, int]]:
        """(lot, mg) from the oldest on. Raises ValueError when there is not enough: the planner must look first."""
        parts, need = [], mass_mg
        for lot in self.lots.get(material, ()):
            part = min(need, lot.left)
            if part:
                parts.append((lot.lot, part))
                lot.left -= part
                need -= part
                self.used_in.setdefault(lot.lot, []).append(batch)
            if not need:
                break
        if need:
            raise ValueError(f"{material}: {need} mg short for {batch}")
        self.lots[material] = [x for x in self.lots[material] if x.left]
        return parts
