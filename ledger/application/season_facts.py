"""Facts beside the sales: run-outs, promotions, closures, bulk orders and shows, one by one or from a CSV file that is safe to load twice."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from ledger.application.csv_rows import csv_rows
from ledger.application.ledger import Ledger, Order, noon
from ledger.domain.books import entries as e
from ledger.domain.books.book import Book
from ledger.domain.shelf.commands import NoteRunOut, PlanPromotion
from ledger.errors import BadInput, SlabbookError
from ledger.quantities import day, time_span, time_span_text

KINDS = ("run-out", "promotion", "closure", "bulk", "show")
FIELDS = ("kind", "from", "to", "flavour", "channel", "packs", "at", "note")
NEEDS = {
    "run-out": ("flavour", "channel"), "promotion": (), "closure": (), "bulk": ("flavour", "channel", "packs"), "show": ("at",),
}  # fmt: skip


@dataclass(slots=True)
class Loaded:
    """What came of a file: rows read, facts recorded, known before, and (line, why) of what was refused."""

    rows: int = 0
    recorded: int = 0
    repeated: int = 0
    bad: list[tuple[int, str]] = field(default_factory=list)


def fact(row: Mapping[str, str], book: Book, today: str) -> Any:
    """The command of one fact given in plain words: kind, from, to (left out: one day), flavour, channel, packs, at (`14:00-15:30`), note.

    Raises BadInput or UnknownThing naming the value and the way out.
    """
    said = {name: str(row.get(name) or "").strip() for name in FIELDS}
    kind = said["kind"].replace("_", "-").replace("bulk order", "bulk").lower()
    if kind not in KINDS:
        raise BadInput(f"`{said['kind']}` is no kind of fact; give one of {', '.join(KINDS)}.", value=said["kind"])
    missing = [name for name in NEEDS[kind] if not said[name]]
    if missing:
        raise BadInput(f"A {kind} needs {' and '.join(missing)}.", missing=missing)
    first = day(said["from"] or today)
    last = day(said["to"] or first)
    if last < first:
        raise BadInput(f"The last day {last} lies before the first, {first}. Turn them round.", value=last, limit=first)
    if said["flavour"]:
        said["flavour"] = book.get(e.Flavour, book.meant(e.Flavour, said["flavour"])).id
    if said["channel"]:
        said["channel"] = book.get(e.Channel, book.meant(e.Channel, said["channel"])).id
    note = said["note"]
    if said["packs"] and kind != "bulk":
        raise BadInput(f"Only a bulk order has packs; a {kind} has none. Leave them out.", value=said["packs"])
    if said["at"] and kind != "show":
        raise BadInput(f"Only a show has a time of day; a {kind} lasts whole days. Leave it out.", value=said["at"])
    if kind == "run-out":
        return NoteRunOut(day=first, flavour=said["flavour"], channel=said["channel"], until_day=last, note=note)
    units = _packs(said["packs"]) if kind == "bulk" else 0
    at = time_span_text(*time_span(said["at"])) if kind == "show" else ""
    return PlanPromotion(day=min(today, first), from_day=first, to_day=last, flavour=said["flavour"],
                         channel=said["channel"], kind=kind, units=units, at=at, note=note)  # fmt: skip


def record(ledger: Ledger, row: Mapping[str, str], actor: str = "") -> Any:
    """Record one fact."""
    return ledger.do(fact(row, ledger.book(), ledger.today()), actor)


def load(ledger: Ledger, text: str, actor: str = "", dry: bool = False) -> Loaded:
    """Record facts of a CSV file with the columns kind, from, to, flavour, channel, packs, at, note. One bad row and nothing is written.

    A row's command id is made of what it says (and of which repetition of the same words it is), so a file may be loaded twice, on any day. Raises BadInput when a needed column is missing.
    """
    head, rows = csv_rows(text)
    if "kind" not in head or "from" not in head:
        raise BadInput(
            f"The file's first line must name the columns {', '.join(FIELDS)} (kind and from at least); it has {', '.join(head) or 'nothing'}.",
            value=head,
        )
    book, today, out = ledger.book(), ledger.today(), Loaded()
    zone, said, known = book.site().zone, Counter[str](), 0
    orders: list[Order] = []
    lines: list[int] = []
    for line, row in rows:
        out.rows += 1
        try:
            if not row["from"]:
                raise BadInput("The first day is missing; write it under `from`, such as 2026-11-10.")
            command = fact(row, book, today)
        except SlabbookError as error:
            out.bad.append((line, error.message))
            continue
        words = "|".join(row.get(name, "") for name in FIELDS)
        said[words] += 1
        told = words if said[words] == 1 else f"{words}|{said[words]}"
        id = "fact-" + hashlib.sha256(told.encode()).hexdigest()[:32]
        if (
            ledger.queries.answered(id) is not None
        ):  # also where it was loaded on another day: what is known ahead is entered on the day of its file
            known += 1
            continue
        orders.append(Order(command, actor, id, noon(command.day, zone)))
        lines.append(line)
    if out.bad:
        return out
    out.repeated = known
    if not orders:
        return out
    done = ledger.do_rows(orders, dry=dry)
    out.bad += [(lines[number], error.message) for number, error in done.refused]
    if not out.bad:
        again = sum(o.repeated for o in done.outcomes)
        out.recorded, out.repeated = len(done.outcomes) - again, known + again
    return out


def _packs(text: str) -> int:
    if not text.isdigit() or int(text) < 1:
        raise BadInput(f"`{text}` is no number of packs; give a whole number from 1 on.", value=text)
    return int(text)


__all__ = ["FIELDS", "KINDS", "Loaded", "fact", "load", "record"]
