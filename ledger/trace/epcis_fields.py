"""The one table that says which key of the interchange document is which field of ours, used for reading and for
writing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from ledger.trace.epcis_model import Amount, ErrorDeclaration, Paper, Party, Place

CONTEXT_KEY = "@context"


def _amount_in(entry: Mapping[str, Any]) -> Amount:
    return Amount(entry["epcClass"], entry.get("quantity"), entry.get("uom"))


def _amount_out(amount: Amount) -> dict[str, Any]:
    out: dict[str, Any] = {"epcClass": amount.lot}
    if amount.amount is not None:
        out["quantity"] = amount.amount
    if amount.unit is not None:
        out["uom"] = amount.unit
    return out


def _paper_in(entry: Mapping[str, Any]) -> Paper:
    return Paper(entry.get("type"), entry["bizTransaction"])


def _paper_out(paper: Paper) -> dict[str, Any]:
    return {**({"type": paper.kind} if paper.kind is not None else {}), "bizTransaction": paper.uri}


def _place_in(entry: Mapping[str, Any]) -> Place:
    return Place(entry["id"], {k: v for k, v in entry.items() if k != "id"})


def _place_out(place: Place) -> dict[str, Any]:
    return {"id": place.uri, **place.own}


def _party(key: str) -> tuple[Callable[[Mapping[str, Any]], Party], Callable[[Party], dict[str, Any]]]:
    return (lambda e: Party(e["type"], e[key])), (lambda p: {"type": p.kind, key: p.uri})


def _error_in(entry: Mapping[str, Any]) -> ErrorDeclaration:
    known = ("declarationTime", "reason", "correctiveEventIDs")
    return ErrorDeclaration(
        entry["declarationTime"],
        entry.get("reason"),
        tuple(entry.get("correctiveEventIDs", ())),
        {k: v for k, v in entry.items() if k not in known},
    )


def _error_out(error: ErrorDeclaration) -> dict[str, Any]:
    out: dict[str, Any] = {"declarationTime": error.declared_at}
    if error.reason is not None:
        out["reason"] = error.reason
    if error.corrective_ids:
        out["correctiveEventIDs"] = list(error.corrective_ids)
    return {**out, **error.own}


def _same(value: Any) -> Any:
    return value


@dataclass(frozen=True, slots=True)
class Field:
    """``key`` in the document is ``name`` in ``TraceStep``; ``many`` keys hold lists; ``read``/``write`` turn one
    entry."""

    key: str
    name: str
    many: bool = False
    read: Callable[[Any], Any] = _same
    write: Callable[[Any], Any] = _same


_SOURCE, _DESTINATION = _party("source"), _party("destination")

FIELDS: tuple[Field, ...] = (
    Field("eventID", "event_id"),
    Field("type", "kind"),
    Field("eventTime", "happened_at"),
    Field("recordTime", "recorded_at"),
    Field("eventTimeZoneOffset", "zone_offset"),
    Field("parentID", "parent"),
    Field("epcList", "items", many=True),
    Field("quantityList", "amounts", True, _amount_in, _amount_out),
    Field("childEPCs", "children", many=True),
    Field("childQuantityList", "child_amounts", True, _amount_in, _amount_out),
    Field("inputEPCList", "inputs", many=True),
    Field("inputQuantityList", "input_amounts", True, _amount_in, _amount_out),
    Field("outputEPCList", "outputs", many=True),
    Field("outputQuantityList", "output_amounts", True, _amount_in, _amount_out),
    Field("transformationID", "transformation_id"),
    Field("action", "action"),
    Field("bizStep", "step"),
    Field("disposition", "state"),
    Field("readPoint", "read_at", False, _place_in, _place_out),
    Field("bizLocation", "then_at", False, _place_in, _place_out),
    Field("bizTransactionList", "papers", True, _paper_in, _paper_out),
    Field("sourceList", "came_from", True, *_SOURCE),
    Field("destinationList", "went_to", True, *_DESTINATION),
    Field("ilmd", "made_with"),
    Field("sensorElementList", "sensors", many=True),
    Field("errorDeclaration", "error", False, _error_in, _error_out),
)
"""Every plain key. ``persistentDisposition`` and ``certificationInfo`` are handled beside it: each has a shape of its
own."""

KNOWN_KEYS = frozenset({f.key for f in FIELDS} | {"persistentDisposition", "certificationInfo"})
