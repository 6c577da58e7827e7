"""The event hash of the Core Business Vocabulary 2.0: one name for one event, however and by whomever it was written
down.

Two partners who hold the same event in different order, zone or spelling of keys get the same ``ni:///sha-256;...``
name. That finds duplicates. It is not a seal on our own record: it leaves out the event id, the record time and any
error declaration, so an event and its declaration of error have one and the same hash.

Source: GS1 Core Business Vocabulary 2.0 section 8.9, the algorithm as in its published reference documents; the order
of sensor report fields that no reference document shows is from memory.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

from ledger.errors import BadInput
from ledger.trace.digital_link import canonical_uri

CBV = "https://ref.gs1.org/cbv/"
GS1_VOC = "https://gs1.org/voc/"
IGNORED = frozenset({"eventID", "recordTime", "errorDeclaration", "@context"})
BUILT_IN_PREFIXES = {"cbv": CBV, "gs1": GS1_VOC}
GS1_CONTEXT_PREFIXES = frozenset({"cbvmda"})
"""Prefixes explained in GS1's own context file only. The published values leave such a key as it is written; a document
that declares the prefix itself (ours does) gets the full name."""
DECIMAL_TEXT = re.compile(r"-?\d+\.\d+")

EPCS = "epc"
QUANTITY = "quantityElement"
FIELDS: tuple[tuple[str, str], ...] = (
    ("type", "word"), ("eventTime", "time"), ("eventTimeZoneOffset", "plain"), ("certificationInfo", "uri"),
    ("epcList", "epcs"), ("parentID", "uri"), ("inputEPCList", "epcs"), ("childEPCs", "epcs"),
    ("quantityList", "quantities"), ("childQuantityList", "quantities"), ("inputQuantityList", "quantities"),
    ("outputEPCList", "epcs"), ("outputQuantityList", "quantities"), ("action", "plain"), ("transformationID", "uri"),
    ("bizStep", "BizStep-"), ("disposition", "Disp-"), ("persistentDisposition", "persistent"), ("readPoint", "place"),
    ("bizLocation", "place"), ("sensorElementList", "sensors"), ("bizTransactionList", "bizTransaction"),
    ("destinationList", "destination"), ("ilmd", "ilmd"), ("sourceList", "source"),
)  # fmt: skip
METADATA = (
    "time", "startTime", "endTime", "deviceID", "deviceMetadata", "rawData", "dataProcessingMethod", "bizRules",
)  # fmt: skip
REPORT = (
    "type", "exception", "deviceID", "deviceMetadata", "rawData", "dataProcessingMethod", "bizRules", "time",
    "microorganism", "chemicalSubstance", "value", "component", "stringValue", "booleanValue", "hexBinaryValue",
    "uriValue", "minValue", "maxValue", "meanValue", "percRank", "percValue", "sDev", "uom",
    "coordinateReferenceSystem",
)  # fmt: skip
TIMES = frozenset({"time", "startTime", "endTime"})


def event_hash(event: Mapping[str, Any], context: Any = ()) -> str:
    """``ni:///sha-256;{hex}?ver=CBV2.0`` of one event, given as the JSON object of an EPCIS 2.0 document.

    ``context`` is the document's ``@context``; it resolves the prefixes of extension keys.

    Raises:
        BadInput: a key whose prefix no context explains, or a time that cannot be read.
    """
    digest = hashlib.sha256(prehash_text(event, context).encode()).hexdigest()
    return f"ni:///sha-256;{digest}?ver=CBV2.0"


def prefixes(context: Any) -> dict[str, str]:
    """Prefix to namespace, from an ``@context`` (a string, an object or a list of them)."""
    found = dict(BUILT_IN_PREFIXES)
    for part in context if isinstance(context, list | tuple) else [context]:
        if isinstance(part, Mapping):
            found.update({k: v for k, v in part.items() if isinstance(v, str)})
    return found


def prehash_text(event: Mapping[str, Any], context: Any = ()) -> str:
    """The text that is hashed: known fields in the vocabulary's order, then extensions sorted by their full names."""
    spaces = prefixes(context)
    spaces.update({k: v for k, v in prefixes(event.get("@context", ())).items() if k not in BUILT_IN_PREFIXES})
    out = []
    known = {name for name, _ in FIELDS}
    for name, shape in FIELDS:
        if name in event:
            out.append(_field(name, shape, event[name], spaces))
    return "".join(out) + _extensions({k: v for k, v in event.items() if k not in known}, spaces)


def _field(name: str, shape: str, value: Any, spaces: Mapping[str, str]) -> str:
    if shape == "word":
        return f"eventType={value}"
    if shape == "plain":
        return f"{name}={value}"
    if shape == "time":
        return f"{name}={utc_milliseconds(value)}"
    if shape == "uri":
        values = value if isinstance(value, list) else [value]
        return "".join(sorted(f"{name}={canonical_uri(v)}" for v in values))
    if shape in ("BizStep-", "Disp-"):
        return f"{name}={_word(value, shape)}"
    if shape == "epcs":
        return name + "".join(sorted(f"epc={canonical_uri(v)}" for v in value)) if value else ""
    if shape == "quantities":
        return name + "".join(sorted(_quantity(q) for q in value)) if value else ""
    if shape == "persistent":
        return name + "".join(
            "".join(sorted(f"{k}={_word(v, 'Disp-')}" for v in value[k])) for k in ("set", "unset") if k in value
        )
    if shape == "place":
        rest = _extensions({k: v for k, v in value.items() if k != "id"}, spaces)
        return f"{name}id={canonical_uri(value['id'])}{rest}"
    if shape == "bizTransaction":
        return name + "".join(sorted(_typed(v, "bizTransaction", "BTT-") for v in value)) if value else ""
    if shape in ("source", "destination"):
        return name + "".join(sorted(_typed(v, shape, "SDT-") for v in value)) if value else ""
    if shape == "sensors":
        return name + "".join(sorted("sensorElement" + _sensor(v, spaces) for v in value)) if value else ""
    return name + _extensions(value, spaces)  # ilmd


def _typed(entry: Mapping[str, Any], key: str, stem: str) -> str:
    kind = f"type={_word(entry['type'], stem)}" if "type" in entry else ""
    return f"{kind}{key}={canonical_uri(entry[key])}"


def _quantity(entry: Mapping[str, Any]) -> str:
    text = f"{QUANTITY}epcClass={canonical_uri(entry['epcClass'])}"
    if "quantity" in entry:
        text += f"quantity={number(entry['quantity'])}"
    if "uom" in entry:
        text += f"uom={entry['uom']}"
    return text


def _sensor(element: Mapping[str, Any], spaces: Mapping[str, str]) -> str:
    text = ""
    if "sensorMetadata" in element:
        text += "sensorMetadata" + _report(element["sensorMetadata"], METADATA, spaces)
    reports = element.get("sensorReport", [])
    text += "".join(sorted("sensorReport" + _report(r, REPORT, spaces) for r in reports))
    return text + _extensions(
        {k: v for k, v in element.items() if k not in ("sensorMetadata", "sensorReport", "type")}, spaces
    )


def _report(entry: Mapping[str, Any], order: tuple[str, ...], spaces: Mapping[str, str]) -> str:
    out = []
    for name in order:
        if name not in entry:
            continue
        value = entry[name]
        if name in TIMES:
            shown = utc_milliseconds(value)
        elif name in ("type", "exception"):
            shown = value if ":" in value else GS1_VOC + value
            shown = shown.replace("gs1:", GS1_VOC, 1) if shown.startswith("gs1:") else shown
        elif name == "component":
            shown = _word(value, "Comp-")
        elif isinstance(value, bool):
            shown = "true" if value else "false"
        elif isinstance(value, int | float | Decimal):
            shown = number(value)
        else:
            shown = canonical_uri(value)
        out.append(f"{name}={shown}")
    return "".join(out) + _extensions({k: v for k, v in entry.items() if k not in order}, spaces)


def _word(value: str, stem: str) -> str:
    """A vocabulary word in full: bare words belong to the vocabulary, prefixed and full URIs stay what they are."""
    if value.startswith("cbv:"):
        return CBV + value[4:]
    return canonical_uri(value) if ":" in value else f"{CBV}{stem}{value}"


def _extensions(entries: Mapping[str, Any], spaces: Mapping[str, str]) -> str:
    out: list[str] = []
    for key, value in entries.items():
        if key in IGNORED or key == "type" or _is_comment(key):
            continue
        out.extend(_extension(_full_name(key, spaces), value, spaces))
    return "".join(sorted(out))


def _extension(name: str, value: Any, spaces: Mapping[str, str]) -> list[str]:
    if isinstance(value, Mapping):
        return [name + _extensions(value, spaces)]
    if isinstance(value, list):
        return [text for item in value for text in _extension(name, item, spaces)]
    if isinstance(value, bool):
        return [f"{name}={'true' if value else 'false'}"]
    if isinstance(value, int | float | Decimal):
        return [f"{name}={number(value)}"]
    if DECIMAL_TEXT.fullmatch(value):
        return [f"{name}={number(Decimal(value))}"]
    return [f"{name}={value}"]


def _is_comment(key: str) -> bool:
    return key in ("rdfs:comment", "comment")


def _full_name(key: str, spaces: Mapping[str, str]) -> str:
    prefix, colon, local = key.partition(":")
    if not colon:
        return key
    if prefix not in spaces and prefix in GS1_CONTEXT_PREFIXES:
        return key
    if prefix not in spaces:
        raise BadInput(
            f"The key {key!r} has a prefix that the document's @context does not explain; add it there.", key=key
        )
    return f"{{{spaces[prefix]}}}{local}"


def number(value: int | float | Decimal) -> str:
    """A number in its shortest decimal form: 452.0 is ``452``, 0.10 is ``0.1``."""
    amount = value if isinstance(value, Decimal) else Decimal(json.dumps(value))
    text = format(amount, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def utc_milliseconds(text: str) -> str:
    """A time in UTC with three decimals, halves rounded up (…03.1415 becomes …03.142)."""
    stamp = read_time(text)
    micro = stamp.microsecond
    stamp = stamp.replace(microsecond=0) + timedelta(milliseconds=(micro + 500) // 1000)
    return f"{stamp.astimezone(UTC):%Y-%m-%dT%H:%M:%S}.{stamp.microsecond // 1000:03d}Z"


def read_time(text: str) -> datetime:
    """An ISO 8601 time with its offset.

    Raises:
        BadInput: no offset, or not a time at all.
    """
    try:
        stamp = datetime.fromisoformat(text)
    except ValueError:
        stamp = None
    if stamp is None or stamp.tzinfo is None:
        raise BadInput(f"{text!r} is no time with an offset; write it like 2026-04-12T08:05:00+02:00.", value=text)
    return stamp
