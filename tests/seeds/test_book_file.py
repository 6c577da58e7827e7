"""The book as TOML and CSV: what people write is read exactly, what cannot be is named with table, key and value."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.application.contacts import KINDS, erase_contact, set_contact
from ledger.application.ledger import open_ledger
from ledger.domain.books import entries as e
from ledger.domain.books.commands import Define
from ledger.errors import BadInput
from ledger.interfaces.book_file import (
    Contact,
    contacts_from_toml,
    contacts_to_toml,
    entries_from_csv,
    entries_from_toml,
)
from seeds.shop.settings import book_text


def one(text: str) -> object:
    return entries_from_toml(text)[-1]


def test_units_are_read_as_people_write_them() -> None:
    """1 oz = 28.349523125 g, 1 in = 25.4 mm exactly (international yard and pound agreement 1959); 310 F = 154.444 C."""
    material = one('[material.SYRUP]\nname = "Glucose syrup"\nsolids = "80.3 %"\ncost = "0.92"\npack = "55 lb"\n')
    assert isinstance(material, e.Material)
    assert (material.solids_ppm, material.cost, material.pack_mg) == (803_000, 92, 24_947_580)
    recipe = one(
        '[flavour.X]\nname = "x"\n[recipe.X]\nflavour = "X"\nend_temperature = "310 F"\ntemperature_tolerance = "5 F"\n'
    )
    assert isinstance(recipe, e.Recipe)
    assert recipe.end_temperature_mc == 154_444
    assert recipe.temperature_tolerance_mc == pytest.approx(2_778, abs=1)  # a difference: 5 / 1.8, not (5 - 32) / 1.8
    pack = one('[pack.P]\nname = "jar"\nflavour = "X"\nnet = "4 oz"\nprice = "5.90"\n')
    assert isinstance(pack, e.Pack)
    assert (pack.net_mg, pack.price) == (113_398, 590)
    design = one('[design.D]\nname = "star"\nrod = "1/2 in"\nlog = "8 in"\n')
    assert isinstance(design, e.Design)
    assert (design.rod_um, design.log_um) == (12_700, 203_200)


def test_recipe_lines_and_steps_have_a_short_form() -> None:
    recipe = one(
        '[recipe.X]\nflavour = "X"\n[recipe.X.lines]\nSUGAR = "12 kg 400 g"\n"peel/BEET" = "3 g"\n[recipe.X.steps]\nbuild = "1 h 20 min x 3"\ncut = "25 min"\n'
    )
    assert isinstance(recipe, e.Recipe)
    assert recipe.lines == (
        e.RecipeLine(material="SUGAR", mass_mg=12_400_000), e.RecipeLine(material="BEET", mass_mg=3_000, portion="peel"),
    )  # fmt: skip
    assert recipe.steps == (
        e.StepTime(step="build", seconds=4_800, people=3),
        e.StepTime(step="cut", seconds=1_500, people=1),
    )


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[pack.P]\nname = "x"\nflavour = "L"\nnet = "4 gal"\n', ("[pack.P]", "net", "4 gal", "volume")),
        ('[material.M]\nname = "x"\nsolids = "120 %"\n', ("[material.M]", "solids", "120 %", "100 %")),
        ('[material.M]\nname = "x"\nsolids = 0.8\n', ("[material.M]", "solids", "text")),
        ('[worker.AB]\nskils = ["cut"]\n', ("[worker.AB]", "skils", "skills")),
        ('[recipe.R]\nflavour = "L"\n[recipe.R.steps]\nbild = "3 min"\n', ("[recipe.R]", "bild", "build")),
        ('[sheep.S]\nname = "x"\n', ("sheep", "material")),
        ('[material]\nname = "x"\n', ("[material]", "name")),
        ("[material.M\n", ("TOML",)),
    ],
)
def test_what_cannot_be_read_is_named(text: str, told: tuple[str, ...]) -> None:
    with pytest.raises(BadInput) as caught:
        entries_from_toml(text)
    for word in told:
        assert word in str(caught.value)


def test_all_mistakes_of_a_table_are_told_at_once() -> None:
    with pytest.raises(BadInput) as caught:
        entries_from_toml('[material.M]\nname = "x"\nsolids = "heavy"\npack = "12 miles"\n')
    assert "heavy" in str(caught.value)
    assert "12 miles" in str(caught.value)


def test_csv_reads_rows_of_one_kind_and_names_line_and_value() -> None:
    found = entries_from_csv(
        "material", "id;name;solids;cost\nSUGAR;Sugar;99.95 %;0.92\nACID;Citric acid;99.5 %;4.20\n"
    )
    assert [x.id for x in found] == ["SUGAR", "ACID"]
    assert found[1].cost == 420
    with pytest.raises(BadInput, match="line 3") as caught:
        entries_from_csv("material", "id,name,solids\nSUGAR,Sugar,99 %\nACID,Citric,lots\n")
    assert "lots" in str(caught.value)
    with pytest.raises(BadInput, match="`id`"):
        entries_from_csv("material", "name,solids\nSugar,99 %\n")


def test_loading_the_shops_book_twice_records_only_what_differs(sqlite_url: str) -> None:
    ledger = open_ledger(sqlite_url, create=False)
    entries = entries_from_toml(book_text())
    for entry in entries:
        ledger.do(Define(day="2026-01-02", entry=entry), "MK")
    before = ledger.queries.as_of().position
    assert before == len(entries)
    changed = book_text().replace('price = "5.90"', 'price = "6.10"', 1)
    for entry in entries_from_toml(changed, ledger.book()):
        ledger.do(Define(day="2026-01-02", entry=entry), "MK")
    assert ledger.queries.as_of().position == before + 1
    ledger.close()


def test_a_name_is_set_changed_and_erased_without_an_entry(ledger_url: str) -> None:
    ledger = open_ledger(ledger_url, create=False)
    set_contact(ledger, "worker", "AB", "Alba Brindle", phone="0")
    set_contact(ledger, "worker", "AB", "Alba Brindle-Oat")
    set_contact(ledger, "partner", "DUNMOR", "Dunmorrow Sugar", "Quay 9")
    assert list(ledger.queries.contacts("worker").name) == ["Alba Brindle-Oat"]
    assert list(ledger.queries.contacts("worker").phone) == [""]
    erase_contact(ledger, "worker", "AB")
    erase_contact(ledger, "worker", "AB")
    assert list(ledger.queries.contacts().id) == ["DUNMOR"]
    assert ledger.queries.as_of().position == 0
    with pytest.raises(BadInput, match="needs a name"):
        set_contact(ledger, "worker", "AB", " ")
    with pytest.raises(BadInput, match="kind of contact"):
        set_contact(ledger, "cat", "AB", "Tom")
    ledger.close()


def test_contacts_are_read_apart_from_the_book() -> None:
    found = contacts_from_toml(book_text())
    assert {c.kind for c in found} == {"worker", "partner", "shop"}
    with pytest.raises(BadInput, match=r"contact\.worker\.AB"):
        contacts_from_toml('[contact.worker.AB]\nname = "A"\nshoe = "38"\n')


WORDS = st.text(st.characters(codec="utf-8"), max_size=30)


@given(
    st.dictionaries(st.tuples(st.sampled_from(KINDS), WORDS.filter(bool)), st.tuples(WORDS, WORDS, WORDS), max_size=6)
)
def test_contacts_written_to_a_file_read_back_exactly_whatever_a_name_holds(people):
    kept = [Contact(kind=kind, id=id, name=n, address=a, phone=p) for (kind, id), (n, a, p) in people.items()]
    back = contacts_from_toml(contacts_to_toml(kept))
    assert sorted(back, key=lambda c: (c.kind, c.id)) == sorted(kept, key=lambda c: (c.kind, c.id))


def test_every_telephone_of_the_demo_lies_where_nobody_can_be_called():
    """01632 960000 to 960999: Ofcom keeps 1,000 numbers in the area 01632, which is nowhere, for drama (BBC News, 20 April 2015)."""
    text = (Path(__file__).parents[2] / "seeds" / "shop" / "book.toml").read_text(encoding="utf-8")
    phones = [c.phone for c in contacts_from_toml(text) if c.phone]
    assert len(phones) == 8 == len(set(phones))
    assert all(re.fullmatch(r"01632 960\d{3}", phone) for phone in phones)
