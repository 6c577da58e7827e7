"""What an entry says in one line, for lists of entries: how much of what, for whom, or why."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ledger.application.reports_types import Shop
from ledger.quantities import duration_text, mass_text

Data = Mapping[str, Any]


def gist(name: str, data: Data, shop: Shop) -> str:
    """One line about an entry from its own words: `3 Lemon, jar; Shop counter`. Empty where its kind says all there is.

    Args:
        name: the stored name, such as `shelf.sold`.
        data: the entry's payload.
        shop: for names and units.
    """
    if name.startswith("ledger."):
        told = f"entry {data['origin']}"
        return f"{told}: {data['reason']}" if data.get("reason") else told
    if name.startswith("book."):
        entry = data["entry"]
        return f"{entry['id']}, version {data['version']}"
    if name == "batch.opened":
        return _joined(
            shop.name("flavour", data["flavour"]), shop.name("design", data["design"]) if data["design"] else ""
        )
    if name in ("lot.held", "lot.released"):
        many = len(data["lots"])
        return _joined(data["lots"][0] if many == 1 else f"{many} lots", data["reason"])
    if name.startswith("recall."):
        return _joined(data["recall"], *(str(data.get(x) or "") for x in ("kind", "lot", "partner", "reason")))
    if name == "lot.counted":
        found = f"{data['found_packs']} packs" if data["counted"] == "packs" else f"{data['found_pieces']} pieces" if data["counted"] == "pieces" else mass_text(data["found_mg"], shop.units)  # fmt: skip
        return f"{data['lot']}: found {found}"
    if name == "batch.flag-answered":
        return str(data["answer"])
    if name == "shelf.ran-out":
        return _joined(shop.name("flavour", data["flavour"]), shop.name("channel", data["channel"]))
    moved = data.get("gives") or data.get("takes")
    return _moved(name, data, shop) if moved else _hands(data)


def _moved(name: str, data: Data, shop: Shop) -> str:
    """An entry that moves sugar: what came of it, or what was taken where nothing came of it."""
    parts = [x for x in data["gives"] or data["takes"] if x["mass_mg"] or x["packs"] or x["pieces"]]
    packs = sum(x["packs"] for x in parts)
    item = str(data.get("pack") or next((x.get("item") for x in parts if x.get("item")), "") or "")
    mass = sum(x["mass_mg"] for x in parts if x.get("kind") != "reboil")
    much = f"{packs} x" if packs else mass_text(mass, shop.units)
    what = (
        shop.name("item", item)
        if item
        else ""
        if data.get("batch")
        else ", ".join(dict.fromkeys(x["lot"] for x in parts))
    )
    whom = data.get("partner") or (shop.name("channel", data["channel"]) if data.get("channel") else "")
    lot = parts[0]["lot"] if name == "lot.received" and parts else ""
    return _joined(f"{much} {what}".strip(), lot, str(whom), str(data.get("document") or ""))


def _hands(data: Data) -> str:
    work = data.get("work") or []
    said = duration_text(sum(int(w["seconds"]) for w in work)) if work else ""
    return _joined(str(data.get("task") or data.get("station") or ""), said)


def _joined(*words: str) -> str:
    return "; ".join(w for w in words if w)


__all__ = ["gist"]
