"""What an interchange document says, as plain dataclasses, free of JSON, files and the network.

A ``TraceDocument`` is a list of ``TraceStep``: one thing that happened (received, cooked, cut, packed, shipped, held).
The words of the standard stay in the values (``commissioning``, ``receiving``), the field names are ours. Whatever a
partner adds under a prefix of his own is kept in ``own``, so a document can be read and written again without loss.

Source: GS1 EPCIS 2.0 and Core Business Vocabulary 2.0, as read from the published JSON Schema and examples. Slabbook's
documents are compatible with EPCIS 2.0; they are not certified by anyone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Literal

StepKind = Literal["ObjectEvent", "AggregationEvent", "TransactionEvent", "TransformationEvent", "AssociationEvent"]

EPCIS_CONTEXT = "https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"


@dataclass(frozen=True, slots=True)
class Amount:
    """So much of a lot: ``lot`` is its URI; without ``unit`` the amount is a count of pieces; no amount means
    "some"."""

    lot: str
    amount: Decimal | None = None
    unit: str | None = None


@dataclass(frozen=True, slots=True)
class Party:
    """A party or place a thing came from or went to: ``kind`` is ``owning_party``, ``possessing_party`` or
    ``location``."""

    kind: str
    uri: str


@dataclass(frozen=True, slots=True)
class Paper:
    """A business document: ``kind`` is ``po``, ``desadv``, ``inv``, ``prodorder``, ... or nothing."""

    kind: str | None
    uri: str


@dataclass(frozen=True, slots=True)
class Place:
    """A place by its URI, with what a partner added to it."""

    uri: str
    own: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ErrorDeclaration:
    """The earlier event of the same id was wrong: ``incorrect_data`` or ``did_not_occur``, and what replaces it."""

    declared_at: str
    reason: str | None = None
    corrective_ids: tuple[str, ...] = ()
    own: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceStep:
    """One thing that happened. Times are ISO 8601 text with offset, exactly as the document says them."""

    kind: StepKind
    happened_at: str
    zone_offset: str
    event_id: str | None = None
    recorded_at: str | None = None
    action: str | None = None
    items: tuple[str, ...] = ()
    amounts: tuple[Amount, ...] = ()
    parent: str | None = None
    children: tuple[str, ...] = ()
    child_amounts: tuple[Amount, ...] = ()
    inputs: tuple[str, ...] = ()
    input_amounts: tuple[Amount, ...] = ()
    outputs: tuple[str, ...] = ()
    output_amounts: tuple[Amount, ...] = ()
    transformation_id: str | None = None
    step: str | None = None
    state: str | None = None
    states_set: tuple[str, ...] = ()
    states_unset: tuple[str, ...] = ()
    read_at: Place | None = None
    then_at: Place | None = None
    papers: tuple[Paper, ...] = ()
    came_from: tuple[Party, ...] = ()
    went_to: tuple[Party, ...] = ()
    made_with: Mapping[str, Any] | None = None
    sensors: tuple[Mapping[str, Any], ...] = ()
    certificates: tuple[str, ...] = ()
    error: ErrorDeclaration | None = None
    own: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceDocument:
    """A document of steps. ``head`` keeps every other key of the head; ``query`` the head of a query answer, if it was
    one."""

    steps: tuple[TraceStep, ...]
    created_at: str
    context: tuple[Any, ...] = (EPCIS_CONTEXT,)
    uri: str | None = None
    head: Mapping[str, Any] = field(default_factory=dict)
    query: Mapping[str, Any] | None = None

    def voided_ids(self) -> frozenset[str]:
        """Ids of events that an error declaration says were wrong."""
        return frozenset(s.event_id for s in self.steps if s.error is not None and s.event_id is not None)

    def standing_steps(self) -> tuple[TraceStep, ...]:
        """The steps still believed: an event and its error declaration both drop out, the corrective event stays."""
        voided = self.voided_ids()
        return tuple(s for s in self.steps if s.error is None and s.event_id not in voided)
