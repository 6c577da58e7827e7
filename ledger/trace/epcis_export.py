"""Write steps as a GS1 EPCIS 2.0 JSON document, and name the shop's own things without a company prefix.

Masses go out in kilograms (KGM) with at most six decimals from whole milligrams; counts go out without a unit.
Slabbook's documents are compatible with EPCIS 2.0, not certified.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from urllib.parse import quote

from ledger.errors import BadInput
from ledger.trace.epcis_fields import FIELDS
from ledger.trace.epcis_model import EPCIS_CONTEXT, TraceDocument, TraceStep
from ledger.trace.gs1 import checked_gtin, checked_lot

CBVMDA = "urn:epcglobal:cbv:mda:"
MG_PER_KG = 1_000_000
TAG_URI = re.compile(r"tag:[^,\s]+,\d{4}(-\d{2}(-\d{2})?)?:\S*")


@dataclass(frozen=True, slots=True)
class Namer:
    """How this shop names its lots, places, cases and papers on the way out.

    ``base`` is an https address of the shop's own domain (``https://shop.example``) or a ``tag:`` URI
    (``tag:anna@mail.example,2026:``, RFC 4151) for a shop without one. Neither needs a GS1 company prefix. A
    supplier's lot that carries the supplier's GTIN is named by that GTIN and lot, because it is the supplier's key.

    Raises:
        BadInput: the base is neither.
    """

    base: str
    prefix: str = "ws"

    def __post_init__(self) -> None:
        if not (re.fullmatch(r"https://[^\s/]+(/\S*)?", self.base) or TAG_URI.fullmatch(self.base)):
            raise BadInput(
                f"{self.base!r} cannot name lots: use an https address of your own domain, or "
                f"tag:you@mail.example,2026: "
                "if you have none (RFC 4151).",
                value=self.base,
            )

    def _join(self, kind: str, name: str) -> str:
        safe = quote(name, safe="-._~")
        return (
            self.base.rstrip("/") + f"/{kind}/{safe}" if self.base.startswith("https") else self.base + f"{kind}:{safe}"
        )

    def lot(self, lot: str, product: str = "", *, gtin: str = "") -> str:
        """A lot. With a GTIN that truly is its maker's: GS1 Digital Link. Without: our own address."""
        if gtin:
            return f"https://id.gs1.org/01/{checked_gtin(gtin)}/10/{quote(checked_lot(lot), safe='-._~')}"
        return self._join("class", f"{product}.{lot}" if product else lot)

    def place(self, name: str) -> str:
        """A place in the house: ``loc``."""
        return self._join("loc", name)

    def paper(self, name: str) -> str:
        """A business document: ``bt``."""
        return self._join("bt", name)

    def case(self, name: str) -> str:
        """A single thing such as a case: ``obj``."""
        return self._join("obj", name)

    def party(self, name: str) -> str:
        """A business, by its code; never a private customer's name."""
        return self._join("party", name)

    @property
    def namespace(self) -> str:
        """Namespace of our own extension keys."""
        return self._join("ns", "") if self.base.startswith("https") else self.base + "ns:"

    def context(self) -> tuple[Any, ...]:
        """The ``@context`` of our documents. ``cbvmda`` is declared too, so that the event hash reads the same for
        all."""
        return (EPCIS_CONTEXT, {self.prefix: self.namespace, "cbvmda": CBVMDA})


def kilograms(mass_mg: int) -> Decimal:
    """Milligrams as exact kilograms without trailing zeros."""
    value = Decimal(mass_mg) / MG_PER_KG
    return value.quantize(Decimal(1)) if value == value.to_integral() else value.normalize()


def export_event(step: TraceStep) -> dict[str, Any]:
    """One event as a JSON object (decimals stay decimals; ``to_json`` writes them)."""
    out: dict[str, Any] = {}
    for field in FIELDS:
        value = getattr(step, field.name)
        if value is None or (field.many and not value):
            continue
        out[field.key] = [field.write(v) for v in value] if field.many else field.write(value)
    if step.states_set or step.states_unset:
        states = {"set": list(step.states_set), "unset": list(step.states_unset)}
        out["persistentDisposition"] = {k: v for k, v in states.items() if v}
    if step.certificates:
        many = list(step.certificates)
        out["certificationInfo"] = many[0] if len(many) == 1 else many
    return {**out, **step.own}


def export_document(document: TraceDocument) -> dict[str, Any]:
    """The whole document as a JSON object."""
    events = [export_event(step) for step in document.steps]
    body: dict[str, Any] = {"eventList": events}
    if document.query is not None:
        body = {"queryResults": {**document.query, "resultsBody": {"eventList": events}}}
    return {
        "@context": list(document.context),
        **({"id": document.uri} if document.uri is not None else {}),
        "type": "EPCISDocument" if document.query is None else "EPCISQueryDocument",
        "schemaVersion": "2.0",
        "creationDate": document.created_at,
        **document.head,
        "epcisBody": body,
    }


def to_json(document: TraceDocument | Mapping[str, Any], *, indent: int | None = 1) -> str:
    """The document as text; decimals are written digit for digit, never through a float."""
    data = export_document(document) if isinstance(document, TraceDocument) else document
    marks: dict[str, str] = {}

    def plain(value: Any) -> Any:
        if isinstance(value, Decimal):
            mark = f"\x00{len(marks)}\x00"
            marks[json.dumps(mark)] = format(value, "f")
            return mark
        if isinstance(value, Mapping):
            return {k: plain(v) for k, v in value.items()}
        if isinstance(value, list | tuple):
            return [plain(v) for v in value]
        return value

    text = json.dumps(plain(data), ensure_ascii=False, indent=indent)
    return re.sub(r'"\\u0000\d+\\u0000"', lambda found: marks[found[0]], text)
