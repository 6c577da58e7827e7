"""Interchange documents against GS1's published schema, examples and event hashes.

Sources: GS1 EPCIS 2.0 JSON Schema; 34 example documents of the ``gs1/EPCIS`` repository (Apache-2.0); 19 documents
with event hashes of ``RalphTro/epcis-event-hash-generator`` (MIT). The making is written for this project; its hashes
were computed by that published generator and its expected answers worked by hand.
"""

from __future__ import annotations

import copy
import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from ledger.errors import BadInput
from ledger.trace.epcis_export import Namer, kilograms, to_json
from ledger.trace.epcis_graph import graph_of, split_by
from ledger.trace.epcis_import import import_document, parse_json
from ledger.trace.epcis_map import WORDS, FloorStep, Moved, document_of
from ledger.trace.epcis_validate import check_document, check_with_schema, refuse_unsound
from ledger.trace.event_hash import event_hash, utc_milliseconds
from ledger.trace.path import trace_path
from tests.support.shared import shared_path

pytestmark = pytest.mark.shared

URI = "https://trace.candy.example/class/"


@pytest.fixture(scope="module")
def schema() -> Path:
    return shared_path("epcis", "schema", "epcis-2.0.schema.json")


def documents() -> list[Path]:
    folders = [shared_path("epcis", name) for name in ("examples", "event-hash", "making")]
    return [f for folder in folders for f in sorted(folder.glob("*.jsonld"))]


def events_of(doc: dict[str, Any]) -> list[dict[str, Any]]:
    body = doc["epcisBody"]
    return list(body["eventList"] if "eventList" in body else body["queryResults"]["resultsBody"]["eventList"])


def without_empty_lists(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: without_empty_lists(v) for k, v in value.items() if v != []}
    return [without_empty_lists(v) for v in value] if isinstance(value, list) else value


def hashes(doc: dict[str, Any]) -> list[str]:
    return [event_hash(e, doc["@context"]) for e in events_of(doc)]


def making() -> dict[str, Any]:
    return parse_json(shared_path("epcis", "making", "making-26-0412.jsonld").read_text())


def test_all_54_documents_come_back_with_equal_meaning_and_stay_valid(schema: Path) -> None:
    files = documents()
    assert len(files) == 34 + 19 + 1
    for file in files:
        doc = parse_json(file.read_text())
        written = to_json(import_document(doc))
        again = json.loads(written, parse_float=Decimal)
        assert without_empty_lists(again) == without_empty_lists(doc), file.name
        assert hashes(again) == hashes(doc), file.name
        assert check_document(again) == [], file.name
        assert check_with_schema(again, schema) == [], file.name


def test_event_hashes_equal_the_published_ones_of_all_19_documents_and_of_the_making() -> None:
    checked = 0
    for file in documents():
        published = file.with_suffix(".hashes")
        if published.exists():
            assert hashes(parse_json(file.read_text())) == published.read_text().split(), file.name
            checked += 1
    assert checked == 20


def test_a_document_with_the_step_transforming_is_refused_by_the_schema_and_by_us(schema: Path) -> None:
    # If a format package were missing the schema would let this pass; then this test must fail.
    doc = making()
    doc["epcisBody"]["eventList"][4]["bizStep"] = "transforming"
    assert check_with_schema(doc, schema)
    assert any("transforming" in str(f) and f.event == 5 for f in check_document(doc))
    with pytest.raises(BadInput, match="event 5, bizStep"):
        refuse_unsound(doc)


def change(doc: dict[str, Any], event: int, key: str, value: Any) -> dict[str, Any]:
    """A copy of ``doc`` with one key of one event set, or removed when the value is None."""
    out = copy.deepcopy(doc)
    at = out["epcisBody"]["eventList"][event]
    *path, last = key.split(".")
    for part in path:
        at = at[int(part)] if part.isdigit() else at[part]
    last_key: Any = int(last) if last.isdigit() else last
    if value is None:
        del at[last_key]
    else:
        at[last_key] = value
    return out


REFUSED_BY_THE_SCHEMA = [
    (4, "disposition", "quarantined"),
    (4, "bizStep", "urn:epcglobal:cbv:bizstep:commissioning"),
    (0, "ilmd", {"cbvmda:lotNumber": "X"}),
    (4, "ownKey", "no prefix"),
    (4, "action", "ADD"),
    (4, "eventTimeZoneOffset", None),
    (4, "inputQuantityList.0.quantity", "5.0"),
    (4, "inputQuantityList.0.uom", "kgm"),
    (4, "eventTime", "2026-04-12T08:05:00"),
    (4, "inputQuantityList.0.epcClass", "sugar lot 3"),
    (4, "outputQuantityList", None),
    (6, "errorDeclaration.reason", "oops"),
]
REFUSED_BY_US_ONLY = [
    (4, "inputQuantityList.0.quantity", Decimal("-5")),
    (4, "inputQuantityList.0.quantity", 0),
    (14, "outputQuantityList.0.quantity", Decimal("75.5")),
    (4, "inputQuantityList.0.uom", "KG"),
    (4, "inputQuantityList.0.epcClass", "https://id.gs1.org/01/09506000134353/10/S7711"),
    (8, "eventID", "urn:uuid:2e1c7d31-7ce1-5ac7-91a2-95f53200b17c"),
    (6, "inputQuantityList.0.quantity", 3),
    (6, "errorDeclaration.correctiveEventIDs", ["urn:uuid:00000000-0000-4000-8000-000000000000"]),
    (15, "parentID", None),
]


@pytest.mark.parametrize(("event", "key", "value"), REFUSED_BY_THE_SCHEMA)
def test_what_the_schema_refuses_our_own_checks_refuse_too(schema: Path, event: int, key: str, value: Any) -> None:
    doc = change(making(), event, key, value)
    assert check_with_schema(doc, schema)
    assert check_document(doc)


@pytest.mark.parametrize(("event", "key", "value"), REFUSED_BY_US_ONLY)
def test_what_the_schema_cannot_see_our_own_checks_refuse(schema: Path, event: int, key: str, value: Any) -> None:
    doc = change(making(), event, key, value)
    assert check_document(doc)
    assert key == "parentID" or not check_with_schema(doc, schema)


@pytest.mark.parametrize(
    ("event", "key", "value"),
    [
        (4, "bizStep", "https://trace.candy.example/step/cook"),
        (4, "inputQuantityList.0.epcClass", "tag:anna@mail.example,2026:lot:R26-003"),
        (4, "inputQuantityList.0.epcClass", "urn:uuid:2e1c7d31-7ce1-5ac7-91a2-95f53200b17c"),
    ],
)
def test_what_the_standard_allows_is_not_refused(schema: Path, event: int, key: str, value: Any) -> None:
    doc = change(making(), event, key, value)
    assert check_document(doc) == []
    assert check_with_schema(doc, schema) == []


def test_the_making_answers_as_worked_by_hand() -> None:
    want = json.loads(shared_path("epcis", "making", "making-26-0412.expected.json").read_text())
    doc = import_document(making())
    assert sorted(doc.voided_ids()) == want["voided_event_ids"]
    graph, stock = graph_of(doc)
    forward = trace_path(graph, want["forward_from"], "forward")
    assert sorted(forward.others) == want["forward_lots"]
    out = [leaf for leaf in forward.leaves if leaf.kind in ("delivery", "counter")]
    assert [(leaf.packs, leaf.document, leaf.party) for leaf in out] == [
        (24, "INV-3301", "customer-31"),
        (2, "TILL-20260415-17", "counter"),
    ]
    jars = graph.lot(URI + "JAR-HEART-120G.J26-0412")
    assert (24 + 2 + jars.on_hand_packs, jars.made_packs) == (24 + 2 + 49, 75)
    backward = trace_path(graph, want["backward_from"], "backward")
    assert sorted(backward.others) == want["backward_lots"]
    sources = {lot.lot: lot.supplier for lot in backward.sources}
    assert len(sources) == 5
    for uri, supplier in want["backward_source_lots"].items():
        assert sources[uri] == (supplier if supplier.startswith("supplier") else "not bought in")
    for uri, left in want["balances"].items():
        have = stock.packs.get(uri, Decimal(0)) or Decimal(stock.mg.get(uri, 0)) / 1_000_000
        assert have == Decimal(left), uri
    for row in want["mass_balance"]:
        edges = [e for e in graph.edges if e.event == row["eventID"]]
        out = {e.child: graph.made_mg(e.child) for e in edges}
        taken = sum(e.mass_mg for e in edges)
        assert Decimal(taken) / 1_000_000 == Decimal(row["in_kg"])
        assert Decimal(sum(out.values())) / 1_000_000 == Decimal(row["out_kg"])
        assert {e.step for e in edges} == {row["at"]}


def test_counting_the_voided_event_too_would_leave_two_kilograms_of_sugar_owing() -> None:
    doc = making()
    events = doc["epcisBody"]["eventList"]
    doc["epcisBody"]["eventList"] = [e for e in events if "errorDeclaration" not in e]
    _, stock = graph_of(import_document(doc))
    assert stock.mg["https://id.gs1.org/01/09506000134352/10/S7711"] == -2_000_000


def test_a_step_with_two_lots_out_shares_each_input_between_them_to_the_milligram() -> None:
    assert split_by(10, [1, 1, 1]) == [4, 3, 3]
    assert split_by(9_820_000, [9_100_000, 620_000]) == [9_193_621, 626_379]
    assert split_by(5, [0, 0]) == [3, 2]


@pytest.mark.parametrize("base", ["https://shop.example", "https://shop.example/t/", "tag:anna@mail.example,2026:"])
def test_every_step_of_the_floor_becomes_a_valid_event_on_any_base(schema: Path, base: str) -> None:
    namer = Namer(base)
    steps = [
        FloorStep(
            name=name,
            event_id=f"2e1c7d31-7ce1-5ac7-91a2-{n:012d}",
            happened_at="2026-04-12T08:05:00+02:00",
            taken=(Moved("26102A", "MASS", mass_mg=1_234_567),),
            made=(Moved("26102B", "JAR", count=7, best_before="2027-10-12", net_weight_mg=120_000),),
            place="kettle-1", person="W2", batch="26102", recipe="hard v3", party="S-07", papers=(("po", "118"),),
            case="C 1" if "case" in name else "", end_temperature_c=Decimal("151.5") if name == "cook" else None,
        )
        for n, name in enumerate(WORDS)
    ]  # fmt: skip
    doc = json.loads(to_json(document_of(steps, namer, created_at="2026-04-12T09:00:00+02:00", name="P1")))
    assert check_document(doc) == []
    assert check_with_schema(doc, schema) == []
    assert len(events_of(doc)) == len(WORDS)
    hashes(doc)


def test_an_amended_step_is_repeated_whole_with_its_declaration_and_its_successor_named(schema: Path) -> None:
    wrong, right = "2e1c7d31-7ce1-5ac7-91a2-95f53200b170", "2e1c7d31-7ce1-5ac7-91a2-95f53200b171"

    def cook(event: str, sugar: int, declared: tuple[str, str, tuple[str, ...]] | None = None) -> FloorStep:
        return FloorStep(
            name="cook", event_id=event, happened_at="2026-04-12T08:50:00+02:00", note="typed 20, sheet says 2",
            taken=(Moved("S1", mass_mg=sugar),), made=(Moved("26102A", mass_mg=2_880_000),), wrong=declared,
        )  # fmt: skip

    steps = [cook(wrong, 20_000_000, ("2026-04-12T12:31:00+02:00", "incorrect_data", (right,))), cook(right, 2_000_000)]
    doc = document_of(steps, Namer("https://shop.example"), created_at="2026-04-12T13:00:00+02:00", name="P1")
    assert check_document(doc) == []
    assert check_with_schema(json.loads(to_json(doc)), schema) == []
    graph, _ = graph_of(doc)
    assert [e.mass_mg for e in graph.edges] == [2_000_000]
    first, declared = events_of(json.loads(to_json(doc)))[:2]
    assert {k: v for k, v in declared.items() if k != "errorDeclaration"} == first
    assert declared["errorDeclaration"]["correctiveEventIDs"] == [f"urn:uuid:{right}"]


def test_masses_go_out_as_exact_kilograms() -> None:
    assert [format(kilograms(m), "f") for m in (1_234_567, 25_000_000, 1, 100_000_000)] == [
        "1.234567",
        "25",
        "0.000001",
        "100",
    ]
    assert '"quantity": 0.018' in to_json(import_document(making()))


def test_a_shop_without_domain_or_prefix_is_told_what_to_use() -> None:
    with pytest.raises(BadInput, match="RFC 4151"):
        Namer("shop.example")


def test_times_are_rounded_half_up_to_the_millisecond() -> None:
    # TimeStampRoundOff of the published hash documents.
    assert utc_milliseconds("2023-02-02T11:04:03.1415Z") == "2023-02-02T11:04:03.142Z"
    assert utc_milliseconds("2023-02-02T12:04:03.1414+01:00") == "2023-02-02T11:04:03.141Z"


@pytest.mark.parametrize("text", ["[]", "{", '{"type": "EPCISDocument", "schemaVersion": "1.2"}', '{"type": "Order"}'])
def test_what_is_no_document_is_refused_with_a_reason(text: str) -> None:
    with pytest.raises(BadInput):
        import_document(text)
    assert check_document(text)
