"""What the ledger itself knows that a sheet is planned with: yields, weighings, lots, the batch before, the thermometer."""

from __future__ import annotations

import json
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, TypeVar

import pandas as pd

from ledger.analytics.flows import flows
from ledger.application.ledger import Ledger
from ledger.craft.density import CRYSTAL_KG_M3, LOOSEST_KG_M3, PieceWeighing, piece_volume_mm3
from ledger.craft.lots import LotOnHand
from ledger.craft.process_yield import RECENT_BATCHES, BatchYield
from ledger.domain.books import entries as e
from ledger.domain.books.book import Book
from ledger.domain.parts import WEIGHED
from ledger.domain.postings import iso_week
from ledger.projections.queries import Queries

T = TypeVar("T")
OLD_CHECK_DAYS = 30
_kept: OrderedDict[Hashable, Any] = OrderedDict()
_lock = threading.Lock()
MOST_KEPT = 64


def remembered(ledger: Ledger, key: tuple[Hashable, ...], make: Callable[[], T]) -> T:
    """What was worked out before for the same ledger at the same position; so a slider's move reads the ledger only once."""
    whole = (id(ledger.store), str(ledger.store.url), ledger.store.site, ledger.queries.as_of().position, *key)
    with _lock:
        if whole in _kept:
            _kept.move_to_end(whole)
            known: T = _kept[whole]
            return known
    found = make()
    with _lock:
        _kept[whole] = found
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What the ledger says about a flavour and a design on a day; `notes` tell what was left out and why."""

    yields: tuple[BatchYield, ...]
    weighings: tuple[PieceWeighing, ...]
    lots: tuple[LotOnHand, ...]
    previous: tuple[str, ...] | None
    notes: tuple[str, ...]


def facts(ledger: Ledger, book: Book, flavour: e.Flavour, design: e.Design, day: str) -> Facts:
    """Everything a sheet takes from the ledger."""

    def make() -> Facts:
        notes: list[str] = []
        yields, weighings = _yields(ledger, flavour.id, notes), _weighings(ledger, design, notes)
        lots, previous = _lots(ledger, book, notes), _previous_allergens(ledger, book)
        return Facts(yields=yields, weighings=weighings, lots=lots, previous=previous, notes=tuple(notes))

    return remembered(ledger, ("facts", flavour.id, design.id, day), make)


def _yields(ledger: Ledger, flavour: str, notes: list[str]) -> tuple[BatchYield, ...]:
    """Cooked and sound mass of the flavour's latest finished batches, oldest first."""
    done = ledger.queries.batches(status="closed", flavour=flavour, most=RECENT_BATCHES)
    if done.empty:
        return ()
    order = list(reversed(done["batch"]))
    frame = ledger.queries.balances(("batch", "step", "kind", "account"), *_weeks(done), flavour=flavour)
    frame = frame[frame["batch"].isin(order)]
    by_batch = flows(frame, ("batch",)).set_index("batch")
    found = []
    for batch in order:
        if batch not in by_batch.index:
            continue
        row = by_batch.loc[batch]
        cooked, sound = int(row["charged_mg"] - row["evaporated_mg"]), int(row["good_mg"])
        if cooked <= 0 or sound <= 0:
            continue
        if sound > cooked:
            notes.append(
                f"Batch {batch} has more good pieces than cooked mass and was left out of the yield: correct its weighings."
            )
            continue
        found.append(BatchYield(cooked_mg=cooked, sound_mg=sound))
    return tuple(found)


def _weeks(batches: pd.DataFrame) -> tuple[str, str]:
    return iso_week(str(batches["day"].min())), iso_week(str(batches["last_day"].max()))


def believed_in(queries: Queries, batch: str, known: int | None = None) -> list[tuple[str, dict[str, Any]]]:
    """(stored name, data) of a batch's entries as believed now (or right after a position), in order; voided ones left out."""
    found: dict[int, tuple[str, dict[str, Any]]] = {}
    for row in queries.log(batch=batch, most=2000).to_dict("records"):
        data, position = json.loads(row["payload"]), int(row["position"])
        if known is not None and position > known:
            continue
        if row["name"] == "ledger.voided":
            found.pop(int(data["origin"]), None)
        elif row["name"] == "ledger.amended":
            if int(data["origin"]) in found:
                found[int(data["origin"])] = (data["name"], data["data"])
        else:
            found[position] = (str(row["name"]), data)
    return list(found.values())


def _weighings(ledger: Ledger, design: e.Design, notes: list[str]) -> tuple[PieceWeighing, ...]:
    """Counted and weighed pieces of the design from the latest batches that cut it, oldest first."""
    lots = ledger.queries.lots(holding=False, kinds=["pieces"])
    lots = lots[(lots["design"] == design.id) & (lots["made_pieces"] > 0)]
    found: list[PieceWeighing] = []
    for batch in list(dict.fromkeys(lots["batch"]))[-RECENT_BATCHES:]:
        rod = design.rod_um
        for name, data in believed_in(ledger.queries, batch):
            if name == "batch.rolled":
                rod = int(data.get("diameter_um") or rod)
            if name != "batch.cut":
                continue
            length = int(data.get("piece_um") or design.piece_um)
            for give in data.get("gives", []):
                if give.get("kind") == "pieces" and give.get("pieces") and give.get("basis", WEIGHED) == WEIGHED:
                    one = PieceWeighing(
                        mass_mg=int(give["mass_mg"]), pieces=int(give["pieces"]), rod_um=rod, length_um=length
                    )
                    density = one.mass_mg * 1000 / (one.pieces * piece_volume_mm3(rod, length)) if rod and length else 0
                    if LOOSEST_KG_M3 <= density <= CRYSTAL_KG_M3:
                        found.append(one)
                    else:
                        notes.append(
                            f"Batch {batch}: {one.pieces} pieces weighing {one.mass_mg / 1000:,.0f} g cannot be sugar of that size "
                            f"({density:.0f} kg/m3) and were left out of the density: count and measure again."
                        )
    return tuple(found)


def _lots(ledger: Ledger, book: Book, notes: list[str]) -> tuple[LotOnHand, ...]:
    """Material lots that are free: not held, and without what sheets of batches not yet cooked have been promised."""
    frame = ledger.queries.lots(kinds=["material"])
    held = sorted(str(x) for x in frame[frame["held"] != ""]["lot"])
    if held:
        notes.append(f"Held and not proposed: lot {', '.join(held)}.")
    promised = _promised(ledger, notes)
    found = []
    for row in frame[frame["held"] == ""].to_dict("records"):
        material = book.find(e.Material, row["item"])
        free = int(row["mass_mg"]) - promised.get(row["lot"], 0)
        if free > 0:
            best = date.fromisoformat(row["best_before"]) if row["best_before"] else None
            found.append(
                LotOnHand(
                    lot=row["lot"], material=material.name if material else row["item"], mass_mg=free, best_before=best
                )
            )
    return tuple(found)


def _promised(ledger: Ledger, notes: list[str]) -> dict[str, int]:
    """Milligrams by lot that the sheets of open batches will still take: those with a sheet and no cook."""
    promised: dict[str, int] = {}
    waiting = ledger.queries.batches(status="open", most=200)
    names = []
    for batch in waiting[~waiting["steps"].str.contains("cook", regex=False)]["batch"]:
        sheets = ledger.queries.papers("sheet", batch)
        if not sheets:
            continue
        names.append(str(batch))
        sheet = sheets[-1][1].sheet
        for line in (*sheet.get("charge", ()), *sheet.get("additions", ()), *sheet.get("dyes", ())):
            for share in line.get("lots", ()):
                promised[share["lot"]] = promised.get(share["lot"], 0) + int(share["mass_mg"])
    if names:
        notes.append(f"Lots promised to batches not cooked yet ({', '.join(sorted(names))}) are not proposed again.")
    return promised


def _previous_allergens(ledger: Ledger, book: Book) -> tuple[str, ...] | None:
    """Allergens of the newest cooked batch's materials; None when no batch was cooked yet."""
    newest = ledger.queries.batches(most=40)
    cooked = newest[newest["steps"].str.contains("cook", regex=False)]
    if cooked.empty:
        return None
    batch = str(cooked.sort_values(["last_at", "last_position"]).iloc[-1]["batch"])
    moves = ledger.queries.postings(batch=batch, kinds=["lot.material"])
    return allergens_of(book, moves["item"].unique())


def allergens_of(book: Book, items: Any) -> tuple[str, ...]:
    """Allergens of materials by id, sorted."""
    found = {a for item in items if (m := book.find(e.Material, str(item))) is not None for a in m.allergens}
    return tuple(sorted(found))


def newest_check(ledger: Ledger, station: str, day: str) -> Any:
    """The newest boiling-water check of a station's thermometer up to a day, as its event; None when it was never checked."""
    found = [
        event for _, event in ledger.queries.papers("thermometer") if event.station == station and event.day <= day
    ]
    return sorted(found, key=lambda event: event.day)[-1] if found else None


def age_in_days(then: str, now: str) -> int:
    """Days from one ISO day to another."""
    return (date.fromisoformat(now) - date.fromisoformat(then)) // timedelta(days=1)
