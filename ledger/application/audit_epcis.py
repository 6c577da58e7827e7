"""Interchange with the ledger: a lot's path or a period as a GS1 EPCIS 2.0 document, and receipts out of one.

Documents are compatible with EPCIS 2.0; nobody certifies them. A corrected entry goes out as the standard wants it: the wrong event
again with an error declaration, then what replaces it.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from urllib.parse import unquote, urlsplit
from zoneinfo import ZoneInfo

from ledger.analytics.records import records
from ledger.application.audit import graph_of
from ledger.application.ledger import Ledger, Order
from ledger.application.reports_types import Basis, basis
from ledger.domain.books import entries as e
from ledger.domain.lots.commands import ReceiveLot
from ledger.errors import BadInput
from ledger.quantities import day as day_of
from ledger.trace.epcis_export import Namer, to_json
from ledger.trace.epcis_graph import measured
from ledger.trace.epcis_import import import_document
from ledger.trace.epcis_map import FloorStep, Moved, document_of
from ledger.trace.epcis_model import Amount, TraceStep
from ledger.trace.epcis_validate import check_document, refuse_unsound
from ledger.trace.marks import find
from ledger.trace.queries import entries_of_lot

STEP_OF = {
    "lot.received": "receive", "batch.cooked": "cook", "batch.pulled": "pull", "batch.blended": "blend", "batch.built": "build",
    "batch.rolled": "roll", "batch.cut": "cut", "batch.packed": "pack", "lot.sampled": "sample", "lot.scrapped": "scrap",
    "shelf.sold": "counter", "shelf.shipped": "deliver", "shelf.returned": "return", "lot.counted": "count", "lot.held": "hold",
}  # fmt: skip
MAKING = ("cook", "pull", "blend", "build", "roll", "cut", "pack")


def export(ledger: Ledger, lot: str = "", first: str = "", last: str = "", *, base: str = "") -> tuple[str, int]:
    """The document as text and its number of events: one lot's whole path both ways, or the entries of a range of days.

    Raises BadInput when neither is asked, for a day that is none, a base that cannot name lots, or an empty period.
    """
    on = basis(ledger)
    if bool(lot) == bool(first or last):
        raise BadInput("Name a lot, or give a period with --from and --to; one of the two.", value=lot)
    entries = _of_lot(on, lot) if lot else _of_period(ledger, on, first, last)
    base = base or "https://" + (urlsplit(on.site.base_address.lower()).netloc or "shop.example")
    steps = list(_steps(on, entries))
    if not steps:
        raise BadInput(f"Nothing moved between {first} and {last}, so there is nothing to write.", value=first)
    name = lot or f"{first}-{last}"
    document = document_of(steps, Namer(base), created_at=_local(on, ledger.clock().isoformat()), name=name)
    refuse_unsound(document)
    return to_json(document), len(document.steps)


def _local(on: Basis, text: str) -> str:
    """A moment (ISO 8601 with its zone) on the shop's own clock, to the millisecond."""
    moment = datetime.fromisoformat(text).astimezone(ZoneInfo(on.site.zone))
    return moment.isoformat(timespec="milliseconds")


def _of_lot(on: Basis, lot: str) -> list[dict[str, Any]]:
    found = find(on.queries, lot)
    names: set[str] = set()
    for one in found.lots:
        back = graph_of(on, one, "backward").reach(one, "backward")
        names |= {one, *back, *graph_of(on, one, "forward").reach(one, "forward")}
    behind = set()
    for one in found.lots:
        behind |= graph_of(on, one, "backward").reach(one, "backward")
    rows = _log(on, entries_of_lot(on.queries, sorted(names)))
    inside = {one for one in names if one not in behind}

    def belongs(row: dict[str, Any]) -> bool:
        """A source lot's other uses are other paths: keep what made the lot's own sources, and all that happened ahead of it."""
        data = json.loads(row["payload"])
        body = data.get("data", data)
        given = {g["lot"] for g in body.get("gives", ())}
        taken = {t["lot"] for t in body.get("takes", ())}
        return bool(given & names) or bool(taken & inside) or not (given or taken)

    kept = {row["event_id"] for row in rows if row["name"] in STEP_OF and belongs(row)}
    return [row for row in rows if row["event_id"] in kept or row["corrects"] in kept]


def _of_period(ledger: Ledger, on: Basis, first: str, last: str) -> list[dict[str, Any]]:
    first, last = first or last, last or first
    first, last = day_of(first), day_of(last)
    frame = ledger.queries.log(most=10**9)
    days = frame["payload"].str.extract(r'"day":"(\d{4}-\d{2}-\d{2})"')[0]
    named = frame["name"].isin(list(STEP_OF))
    wanted = set(frame[named & (days >= first) & (days <= last)]["event_id"])
    return records(frame[frame["event_id"].isin(wanted) | frame["corrects"].isin(wanted)])


def _log(on: Basis, positions: list[int]) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for start in range(0, len(positions), 5000):
        part = positions[start : start + 5000]
        rows += records(on.queries.log(positions=part, most=len(part)))
    return rows


def _steps(on: Basis, entries: list[dict[str, Any]]) -> Iterator[FloorStep]:
    fixes: dict[str, list[dict[str, Any]]] = {}
    for row in entries:
        if row["corrects"]:
            fixes.setdefault(str(row["corrects"]), []).append(row)
    for row in entries:
        name = STEP_OF.get(str(row["name"]))
        if name is None:
            continue
        told = [(row, json.loads(row["payload"]))]
        told += [
            (f, json.loads(f["payload"]))
            for f in sorted(fixes.get(str(row["event_id"]), ()), key=lambda f: int(f["position"]))
        ]
        for place, (entry, data) in enumerate(told):
            if entry["name"] == "ledger.voided":
                continue
            after = told[place + 1] if place + 1 < len(told) else None
            wrong = None
            if after is not None:
                voided = after[0]["name"] == "ledger.voided"
                wrong = (_local(on, after[0]["recorded_at"]), "did_not_occur" if voided else "incorrect_data",
                         () if voided else (str(after[0]["event_id"]),))  # fmt: skip
            step = _step(on, name, row, entry, data.get("data", data) if place else data, wrong, after)
            if step is not None:
                yield step


def _step(
    on: Basis,
    name: str,
    row: Mapping[str, Any],
    entry: Mapping[str, Any],
    data: Mapping[str, Any],
    wrong: Any,
    after: Any,
) -> FloorStep | None:
    gives = tuple(_moved(on, g, data) for g in data.get("gives", ()) if g["mass_mg"] or g["packs"])
    takes = tuple(_moved(on, t, data) for t in data.get("takes", ()) if t["mass_mg"] or t["packs"])
    if data.get("water_mg"):
        takes = (*takes, Moved("WATER-MAINS", mass_mg=int(data["water_mg"])))
    if name == "count":
        counted = {"packs": "found_packs", "pieces": "found_pieces"}.get(data.get("counted", ""), "found_mg")
        amount = int(data.get(counted) or 0)
        takes = (
            (Moved(data["lot"], count=amount) if counted != "found_mg" else Moved(data["lot"], mass_mg=amount),)
            if amount
            else ()
        )
        gives = ()
    if name == "hold":
        if data.get("recall"):
            name = "recall"
        takes = tuple(Moved(x, count=None, mass_mg=None) for x in data["lots"])
        return None if not takes else _held(on, name, row, data, wrong)
    if name in MAKING and not gives:
        name = "scrap"  # a step that made nothing threw everything away
    if not takes and not gives:
        return None
    receipt_gtin = str(data.get("gtin", ""))
    if name == "receive" and receipt_gtin:
        name = "receive-gtin"
    kind = {"receive": "desadv", "receive-gtin": "desadv", "deliver": "desadv", "return": "desadv"}.get(name, "")
    papers = ((kind, str(data["document"])),) if kind and data.get("document") else ()
    temperature = data.get("end_temperature_mc")
    return FloorStep(
        name=name, event_id=str(entry["event_id"]), happened_at=_local(on, str(row["occurred_at"])), taken=takes, made=gives,
        place=_plain(data.get("station", "")), person=str(entry["recorded_by"]), batch=str(data.get("batch", "")) if name in MAKING else "",
        recipe=str(data.get("recipe", "")), party=str(data.get("partner") or data.get("channel") or "") if kind or name == "counter" else "",
        papers=papers, note=str(after[1].get("reason", "")) if after is not None else "",
        end_temperature_c=Decimal(int(temperature)).scaleb(-3) if temperature and name == "cook" else None, wrong=wrong,
    )  # fmt: skip


def _held(on: Basis, name: str, row: Mapping[str, Any], data: Mapping[str, Any], wrong: Any) -> FloorStep | None:
    rows = records(on.queries.lots(holding=False, names=list(data["lots"])))
    moved = tuple(
        Moved(r["lot"], r["item"], count=int(r["made_packs"])) if r["kind"] == "packs" else Moved(r["lot"], r["item"], mass_mg=int(r["made_mg"]))
        for r in rows if r["made_packs"] or r["made_mg"]
    )  # fmt: skip
    if not moved:
        return None
    return FloorStep(name=name, event_id=str(row["event_id"]), happened_at=_local(on, str(row["occurred_at"])), taken=moved,
                     person=str(row["recorded_by"]), note=str(data.get("reason", "")), wrong=wrong)  # fmt: skip


def _plain(text: str) -> str:
    return str(text)


def _moved(on: Basis, part: Mapping[str, Any], data: Mapping[str, Any]) -> Moved:
    item = str(part.get("item", ""))
    pack = on.book.find(e.Pack, item) if part.get("packs") else None
    count = int(part["packs"]) or None
    return Moved(
        str(part["lot"]), item, mass_mg=None if count else int(part["mass_mg"]), count=count, gtin=pack.gtin if pack else "",
        best_before=str(part.get("best_before", "")), supplier_lot=str(data.get("supplier_lot", "")), net_weight_mg=pack.net_mg if pack else None,
    )  # fmt: skip


# --- the other way -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Received:
    """What came of reading a document: how many receipts were recorded, were there already, or were refused, and the words for it."""

    recorded: int
    repeated: int
    refused: int
    told: tuple[str, ...]


def receive(
    ledger: Ledger, text: str, materials: Mapping[str, str], *, supplier: str = "", by: str = "", dry: bool = False
) -> Received:
    """Record the goods that a document says came to us, through the same command a person would give. Safe to run twice.

    `materials` maps a sender's product code or GTIN to a material of the book. Events declared wrong are left out, their corrections
    are taken. Raises BadInput when the document is unsound or a product is not known.
    """
    findings = check_document(text)
    if findings:
        raise BadInput(
            "The document is not sound, nothing was read from it: " + "; ".join(str(f) for f in findings[:5]),
            problems=len(findings),
        )
    on = basis(ledger)
    known_suppliers = {p.id for p in on.book.all(e.Partner)}
    orders, unknown = [], []
    for step in import_document(text).standing_steps():
        if not _comes_in(step):
            continue
        sender = supplier or next((_last(p.uri) for p in step.came_from), "")
        for number, amount in enumerate(step.amounts):
            code, lot = _product_and_lot(amount)
            material = materials.get(code) or (code if on.book.find(e.Material, code) else "")
            if not material:
                unknown.append(code)
                continue
            mass = measured(amount)[0]
            about = step.made_with or {}
            order = ReceiveLot(
                day=_local(on, step.happened_at)[:10], material=material, mass_mg=mass, supplier=sender, supplier_lot=lot,
                best_before=str(about.get("cbvmda:bestBeforeDate", about.get("cbvmda:itemExpirationDate", "")))[:10],
                document=next((_last(p.uri) for p in step.papers if p.kind in ("desadv", "po", "inv")), ""),
                gtin=code if code.isdigit() and len(code) == 14 else "", note=f"from an interchange document, event {step.event_id}",
            )  # fmt: skip
            orders.append(Order(order, by, f"epcis-{step.event_id}-{number}"))
        if sender and sender not in known_suppliers and not supplier:
            raise BadInput(f"The sender `{sender}` is no partner in the book; name one with --supplier.", value=sender)
    if unknown:
        raise BadInput(
            f"No material is known for {', '.join(sorted(set(unknown)))}; say which with --material CODE=MATERIAL.",
            value=unknown[0],
        )
    if not orders:
        return Received(0, 0, 0, ("The document tells of no goods received.",))
    rows = ledger.do_rows(orders, dry=dry)
    told = [f"refused: {error.message}" for _, error in rows.refused]
    fresh = sum(1 for o in rows.outcomes if o.first and not o.repeated)
    again = sum(1 for o in rows.outcomes if o.repeated)
    word = "would be recorded" if dry else "recorded" if not rows.refused else "readable, but nothing was written"
    lots = [lot for o in rows.outcomes for lot in o.lots]
    told.append(f"{fresh} receipts {word}{', ' + ', '.join(lots) if lots else ''}; {again} were there already.")
    return Received(fresh if not dry and not rows.refused else 0, again, len(rows.refused), tuple(told))


def _comes_in(step: TraceStep) -> bool:
    bare = (step.step or "").removeprefix("https://ref.gs1.org/cbv/BizStep-")
    return step.kind == "ObjectEvent" and bool(step.amounts) and (
        (bare == "receiving" and not (step.state or "").endswith("returned")) or (step.action == "ADD" and bare == "commissioning" and bool(step.came_from))
    )  # fmt: skip


def _last(uri: str) -> str:
    return unquote(uri.rstrip("/").rsplit("/", 1)[-1].rsplit(":", 1)[-1])


def _product_and_lot(amount: Amount) -> tuple[str, str]:
    """(product code or GTIN, lot) out of a lot's address."""
    parts = urlsplit(amount.lot).path.split("/") if "://" in amount.lot else []
    if "01" in parts and "10" in parts:
        return parts[parts.index("01") + 1], unquote(parts[parts.index("10") + 1])
    name = _last(amount.lot)
    product, dot, lot = name.partition(".")
    return (product, lot) if dot else (name, name)


__all__ = ["Received", "export", "receive"]
