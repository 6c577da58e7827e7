"""Read a GS1 EPCIS 2.0 JSON document into plain steps (numbers as exact decimals, nothing dropped)."""

from __future__ import annotations

import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from ledger.errors import BadInput
from ledger.trace.epcis_fields import FIELDS, KNOWN_KEYS
from ledger.trace.epcis_model import TraceDocument, TraceStep

DOCUMENT_TYPES = ("EPCISDocument", "EPCISQueryDocument")
_HEAD = ("@context", "id", "type", "schemaVersion", "creationDate", "epcisBody")


def parse_json(text: str) -> dict[str, Any]:
    """The document as a dict, with decimals instead of floats.

    Raises:
        BadInput: not JSON, or not an object.
    """
    try:
        data = json.loads(text, parse_float=Decimal)
    except json.JSONDecodeError as error:
        raise BadInput(
            f"The file is not JSON (line {error.lineno}, column {error.colno}: {error.msg}). Ask the sender for the "
            f".jsonld file.",
            line=error.lineno,
        ) from error
    if not isinstance(data, dict):
        raise BadInput(
            f"The file holds a {type(data).__name__}, not one document. Ask the sender for the whole document."
        )
    return data


def import_document(data: str | Mapping[str, Any]) -> TraceDocument:
    """A whole document, from its text or its parsed JSON.

    Raises:
        BadInput: not a document of version 2.0, or an event without its type, time or offset. Use
            ``epcis_validate.check_document`` for everything else that can be wrong.
    """
    doc = parse_json(data) if isinstance(data, str) else data
    kind = doc.get("type")
    if kind not in DOCUMENT_TYPES or not str(doc.get("schemaVersion", "")).startswith("2"):
        raise BadInput(
            f"This is {kind!r} of version {doc.get('schemaVersion')!r}; wanted {' or '.join(DOCUMENT_TYPES)} of "
            f"version 2.0.",
            type=kind,
        )
    body = doc.get("epcisBody") or {}
    query = None
    events = body.get("eventList")
    if "queryResults" in body:
        query = {k: v for k, v in body["queryResults"].items() if k != "resultsBody"}
        events = body["queryResults"].get("resultsBody", {}).get("eventList")
    if events is None:
        raise BadInput("The document has no eventList, so there is nothing in it to read.")
    context = doc.get("@context", ())
    return TraceDocument(
        steps=tuple(import_event(event, n) for n, event in enumerate(events)),
        created_at=str(doc.get("creationDate", "")),
        context=tuple(context) if isinstance(context, list) else (context,),
        uri=doc.get("id"),
        head={k: v for k, v in doc.items() if k not in _HEAD},
        query=query,
    )


def import_event(event: Mapping[str, Any], number: int = 0) -> TraceStep:
    """One event. ``number`` is its place in the document, for the message.

    Raises:
        BadInput: type, time or offset missing.
    """
    for needed in ("type", "eventTime", "eventTimeZoneOffset"):
        if needed not in event:
            raise BadInput(f"Event {number + 1} has no {needed}; every event needs one.", event=number, key=needed)
    values: dict[str, Any] = {}
    for field in FIELDS:
        if field.key in event:
            value = event[field.key]
            values[field.name] = tuple(field.read(v) for v in value) if field.many else field.read(value)
    for amounts in ("amounts", "child_amounts", "input_amounts", "output_amounts"):
        for amount in values.get(amounts, ()):
            if isinstance(amount.amount, str):
                raise BadInput(
                    f"Event {number + 1}: the quantity {amount.amount!r} is text, not a number.", event=number
                )
    states = event.get("persistentDisposition", {})
    certificates = event.get("certificationInfo", ())
    return TraceStep(
        **values,
        states_set=tuple(states.get("set", ())),
        states_unset=tuple(states.get("unset", ())),
        certificates=(certificates,) if isinstance(certificates, str) else tuple(certificates),
        own={k: v for k, v in event.items() if k not in KNOWN_KEYS},
    )
