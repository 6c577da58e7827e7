"""What the book takes of a material that a label must name, and what it refuses with a way out."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.domain.books import additives
from ledger.domain.books import entries as e
from ledger.domain.books.book import book_of
from ledger.domain.books.commands import Define
from ledger.errors import BadInput
from ledger.interfaces.book_file import entries_from_csv, entries_from_toml
from ledger.interfaces.commands_in import read_entry
from ledger.store.codec import decode, encode
from tests.support.given_when_then import DAY, Bench

DYE = e.Material(
    id="DYE", name="Allura Red AC", role="colour", e_number="E129", label_us="Red 40", certified_colour=True
)


def define(entry: e.Material) -> list[Any]:
    return Bench(stocked=False).do(Define(day="2026-02-03", entry=entry))


def test_a_colour_with_its_number_and_both_names_is_kept_and_said_again_records_nothing() -> None:
    [event] = define(DYE)
    assert event.entry == DYE and event.version == 1
    bench = Bench(stocked=False)
    bench.do(Define(day="2026-02-03", entry=DYE))
    assert bench.do(Define(day="2026-02-04", entry=DYE)) == []


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"e_number": "e 129"}, "write the E number as `E129`"),
        ({"e_number": "Red 40"}, "no E number"),
        ({"additive_class": "dye"}, "no class of additive; known are acid"),
        ({"additive_class": "none"}, "name its class, or take the number out"),
        ({"role": "ingredient", "e_number": "E901"}, "needs its class"),
    ],
)
def test_what_a_label_could_not_carry_is_refused_with_the_way_out(changed: dict[str, str], told: str) -> None:
    with pytest.raises(BadInput, match=told):
        define(replace(DYE, **changed))


@pytest.mark.parametrize(
    ("typed", "kept"),
    [("e129", "E129"), ("E 129", "E129"), ("E-150A", "E150a"), ("141 (II)", "E141(ii)"), ("", ""), ("E1520", "E1520")],
)
def test_an_e_number_is_kept_in_one_form_however_it_was_typed(typed: str, kept: str) -> None:
    assert additives.e_number(typed) == kept
    assert (
        read_entry(e.Material, {"id": "X", "name": "X", "role": "colour", "e_number": typed}, book_of([])).e_number
        == kept
    )


@given(st.integers(100, 1999), st.sampled_from(["", "a", "d"]), st.sampled_from(["", "(i)", "(iv)"]))
def test_the_kept_form_of_an_e_number_reads_as_itself(number: int, letter: str, form: str) -> None:
    kept = additives.e_number(f"E {number}{letter} {form}")
    assert additives.e_number(kept) == kept and additives.plain_number(kept) == f"E{number}{letter}"


def test_a_book_file_and_a_csv_bring_the_label_fields_and_name_the_line_of_a_wrong_one() -> None:
    text = '[material.DYE]\nname = "Allura Red AC"\nrole = "colour"\ne_number = "E 129"\nlabel-us = "Red 40"\ncertified_colour = true\n'
    assert entries_from_toml(text) == [DYE]
    rows = "id,name,role,e_number,label_us,certified_colour\nDYE,Allura Red AC,colour,E129,Red 40,yes\n"
    assert entries_from_csv("material", rows) == [DYE]
    with pytest.raises(BadInput, match=r"\[material.DYE\].*e_number.*no E number"):
        entries_from_toml(text.replace("E 129", "red"))


def test_a_material_entered_before_these_fields_were_there_reads_with_none_of_them() -> None:
    [event] = define(replace(DYE, e_number="", label_us=""))
    old = encode(event)
    for field in ("label_us", "label_eu", "e_number", "additive_class"):
        old = old.replace(f'"{field}":"",'.encode(), b"")
    assert b"e_number" not in old
    assert decode("book.material-defined", 1, old) == event


@pytest.mark.parametrize(
    ("steps", "word"),
    [
        ((e.StepTime(step="stir", seconds=600),), "no step"),
        ((e.StepTime(step="cut", seconds=600), e.StepTime(step="cut", seconds=900)), "timed twice"),
        ((e.StepTime(step="cut", seconds=0),), "more than 0 min"),
        ((e.StepTime(step="cut", seconds=90_000),), "at most 24 h"),
        ((e.StepTime(step="cut", seconds=600, people=0),), "hands"),
    ],
)
def test_step_times_that_cannot_be_are_refused(steps: Any, word: str) -> None:
    Bench().refuses(Define(day=DAY, entry=e.Recipe(id="LEMON", flavour="LEMON", steps=steps)), BadInput, word)


def test_new_step_times_make_a_new_version_and_the_same_again_none() -> None:
    bench = Bench()
    timed = e.Recipe(id="LEMON", flavour="LEMON", steps=(e.StepTime(step="cook", seconds=3_000, people=2),))
    assert [x.version for x in bench.do(Define(day=DAY, entry=timed))] == [2]
    assert bench.do(Define(day=DAY, entry=timed)) == []
