"""Turn an interchange document into the same graph of lots our own ledger gives, so one trace answers for both.

Voided events (and their error declarations) are left out; the corrective event counts. Masses become whole milligrams;
a quantity without a unit is a count of packs. A case is opened: what is shipped as a case leaves as the packs inside
it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

from ledger.errors import BadInput
from ledger.trace.epcis_model import Amount, TraceDocument, TraceStep
from ledger.trace.graph import Edge, Leaf, Lot, LotGraph

MG_PER_UNIT = {
    "KGM": Decimal(1_000_000), "GRM": Decimal(1_000), "MGM": Decimal(1),
    "LBR": Decimal("453592.37"), "ONZ": Decimal("28349.523125"),
}  # fmt: skip
"""UN/CEFACT Recommendation 20 mass codes in milligrams; the avoirdupois ounce exactly (LBR/16)."""
COUNTED = frozenset({None, "H87", "C62", "EA"})
CONSUMED = {"destroying": "scrap", "sampling": "sample"}


@dataclass
class Stock:
    """Running balances of every lot in a document: milligrams and packs; water's runs below nothing and is no stock."""

    mg: dict[str, int] = field(default_factory=dict)
    packs: dict[str, int] = field(default_factory=dict)

    def move(self, amounts: Iterable[Amount], sign: int) -> None:
        for amount in amounts:
            mg, packs = measured(amount)
            if packs:
                self.packs[amount.lot] = self.packs.get(amount.lot, 0) + sign * packs
            else:
                self.mg[amount.lot] = self.mg.get(amount.lot, 0) + sign * mg


def measured(amount: Amount) -> tuple[int, int]:
    """(milligrams, packs) of one amount.

    Raises:
        BadInput: a unit that is neither a mass nor a count known here, or no whole number of packs.
    """
    value = amount.amount if amount.amount is not None else Decimal(0)
    if amount.unit in COUNTED:
        if value != int(value):
            raise BadInput(f"{value} of {amount.lot} has no unit, so it is a count and must be whole.", lot=amount.lot)
        return 0, int(value)
    factor = MG_PER_UNIT.get(str(amount.unit))
    if factor is None:
        raise BadInput(
            f"{value} {amount.unit} of {amount.lot}: only {', '.join(MG_PER_UNIT)} and counts can be weighed up here.",
            lot=amount.lot,
            unit=amount.unit,
        )
    return int((value * factor).to_integral_value()), 0


def split_by(total: int, weights: Sequence[int]) -> list[int]:
    """``total`` shared out in proportion to ``weights``, in whole units that add up exactly (largest remainder)."""
    whole = sum(weights)
    if whole <= 0:
        weights, whole = [1] * len(weights), len(weights)
    parts = [total * w // whole for w in weights]
    by_rest = sorted(range(len(weights)), key=lambda i: (-(total * weights[i] % whole), i))
    for i in by_rest[: total - sum(parts)]:
        parts[i] += 1
    return parts


def graph_of(document: TraceDocument) -> tuple[LotGraph, Stock]:
    """The lots, edges and leaves of a document, and what is left of each lot at its end.

    Raises:
        BadInput: an amount in a unit that cannot be weighed up.
    """
    stock = Stock()
    lots: dict[str, Lot] = {}
    edges: list[Edge] = []
    leaves: list[Leaf] = []
    cases: dict[str, list[Amount]] = {}
    for step in sorted(document.standing_steps(), key=lambda s: s.happened_at):
        if step.kind == "TransformationEvent":
            _made(step, lots, edges, stock)
        elif step.kind == "AggregationEvent" and step.parent is not None:
            inside = cases.setdefault(step.parent, [])
            if step.action == "ADD":
                inside.extend(step.child_amounts)
            elif step.action == "DELETE" and step.child_amounts:
                gone = {a.lot for a in step.child_amounts}
                cases[step.parent] = [a for a in inside if a.lot not in gone]
            elif step.action == "DELETE":
                cases.pop(step.parent)
        elif step.kind == "ObjectEvent":
            contents = [a for item in step.items for a in cases.get(item, [])]
            _observed(step, [*step.amounts, *contents], lots, leaves, stock)
    for lot, row in lots.items():
        mg, packs = stock.mg.get(lot, 0), stock.packs.get(lot, 0)
        if row.kind == "material" and row.made_mg is None and row.made_packs is None:
            row = replace(row, kind="water", supplier="not bought in")
            mg = 0
        lots[lot] = replace(row, on_hand_mg=mg, on_hand_packs=packs)
    return LotGraph.build(lots.values(), edges, leaves), stock


def _label(uri: str) -> str:
    return uri.rstrip("/").rsplit("/", 1)[-1].rsplit(":", 1)[-1]


def _grow(lots: dict[str, Lot], lot: str, kind: str, mg: int, packs: int, day: str, supplier: str = "") -> None:
    row = lots.get(lot) or Lot(lot, kind, _label(lot), day=day)
    lots[lot] = replace(
        row,
        made_mg=(row.made_mg or 0) + mg if mg else row.made_mg,
        made_packs=(row.made_packs or 0) + packs if packs else row.made_packs,
        supplier=row.supplier or supplier,
    )


def _made(step: TraceStep, lots: dict[str, Lot], edges: list[Edge], stock: Stock) -> None:
    day = step.happened_at[:10]
    stock.move(step.input_amounts, -1)
    stock.move(step.output_amounts, +1)
    for amount in step.input_amounts:
        lots.setdefault(amount.lot, Lot(amount.lot, "material", _label(amount.lot), day=day))
    sizes = [measured(a) for a in step.output_amounts]
    for amount, (mg, packs) in zip(step.output_amounts, sizes, strict=True):
        _grow(lots, amount.lot, "packs" if packs else "mass", mg, packs, day)
    weights = [mg for mg, _ in sizes] if any(mg for mg, _ in sizes) else [packs for _, packs in sizes]
    where = _label(step.read_at.uri) if step.read_at else ""
    by = next((str(v) for k, v in step.own.items() if k.endswith(":by")), "")
    batch = next((_label(p.uri) for p in step.papers if p.kind == "prodorder"), "")
    for amount in step.input_amounts:
        mg, _ = measured(amount)
        for child, part in zip(step.output_amounts, split_by(mg, weights), strict=True):
            edges.append(Edge(amount.lot, child.lot, part, where, batch, day, by, event=step.event_id or ""))


def _observed(step: TraceStep, amounts: list[Amount], lots: dict[str, Lot], leaves: list[Leaf], stock: Stock) -> None:
    day = step.happened_at[:10]
    source = next((_label(p.uri) for p in step.came_from if p.kind == "owning_party"), "")
    target = next((_label(p.uri) for p in step.went_to if p.kind == "owning_party"), "")
    paper = next((_label(p.uri) for p in step.papers), "")
    kind = ""
    if step.step == "receiving" and step.state == "returned":
        kind = "return"
    elif step.step in ("shipping", "retail_selling"):
        kind = "delivery" if step.step == "shipping" else "counter"
    elif step.action == "DELETE":
        kind = CONSUMED.get(step.step or "", "scrap")
    for amount in amounts:
        mg, packs = measured(amount)
        if step.action == "ADD" or (step.step == "receiving" and not kind):
            _grow(lots, amount.lot, "material", mg, packs, day, source)
            stock.move([amount], +1)
        elif kind:
            stock.move([amount], +1 if kind == "return" else -1)
            party = target or ("counter" if kind == "counter" else source if kind == "return" else "")
            leaves.append(Leaf(amount.lot, kind, day, mg, 0, packs, party, document=paper, event=step.event_id or ""))
            lots.setdefault(amount.lot, Lot(amount.lot, "unknown", _label(amount.lot), day=day))
