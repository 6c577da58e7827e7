"""Is an interchange document sound? Our own checks of form and sense, and the official schema if you have the file.

The official JSON Schema looks at one event at a time, and without its format packages it accepts much that is wrong (a
business step ``transforming``, a lot id with a space). So ``check_document`` checks the words of the vocabulary, the
form of times and ids, and what the schema never sees: negative amounts, unit codes, check digits, ids used twice, error
declarations that differ from what they declare. ``check_with_schema`` runs a schema file of yours with format checking.

Source: GS1 EPCIS 2.0 JSON Schema and CBV 2.0 word lists; UN/CEFACT Recommendation 20 for unit codes (the part met
here).
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from ledger.errors import BadInput, SlabbookError
from ledger.trace.epcis_export import export_event
from ledger.trace.epcis_import import import_document
from ledger.trace.epcis_model import Amount, TraceDocument, TraceStep
from ledger.trace.event_hash import read_time
from ledger.trace.gs1 import check_digit

_BIZ_STEPS = """
accepting arriving assembling collecting commissioning consigning creating_class_instance cycle_counting
decommissioning departing destroying disassembling dispensing encoding entering_exiting holding inspecting
installing killing loading other packing picking receiving removing repackaging repairing replacing reserving
retail_selling sampling sensor_reporting shipping staging_outbound stock_taking stocking storing transporting
unloading unpacking void_shipping
"""
BIZ_STEPS = frozenset(_BIZ_STEPS.split())
_DISPOSITIONS = """
active available completeness_inferred completeness_verified conformant container_closed container_open
damaged destroyed dispensed disposed encoded expired in_progress in_transit inactive mismatch_class
mismatch_instance mismatch_quantity needs_replacement no_pedigree_match non_conformant non_sellable_other
partially_dispensed recalled reserved retail_sold returned sellable_accessible sellable_not_accessible stolen
unavailable unknown
"""
DISPOSITIONS = frozenset(_DISPOSITIONS.split())
ERROR_REASONS = frozenset({"did_not_occur", "incorrect_data"})
_PAPERS = """
bol cert desadv inv pedigree po poc prodorder recadv rma testprd testres upevt
"""
PAPERS = frozenset(_PAPERS.split())
PARTIES = frozenset({"owning_party", "possessing_party", "location"})
ACTIONS = frozenset({"ADD", "OBSERVE", "DELETE"})
COUNT_UNITS = frozenset({"H87", "C62", "EA"})
UNIT_MISTAKES = {"KG": "KGM", "G": "GRM", "GR": "GRM", "LB": "LBR", "OZ": "ONZ", "L": "LTR", "ML": "MLT", "MG": "MGM"}
KINDS = frozenset({"ObjectEvent", "AggregationEvent", "TransactionEvent", "TransformationEvent", "AssociationEvent"})

_URI = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:[^\s<>\"{}|\\^`]+")
_OFFSET = re.compile(r"[+-](0\d|1[0-3]):[0-5]\d|[+-]14:00")
_GTIN = re.compile(r"/01/(\d{14})(?:/|\?|$)")


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing wrong: the event's place in the document (from 1; 0 = the document), the key, and what to do."""

    event: int
    key: str
    message: str

    def __str__(self) -> str:
        return f"event {self.event}, {self.key}: {self.message}" if self.event else f"{self.key}: {self.message}"


def check_document(document: TraceDocument | Mapping[str, Any] | str) -> list[Finding]:
    """Everything our own checks find wrong, in the order of the document; empty means sound."""
    try:
        doc = document if isinstance(document, TraceDocument) else import_document(document)
    except SlabbookError as error:
        return [Finding(0, "document", error.message)]
    except (KeyError, TypeError, AttributeError) as error:
        return [Finding(0, "document", f"a part of an event has the wrong shape ({error!r})")]
    found: list[Finding] = []
    for n, step in enumerate(doc.steps, start=1):
        found += [Finding(n, key, message) for key, message in _step_findings(step)]
    return found + _across(doc)


def refuse_unsound(document: TraceDocument | Mapping[str, Any] | str) -> None:
    """Raise ``BadInput`` with every finding if the document is not sound."""
    found = check_document(document)
    if found:
        more = f" and {len(found) - 5} more" if len(found) > 5 else ""
        raise BadInput(
            "The document cannot be taken in: "
            + "; ".join(str(f) for f in found[:5])
            + more
            + ". Ask the sender to mend it.",
            findings=found,
        )


def _step_findings(step: TraceStep) -> list[tuple[str, str]]:
    out: list[tuple[str, str]] = []
    if step.kind not in KINDS:
        out.append(("type", f"{step.kind!r} is no event type; the five are {', '.join(sorted(KINDS))}"))
    for key, stamp in (("eventTime", step.happened_at), ("recordTime", step.recorded_at)):
        if stamp is not None:
            try:
                read_time(stamp)
            except SlabbookError as error:
                out.append((key, error.message))
    if not _OFFSET.fullmatch(step.zone_offset):
        out.append(("eventTimeZoneOffset", f"{step.zone_offset!r} is no offset; write it like +02:00"))
    out += _word("bizStep", step.step, BIZ_STEPS)
    for state in (step.state, *step.states_set, *step.states_unset):
        out += _word("disposition", state, DISPOSITIONS)
    for paper in step.papers:
        out += _word("bizTransactionList.type", paper.kind, PAPERS)
    for party in (*step.came_from, *step.went_to):
        out += _word("sourceList/destinationList.type", party.kind, PARTIES)
    uris = [
        step.event_id,
        step.parent,
        step.transformation_id,
        *step.items,
        *step.children,
        *step.inputs,
        *step.outputs,
    ]
    uris += [p.uri for p in step.papers] + [p.uri for p in (*step.came_from, *step.went_to)]
    uris += [p.uri for p in (step.read_at, step.then_at) if p is not None]
    amounts = (*step.amounts, *step.child_amounts, *step.input_amounts, *step.output_amounts)
    uris += [a.lot for a in amounts]
    for uri in uris:
        if uri is not None and not _URI.fullmatch(uri):
            out.append(("id", f"{uri!r} is no URI; write https://your.domain/class/… or a tag: URI, without spaces"))
        elif uri is not None:
            gtin = _GTIN.search(uri)
            if gtin and str(check_digit(gtin[1][:-1])) != gtin[1][-1]:
                out.append(("id", f"the GTIN {gtin[1]} should end in {check_digit(gtin[1][:-1])}"))
    for amount in amounts:
        out += _amount(amount)
    return out + _shape(step)


def _word(key: str, value: str | None, words: frozenset[str]) -> list[tuple[str, str]]:
    if value is None or value in words:
        return []
    if value.startswith("urn:epcglobal:cbv:"):
        return [(key, f"{value!r} is the form of version 1; write {value.rsplit(':', 1)[1]!r}")]
    if ":" in value and _URI.fullmatch(value):
        return []
    return [
        (key, f"{value!r} is no word of the vocabulary; use one of {', '.join(sorted(words))}, or a URI of your own")
    ]


def _amount(amount: Amount) -> list[tuple[str, str]]:
    out = []
    if amount.amount is not None and amount.amount <= 0:
        out.append(("quantity", f"{amount.amount} of {amount.lot}: an amount is more than nothing"))
    if amount.unit is not None and not re.fullmatch(r"[A-Z0-9]{2,3}", amount.unit):
        out.append(("uom", f"{amount.unit!r} is no unit code of UN/CEFACT Recommendation 20 (kilogram is KGM)"))
    elif amount.unit in UNIT_MISTAKES:
        out.append(("uom", f"{amount.unit!r} should be {UNIT_MISTAKES[amount.unit]!r} (UN/CEFACT Recommendation 20)"))
    whole = amount.amount is None or amount.amount == Decimal(amount.amount).to_integral_value()
    if not whole and (amount.unit is None or amount.unit in COUNT_UNITS):
        out.append(("quantity", f"{amount.amount} of {amount.lot} is a count and should be whole, or name its unit"))
    return out


def _shape(step: TraceStep) -> list[tuple[str, str]]:
    out: list[tuple[str, str]] = []
    if step.kind == "TransformationEvent":
        if step.action is not None:
            out.append(("action", "a TransformationEvent has none"))
        made = step.outputs or step.output_amounts
        used = step.inputs or step.input_amounts
        if not (made and used) and step.transformation_id is None:
            out.append(
                ("transformationID", "inputs without outputs (or the other way) need one to tie the parts together")
            )
    elif step.action not in ACTIONS:
        out.append(("action", f"{step.action!r} is not one of ADD, OBSERVE, DELETE"))
    if step.kind in ("AggregationEvent", "AssociationEvent") and step.action in ("ADD", None) and step.parent is None:
        out.append(("parentID", "what was it packed into? ADD needs the case"))
    if step.made_with is not None and step.kind != "TransformationEvent" and step.action != "ADD":
        out.append(("ilmd", f"describes lots being made, so it cannot stand on action {step.action}"))
    if step.kind == "TransactionEvent" and not step.papers:
        out.append(("bizTransactionList", "a TransactionEvent needs its business document"))
    keys = [*step.own, *(step.made_with or ()), *(step.error.own if step.error else ())]
    out += [
        ("extension", f"the key {k!r} needs a prefix declared in @context")
        for k in keys
        if ":" not in k and k[:1] != "@"
    ]
    return out


def _across(doc: TraceDocument) -> list[Finding]:
    """What only shows when the whole document is read: ids used twice, and error declarations that do not fit."""
    out: list[Finding] = []
    plain = Counter(s.event_id for s in doc.steps if s.event_id and s.error is None)
    bare: dict[str, dict[str, Any]] = {}
    for n, step in enumerate(doc.steps, start=1):
        if step.event_id is None:
            continue
        if step.error is None:
            if plain[step.event_id] > 1:
                out.append(
                    Finding(n, "eventID", f"{step.event_id} names {plain[step.event_id]} events; ids are used once")
                )
            bare.setdefault(step.event_id, _without_times(step))
    for n, step in enumerate(doc.steps, start=1):
        error = step.error
        if error is None:
            continue
        if error.reason is not None and error.reason not in ERROR_REASONS and ":" not in error.reason:
            out.append(
                Finding(n, "errorDeclaration.reason", f"{error.reason!r} is not incorrect_data or did_not_occur")
            )
        if error.reason == "did_not_occur" and error.corrective_ids:
            out.append(Finding(n, "errorDeclaration", "what did not occur has no corrective event"))
        first = bare.get(step.event_id or "")
        if first is not None and first != _without_times(step):
            out.append(Finding(n, "errorDeclaration", f"differs from the event {step.event_id} that it declares wrong"))
        if first is not None:  # a lone declaration may speak of an earlier document; one with its event should be whole
            missing = [i for i in error.corrective_ids if i not in bare]
            out += [Finding(n, "correctiveEventIDs", f"{i} names no event of this document") for i in missing]
    return out


def _without_times(step: TraceStep) -> dict[str, Any]:
    return {k: v for k, v in export_event(step).items() if k not in ("errorDeclaration", "recordTime")}


def check_with_schema(document: Mapping[str, Any], schema_file: Path) -> list[Finding]:
    """Findings of the official JSON Schema (draft 7) **with** format checking, from a schema file of yours.

    Raises:
        BadInput: the package ``jsonschema[format-nongpl]`` is not installed (``pip install slabbook[interchange]``),
        or its
            format part is missing, without which the schema lets wrong words pass.
    """
    try:
        from jsonschema import Draft7Validator, FormatChecker  # type: ignore[import-untyped]
    except ImportError as error:
        raise BadInput(
            "Checking with a schema needs: pip install 'slabbook[interchange]'", package="jsonschema"
        ) from error
    checker = FormatChecker()
    missing = [name for name in ("uri", "date-time") if name not in checker.checkers]
    if missing:
        raise BadInput(
            f"The format checks {', '.join(missing)} are not installed; without them a schema accepts nonsense. "
            "Run: pip install 'jsonschema[format-nongpl]'",
            missing=missing,
        )
    schema = json.loads(schema_file.read_text(encoding="utf-8"))
    floats = json.loads(json.dumps(document, default=float))
    validator = Draft7Validator(schema, format_checker=checker)
    out = []
    for fault in validator.iter_errors(floats):
        where = [p for p in fault.absolute_path if isinstance(p, int)]
        key = ".".join(str(p) for p in fault.absolute_path) or "document"
        out.append(Finding(where[0] + 1 if where else 0, key, fault.message[:300]))
    return out
