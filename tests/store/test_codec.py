"""Events as canonical JSON: against RFC 8785's own sample and the reference package ``rfc8785`` (PyPI)."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import unicodedata
from dataclasses import dataclass
from typing import Any

import msgspec
import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from ledger.domain import stored_names
from ledger.domain.stored_names import stored_as
from ledger.errors import BadInput, LedgerDamaged
from ledger.store import upcasters
from ledger.store.canonical import STORED_COLUMNS, leaf_of, line_of, quote
from ledger.store.codec import LARGEST, decode, encode
from tests.store.sugar import NOON, Boiled, Counted, Taken

texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=30).map(
    lambda text: unicodedata.normalize("NFC", text)
)
amounts = st.integers(-LARGEST, LARGEST)
events = st.builds(
    Boiled,
    batch=texts,
    taken=st.lists(st.builds(Taken, lot=texts, mg=amounts), max_size=3).map(tuple),
    note=st.none() | texts,
    by_colour=st.none() | st.dictionaries(st.text(st.characters(max_codepoint=127), max_size=6), amounts, max_size=4),
    weighed=st.booleans(),
    kind=st.sampled_from(["clear", "pulled"]),
)


@given(events)
def test_an_event_is_stored_as_the_reference_writes_canonical_json(event: Boiled) -> None:
    assert encode(event) == rfc8785.dumps(msgspec.to_builtins(event))


@given(events)
def test_an_event_comes_back_as_it_was(event: Boiled) -> None:
    assert decode("test.boiled", 1, encode(event)) == event
    assert decode("test.boiled", 1, encode(event).decode()) == event


rows = st.tuples(
    texts, st.integers(1, LARGEST), texts, st.integers(1, 10**6), texts, texts, st.integers(1, 9), texts, texts,
    texts, texts,
    st.none() | texts, events.map(lambda event: encode(event).decode()),
)  # fmt: skip


@given(rows)
def test_a_row_is_hashed_as_the_reference_writes_it(row: tuple[Any, ...]) -> None:
    stored = dict(zip(STORED_COLUMNS, row, strict=True))
    stored["data"] = msgspec.json.decode(stored.pop("payload"))
    assert line_of(row).encode() == rfc8785.dumps(stored)
    assert leaf_of(row) == hashlib.sha256(b"\x00" + rfc8785.dumps(stored)).digest()


def test_the_sample_of_rfc_8785_section_3_2_2_comes_out_as_printed() -> None:
    """Its text and its literals; its array of floats has no place in the ledger (the next test)."""
    text = "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/"
    printed = r'''"€$\u000f\nA'B\"\\\\\"/"'''
    assert quote(text) == printed
    assert encode(Boiled(batch=text)) == (
        f'{{"batch":{printed},"by_colour":null,"kind":"clear","note":null,"taken":[],"weighed":true}}'.encode()
    )


@pytest.mark.parametrize("number", [5.0, 4.5, 1e30, float("nan")])
def test_a_float_is_refused(number: float) -> None:
    with pytest.raises(BadInput, match=r"test\.counted cannot be stored"):
        encode(Counted(number=number))  # type: ignore[arg-type]


def test_a_number_too_large_for_canonical_json_is_refused() -> None:
    assert encode(Counted(number=LARGEST)) == b'{"number":9007199254740991}'
    for number in (LARGEST + 1, -LARGEST - 1, 10**30):
        with pytest.raises(BadInput, match="9007199254740991"):
            encode(Counted(number=number))


def test_text_must_be_composed_and_keys_plain() -> None:
    with pytest.raises(BadInput, match="normal form C"):
        encode(Boiled(batch="cre\u0300me"))
    with pytest.raises(BadInput, match="key 'grün' is not plain ASCII"):
        encode(Boiled(batch="a", by_colour={"grün": 1}))


def test_one_row_can_be_checked_with_printf_and_sha256sum() -> None:
    if shutil.which("sha256sum") is None or shutil.which("sh") is None:
        pytest.skip("no sh or sha256sum on this machine")
    row = (
        "main",
        1,
        "a",
        1,
        "id",
        "test.boiled",
        1,
        NOON,
        NOON,
        "w",
        "c",
        None,
        encode(Boiled(batch='%s "\\n')).decode(),
    )
    command = """(printf '\\0'; printf '%s' "$1") | sha256sum"""
    said = subprocess.run(["sh", "-c", command, "sh", line_of(row)], capture_output=True, text=True, check=True).stdout
    assert said.split()[0] == leaf_of(row).hex()


def test_an_unknown_name_is_damage_and_named() -> None:
    with pytest.raises(LedgerDamaged, match=r"'batch\.melted'") as caught:
        decode("batch.melted", 1, b"{}")
    assert caught.value.name == "batch.melted"


def test_a_payload_that_does_not_fit_is_damage_and_named() -> None:
    for payload in (b'{"number":"x"}', b"{}", b"{", b'{"number":1.5}'):
        with pytest.raises(LedgerDamaged, match=r"test\.counted \(shape 1\) does not read"):
            decode("test.counted", 1, payload)


def test_a_shape_newer_than_the_program_is_refused() -> None:
    with pytest.raises(LedgerDamaged, match="stored in shape 2; this program reads up to shape 1: update it"):
        decode("test.counted", 2, b'{"number":1}')


@stored_as("test.poured", version=3)
@dataclass(frozen=True, slots=True, kw_only=True)
class Poured:
    """Shape 1 had grams under ``grams``, shape 2 milligrams under ``mg``, shape 3 says where to; ``by`` came without
    a hop.
    """

    mg: int
    onto: str
    by: str = "unknown"


@pytest.fixture
def hops() -> Any:
    @upcasters.upcasts("test.poured", 1)
    def to_milligrams(stored: dict[str, Any]) -> dict[str, Any]:
        return {"mg": stored["grams"] * 1000}

    @upcasters.upcasts("test.poured", 2)
    def to_a_place(stored: dict[str, Any]) -> dict[str, Any]:
        return stored | {"onto": "slab-1"}

    yield
    for version in (1, 2):
        del upcasters._hops["test.poured", version]


def test_old_shapes_are_lifted_one_hop_at_a_time(hops: Any) -> None:
    now = Poured(mg=5000, onto="slab-1")
    assert decode("test.poured", 1, b'{"grams":5}') == now
    assert decode("test.poured", 2, b'{"mg":5000}') == now
    assert decode("test.poured", 3, encode(now)) == now


def test_a_missing_hop_is_named(hops: Any) -> None:
    held = upcasters._hops.pop(("test.poured", 2))
    try:
        with pytest.raises(LedgerDamaged, match=r"test\.poured is stored in shape 2"):
            decode("test.poured", 1, b'{"grams":5}')
    finally:
        upcasters._hops["test.poured", 2] = held


def test_a_hop_is_registered_once(hops: Any) -> None:
    with pytest.raises(ValueError, match="has an upcaster already"):
        upcasters.upcasts("test.poured", 1)(dict)


@stored_as("test.sheet-kept")
@dataclass(frozen=True, slots=True, kw_only=True)
class SheetKept:
    """Holds whatever a sheet said."""

    sheet: dict[str, Any]


def test_what_a_loose_field_holds_is_looked_through() -> None:
    kept = SheetKept(sheet={"rows": [{"grams": 3, "note": "é", "good": True, "none": None}]})
    assert decode("test.sheet-kept", 1, encode(kept)) == kept
    for wrong in (1.5, float("nan"), 2**53, "e\u0301", {"ü": 1}):
        with pytest.raises(BadInput, match=r"test\.sheet-kept"):
            encode(SheetKept(sheet={"rows": [{"grams": wrong}]}))


@stored_as("test.weighed-badly")
@dataclass(frozen=True, slots=True, kw_only=True)
class WeighedBadly:
    """A field no ledger should have."""

    kilograms: tuple[float, ...]


def test_a_class_with_a_float_field_cannot_be_stored() -> None:
    with pytest.raises(TypeError, match=r"test\.weighed-badly\.kilograms\[\] has the type float"):
        encode(WeighedBadly(kilograms=()))


def test_a_stored_name_is_used_once_and_well_formed() -> None:
    assert stored_names.class_of("test.counted") is Counted
    assert (stored_names.name_of(Poured), stored_names.version_of(Poured)) == ("test.poured", 3)
    assert "test.boiled" in stored_names.all_names()
    with pytest.raises(ValueError, match=r"'test\.counted' is taken by tests\.store\.sugar\.Counted"):
        stored_as("test.counted")(Poured)
    for bad in ("Batch.Cooked", "batch", "batch.", "batch cooked", "ledger.domain:Cooked"):
        with pytest.raises(ValueError, match="cannot be a stored name"):
            stored_as(bad)
    with pytest.raises(ValueError, match="version is 0"):
        stored_as("test.other", version=0)


def test_only_frozen_slotted_keyword_dataclasses_get_a_name() -> None:
    @dataclass
    class Loose:
        number: int

    for cls in (Loose, int):
        with pytest.raises(TypeError, match="frozen=True, slots=True, kw_only=True"):
            stored_as("test.loose")(cls)
    with pytest.raises(KeyError, match="has no stored name"):
        stored_names.name_of(Loose)
