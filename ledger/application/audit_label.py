"""Labels from what really went into a lot: words, allergens, codes, ready to print."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import msgspec

from ledger.application.audit import graph_of
from ledger.application.ledger import Ledger
from ledger.application.reports_types import Basis, basis
from ledger.domain.books import additives
from ledger.domain.books import entries as e
from ledger.errors import BadInput, UnknownThing
from ledger.trace.allergens import Market
from ledger.trace.label_sheets import SHEETS, Sheet
from ledger.trace.label_text import LabelWords, Role, Used, eu_figure_height_mm, label_words, us_type_height
from ledger.trace.labels import FIGURE_OF_SIZE, SMALL_OF_SIZE, LabelText, print_labels, small_letters_mm
from ledger.trace.marks import find
from ledger.trace.path import trace_path

SMALL_LETTERS_MM: dict[Market, tuple[float, float]] = {"eu": (1.2, 0.9), "us": (25.4 / 16, 25.4 / 32)}
"""Least x-height of the list, and on small packs: Regulation (EU) 1169/2011 article 13 (largest side under 80 square cm); 21 CFR 101.2(c) (1/16 inch,
1/32 on packs with under 12 square inches to label; from memory)."""
ROLES: dict[str, Role] = {"water": "water", "colour": "colour", "flavour": "flavour", "acid": "acid"}


@dataclass(frozen=True, slots=True)
class LotLabel:
    """The words of one lot's label, what they were worked out from, and what the printer should know."""

    lot: str
    pack: e.Pack
    words: LabelWords
    recipe: str
    text: LabelText
    notes: tuple[str, ...]


def label(ledger: Ledger, asked: str, *, short: bool = False, mark: str = "", market: Market | None = None) -> LotLabel:
    """The label of a packed lot, or of the newest lot of a pack, in the words of a market (None: the shop's own, `allergen_law` of the site).

    Ingredients come from the lots behind it in descending weight as they went in, re-boil opened into its own; allergens of every
    lot that may be inside come along, however little. Raises UnknownThing, or BadInput when the lot holds no packs.
    """
    on = basis(ledger)
    lot = _lot_of(on, asked)
    row = on.queries.lot(lot) or {}
    pack = on.book.find(e.Pack, str(row.get("item", "")))
    if row.get("kind") != "packs" or pack is None:
        raise BadInput(
            f"Lot {lot} holds {row.get('kind') or 'nothing'}, not packs; only packed lots get a retail label.", lot=lot
        )
    used, doubts = _used(on, lot)
    market = market or ("us" if on.site.allergen_law.lower() == "us" else "eu")
    best = date.fromisoformat(row["best_before"]) if row["best_before"] else None
    words = label_words(used, market=market, lot=lot, net_mg=pack.net_mg, best_before=best)
    if short:
        lines: tuple[str, ...] = tuple(x for x in (words.allergens, *words.warnings) if x)
    else:
        lines = tuple(x for x in (words.ingredients, words.allergens, *words.warnings) if x)
    small, least = SMALL_LETTERS_MM[market]
    text = LabelText(
        pack.name, lot, on.site.base_address, words.net, best, gtin=pack.gtin, lines=lines, mark=mark, small_mm=small, least_mm=least,
        net_mm=0.0 if short else _net_mm(market, pack.net_mg),
    )  # fmt: skip
    return LotLabel(lot, pack, words, _recipe(on, str(row["batch"])), text, (*words.notes, *doubts))


def _net_mm(market: Market, net_mg: int) -> float:
    """How high the figures of the net weight must be, millimetres; in the US the small letters beside them set it, for a front up to 5 square inches."""
    if market == "eu":
        return float(eu_figure_height_mm(net_mg))
    return float(us_type_height(5)) * 25.4 * FIGURE_OF_SIZE / SMALL_OF_SIZE


def sheets_for(ledger: Ledger, made: LotLabel, market: Market | None = None) -> list[tuple[Sheet, str, float]]:
    """What each sheet can carry of a lot's label: (sheet, `whole`, `short` or nothing, height of its small letters in millimetres)."""
    brief = label(ledger, made.lot, short=True, market=market)
    found: list[tuple[Sheet, str, float]] = []
    for sheet in SHEETS.values():
        for word, one in (("whole", made), ("short", brief)):
            try:
                found.append((sheet, word, small_letters_mm(one.text, sheet)))
                break
            except BadInput:
                continue
        else:
            found.append((sheet, "", 0.0))
    return found


def labels_pdf(
    ledger: Ledger,
    asked: str,
    sheet: str,
    *,
    count: int = 0,
    skip: int = 0,
    short: bool = False,
    market: Market | None = None,
) -> tuple[bytes, LotLabel, int]:
    """So many labels of a lot (0: one for each pack on hand, at least one) as a PDF."""
    made = label(ledger, asked, short=short, market=market)
    if count < 0 or count > 5000:
        raise BadInput(f"{count} labels cannot be printed; give 1 to 5000.", value=count, limit=5000)
    row = ledger.queries.lot(made.lot) or {}
    number = count or min(max(1, int(row.get("packs", 1))), 5000)
    data = print_labels([made.text] * number, sheet, skip=skip, title=f"Labels of {made.lot}")
    high = small_letters_mm(made.text, sheet)
    if high < made.text.small_mm - 0.005:
        made = replace(made, notes=(*made.notes, small_note(made.words.market, high)))
    return data, made, number


def small_note(market: Market, high: float) -> str:
    """What to mind when the small letters came out lower than an ordinary pack wants them."""
    limit = "whose largest side is under 80 square cm" if market == "eu" else "with under 12 square inches to label"
    return f"The small letters are {high:.1f} mm high on this label: for packs {limit} only."


def _lot_of(on: Basis, asked: str) -> str:
    pack = on.book.find(e.Pack, asked)
    if pack is None:
        found = find(on.queries, asked)
        if found.kind != "lot":
            packed = on.queries.lots(holding=False, kinds=["packs"], names=list(found.lots))
            raise BadInput(
                f"{asked} is a {found.kind}; name one of its packed lots: {', '.join(packed['lot']) or 'there is none yet'}.",
                value=asked,
            )
        return found.lots[0]
    lots = on.queries.lots(holding=True, item=pack.id)
    lots = lots if len(lots) else on.queries.lots(holding=False, item=pack.id)
    if lots.empty:
        raise UnknownThing(f"Nothing was packed as {pack.id} yet; a label speaks of a lot.", kind="lot", id=asked)
    return str(lots.iloc[-1]["lot"])


def _recipe(on: Basis, batch: str) -> str:
    found = on.queries.batches(names=[batch])
    return "" if found.empty else f"{found.iloc[0]['recipe']} version {found.iloc[0]['recipe_version']}"


def _used(on: Basis, lot: str) -> tuple[list[Used], tuple[str, ...]]:
    """The materials behind a lot with the mass expected in it, by the names the book gives them now; allergens of any version since it came in."""
    graph = graph_of(on, lot, "backward")
    path = trace_path(graph, lot, "backward")
    names = [x.lot for x in path.sources if x.lot != lot]
    rows: dict[str, dict[Any, Any]] = {
        r["lot"]: r for r in on.queries.lots(holding=False, names=names).to_dict("records")
    }
    history = on.queries.book_history("material")
    used, doubts = [], []
    for source in path.sources:
        if source.lot == lot:
            continue
        if source.lot not in rows or rows[source.lot]["kind"] != "material":
            doubts.append(
                f"{source.lot} ({source.label or source.kind}) went in but nothing is on record of what it was made of; trace it before printing."
            )
            continue
        row = rows[source.lot]
        versions = _versions(history, str(row["item"]), int(row["position"]))
        material = versions[-1]
        if len({frozenset(v.allergens) for v in versions}) > 1:
            doubts.append(
                f"The allergens of {material.name} were changed in the book after {source.lot} came in; all of them are named."
            )
        if versions[0].e_number not in ("", material.e_number):
            doubts.append(
                f"The E number of {material.name} was changed in the book after {source.lot} came in, from {versions[0].e_number} to "
                f"{material.e_number or 'none'}; make sure which one this lot is."
            )
        us, eu = us_name(material), eu_name(material)
        allergens = frozenset(a for v in versions for a in v.allergens)
        mass = max(1, round(path.carries[source.lot].expected_mg))
        used.append(
            Used(us, eu, mass, allergens, ROLES.get(material.role, ""), material.e_number, material.certified_colour, additive_class=material.additive_class)
        )  # fmt: skip
    return used, tuple(doubts)


def _label(material: e.Material) -> str:
    """The label name for any market; a class that older books wrote before it is left to the list."""
    return (material.label or material.name).removeprefix("acid: ").removeprefix("colour: ").removeprefix("color: ")


def eu_name(material: e.Material) -> str:
    """The name in an EU ingredient list, without class and E number."""
    return material.label_eu or _label(material)


def us_name(material: e.Material) -> str:
    """The name in a US ingredient list: a certified colour by its listed name, another colour as `... color` (21 CFR 101.22(k)).

    Empty for a certified colour whose US name is not known: then no US label can be made until the book holds it.
    """
    if material.label_us:
        return material.label_us
    certified = additives.CERTIFIED_US.get(additives.plain_number(material.e_number))
    if certified:
        return certified[1]
    if material.certified_colour:
        return ""
    plain = _label(material)
    if material.role != "colour" or "color" in plain.lower() or "colour" in plain.lower():
        return plain.replace("colour", "color") if material.role == "colour" else plain
    return f"{plain} color"


def _versions(history: Any, item: str, position: int) -> Sequence[e.Material]:
    """The material as it stood when the lot came in, then every later version."""
    rows = history[history["id"] == item].sort_values("version")
    before = rows[rows["position"] <= position].tail(1)
    later = rows[rows["position"] > position]
    found = [msgspec.convert(d, e.Material) for part in (before, later) for d in part["data"]]
    if not found:
        raise UnknownThing(f"Material {item} is not in the book; enter it before printing.", kind="material", id=item)
    return found


__all__ = ["LotLabel", "eu_name", "label", "labels_pdf", "sheets_for", "us_name"]
