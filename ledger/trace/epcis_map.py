"""The floor's own steps as steps of the interchange standard.

The standard has no step called transforming, so every making step is a TransformationEvent ``commissioning`` with its
own lot out and no shared transformation id (one shared id for a day would make every ingredient of the day an ancestor
of everything made that day). Our word for the step, the person's code and the recipe travel in keys of our own.

Source: GS1 CBV 2.0 word meanings; the choice of words for a candy workshop is ours.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from ledger.errors import BadInput
from ledger.trace.epcis_export import Namer, kilograms
from ledger.trace.epcis_model import (
    Amount,
    ErrorDeclaration,
    Paper,
    Party,
    Place,
    StepKind,
    TraceDocument,
    TraceStep,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Moved:
    """So much of a lot at a step: mass in milligrams or, for pieces and packs, a count. ``gtin`` only if truly its
    maker's."""

    lot: str
    product: str = ""
    mass_mg: int | None = None
    count: int | None = None
    gtin: str = ""
    best_before: str = ""
    supplier_lot: str = ""
    net_weight_mg: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorStep:
    """One thing that happened on the floor, in our words. ``happened_at`` is ISO 8601 with offset.

    ``wrong`` tells that this step was later voided or amended: (declared at, reason, ids of the steps that replace it).
    """

    name: str
    event_id: str
    happened_at: str
    taken: tuple[Moved, ...] = ()
    made: tuple[Moved, ...] = ()
    place: str = ""
    person: str = ""
    batch: str = ""
    recipe: str = ""
    party: str = ""
    papers: tuple[tuple[str, str], ...] = ()
    case: str = ""
    note: str = ""
    end_temperature_c: Decimal | None = None
    wrong: tuple[str, str, tuple[str, ...]] | None = None
    own: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Wording:
    """The standard's words for one of our steps."""

    kind: StepKind
    action: str | None
    step: str
    state: str
    located: bool = True


WORDS: dict[str, Wording] = {
    "receive": Wording("ObjectEvent", "ADD", "commissioning", "active"),
    "receive-gtin": Wording("ObjectEvent", "OBSERVE", "receiving", "in_progress"),
    **{
        name: Wording("TransformationEvent", None, "commissioning", "in_progress")
        for name in ("cook", "pour", "pull", "blend", "build", "jacket", "roll", "cut", "reboil")
    },
    "pack": Wording("TransformationEvent", None, "commissioning", "active"),
    "inspect": Wording("ObjectEvent", "OBSERVE", "inspecting", "conformant"),
    "inspect-failed": Wording("ObjectEvent", "OBSERVE", "inspecting", "non_conformant"),
    "sample": Wording("ObjectEvent", "DELETE", "sampling", "non_sellable_other", located=False),
    "scrap": Wording("ObjectEvent", "DELETE", "destroying", "destroyed", located=False),
    "case": Wording("AggregationEvent", "ADD", "packing", "in_progress"),
    "uncase": Wording("AggregationEvent", "DELETE", "unpacking", "in_progress"),
    "deliver": Wording("ObjectEvent", "OBSERVE", "shipping", "in_transit", located=False),
    "counter": Wording("ObjectEvent", "OBSERVE", "retail_selling", "retail_sold", located=False),
    "hold": Wording("ObjectEvent", "OBSERVE", "holding", "non_sellable_other"),
    "recall": Wording("ObjectEvent", "OBSERVE", "holding", "recalled"),
    "return": Wording("ObjectEvent", "OBSERVE", "receiving", "returned"),
    "count": Wording("ObjectEvent", "OBSERVE", "stock_taking", "in_progress"),
}


def trace_steps(floor: Iterable[FloorStep], namer: Namer) -> list[TraceStep]:
    """Our steps in the standard's words, each wrong one followed by its error declaration.

    Raises:
        BadInput: a step name that has no counterpart in the standard.
    """
    out: list[TraceStep] = []
    for step in floor:
        told = _told(step, namer)
        out.append(told)
        if step.wrong is not None:
            declared, reason, instead = step.wrong
            values = {name: getattr(told, name) for name in TraceStep.__slots__}
            why = {f"{namer.prefix}:why": step.note} if step.note else {}
            ids = () if reason == "did_not_occur" else tuple(_event_id(i) for i in instead)
            values["error"] = ErrorDeclaration(declared, reason, ids, why)
            out.append(TraceStep(**values))
    return out


def document_of(floor: Iterable[FloorStep], namer: Namer, *, created_at: str, name: str) -> TraceDocument:
    """A whole document, ready for ``epcis_export.to_json``. ``name`` becomes the document's own address."""
    return TraceDocument(
        steps=tuple(trace_steps(floor, namer)),
        created_at=created_at,
        context=namer.context(),
        uri=namer._join("doc", name),
    )


def _event_id(event: str) -> str:
    return event if ":" in event else f"urn:uuid:{event}"


def _told(step: FloorStep, namer: Namer) -> TraceStep:
    words = WORDS.get(step.name)
    if words is None:
        raise BadInput(
            f"The step {step.name!r} has no word in the standard; known are {', '.join(WORDS)}.", step=step.name
        )
    taken = tuple(_amount(m, namer) for m in step.taken)
    made = tuple(_amount(m, namer) for m in step.made)
    own: dict[str, Any] = {f"{namer.prefix}:step": step.name}
    if step.person:
        own[f"{namer.prefix}:by"] = step.person
    if step.note and step.wrong is None:
        own[f"{namer.prefix}:note"] = step.note
    own.update({f"{namer.prefix}:{k}": v for k, v in step.own.items()})
    papers = tuple(Paper(kind, namer.paper(name)) for kind, name in step.papers)
    if step.batch:
        papers += (Paper("prodorder", namer.paper(step.batch)),)
    us = Party("owning_party", namer.party("self"))
    them = Party("owning_party", namer.party(step.party)) if step.party else None
    incoming = step.name in ("receive", "receive-gtin", "return")
    outgoing = step.name in ("deliver", "counter")
    amounts = made or taken if words.kind == "ObjectEvent" else ()
    cased = words.kind == "ObjectEvent" and bool(step.case)
    aggregated = words.kind == "AggregationEvent"
    transformed = words.kind == "TransformationEvent"
    return TraceStep(
        kind=words.kind,
        event_id=_event_id(step.event_id),
        happened_at=step.happened_at,
        zone_offset="+00:00" if step.happened_at.endswith("Z") else step.happened_at[-6:],
        action=words.action,
        items=(namer.case(step.case),) if cased else (),
        amounts=() if cased else amounts,
        parent=namer.case(step.case) if aggregated else None,
        child_amounts=(made or taken) if aggregated else (),
        input_amounts=taken if transformed else (),
        output_amounts=made if transformed else (),
        step=words.step,
        state=words.state,
        read_at=Place(namer.place(step.place)) if step.place else None,
        then_at=Place(namer.place("workshop")) if words.located else None,
        papers=papers,
        came_from=(them,) if them and incoming else (us,) if outgoing else (),
        went_to=(us,) if them and incoming else (them,) if them and outgoing else (),
        made_with=_about(step, namer) if transformed or (words.action == "ADD" and not aggregated) else None,
        sensors=_cooked_to(step),
        own=own,
    )


def _amount(moved: Moved, namer: Namer) -> Amount:
    uri = namer.lot(moved.lot, moved.product, gtin=moved.gtin)
    if moved.count is not None:
        return Amount(uri, Decimal(moved.count))
    return Amount(uri, kilograms(moved.mass_mg or 0), "KGM")


def _about(step: FloorStep, namer: Namer) -> dict[str, Any] | None:
    """What is true of the lots made here (lot mark, dates, recipe); one value each, so only when one lot was made."""
    out: dict[str, Any] = {}
    if len(step.made) == 1:
        only = step.made[0]
        out["cbvmda:lotNumber"] = only.lot
        if only.best_before:
            out["cbvmda:bestBeforeDate"] = only.best_before
        if only.net_weight_mg is not None:
            out["cbvmda:netWeight"] = format(kilograms(only.net_weight_mg), "f")
        if only.supplier_lot:
            out[f"{namer.prefix}:supplierLot"] = only.supplier_lot
    if step.recipe:
        out[f"{namer.prefix}:recipe"] = step.recipe
    return out or None


def _cooked_to(step: FloorStep) -> tuple[dict[str, Any], ...]:
    if step.end_temperature_c is None:
        return ()
    report = {"type": "Temperature", "maxValue": step.end_temperature_c, "uom": "CEL"}
    return ({"sensorMetadata": {"time": step.happened_at}, "sensorReport": [report]},)
