"""What leaves the house: labels read back by another reader, interchange documents under the official schema, proofs that hold.

Outside sources: GS1 EPCIS 2.0 JSON schema (with format checks); zxing-cpp as the reader of printed codes; RFC 9162 through the proof
checker's own vectors (tests/store, tests/trace).
"""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from ledger.application import audit_epcis, audit_label, audit_proof, audit_recall
from ledger.application.ledger import open_ledger
from ledger.domain.batch import commands as bc
from ledger.domain.batch.commands import Amend, Void
from ledger.domain.books.commands import Define
from ledger.domain.books.entries import Material, Site
from ledger.domain.lots.commands import ReceiveLot, SampleLot
from ledger.domain.parts import Give, Take
from ledger.errors import BadInput
from ledger.trace.epcis_validate import check_with_schema
from ledger.trace.proof import check_proof, proof_from_json, proof_to_json
from tests.application.audit_shop import audit_file, shop
from tests.support.given_when_then import DAY, cook
from tests.support.histories import opening
from tests.support.shared import shared_path

KG = 1_000_000
__all__ = ["audit_file", "shop"]


def a_jar(shop):
    return str(shop.queries.lots(holding=False, kinds=["packs"])["lot"].iloc[-1])


def test_a_lots_path_and_a_period_pass_the_official_schema_with_formats(shop):
    schema = shared_path("epcis", "schema", "epcis-2.0.schema.json")
    day = str(shop.queries.lot(a_jar(shop))["day"])
    for text in (audit_epcis.export(shop, a_jar(shop))[0], audit_epcis.export(shop, "", day, day)[0]):
        document = json.loads(text)
        assert document["epcisBody"]["eventList"] and not check_with_schema(document, schema)
        document["epcisBody"]["eventList"][0]["bizStep"] = "transforming"
        assert check_with_schema(document, schema), "the format checks are not running"


def test_an_amended_entry_goes_out_with_its_declaration_and_a_voided_one_without_replacement(shop):
    today = shop.today()
    came = shop.do(ReceiveLot(day=today, material="SUGAR", mass_mg=50 * KG, supplier="DUNMOR", lot="EP-1"))
    taken = shop.do(SampleLot(day=today, lot="EP-1", mass_mg=KG))
    shop.do(
        Amend(
            day=today,
            origin=came.first,
            command=ReceiveLot(day=today, material="SUGAR", mass_mg=40 * KG, supplier="DUNMOR", lot="EP-1"),
            reason="misread",
        )
    )
    shop.do(Void(day=today, origin=taken.first, reason="never happened"))
    events = json.loads(audit_epcis.export(shop, "EP-1")[0])["epcisBody"]["eventList"]
    wrong = [e["errorDeclaration"] for e in events if "errorDeclaration" in e]
    assert sorted(w["reason"] for w in wrong) == ["did_not_occur", "incorrect_data"]
    fixed = next(w for w in wrong if w["reason"] == "incorrect_data")["correctiveEventIDs"]
    right = next(e for e in events if e["eventID"] == fixed[0])
    assert right["quantityList"][0]["quantity"] == 40


def test_receipts_out_of_a_document_are_recorded_once_and_unknown_products_are_named(shop):
    text = shared_path("epcis", "making", "making-26-0412.jsonld").read_text(encoding="utf-8")
    with pytest.raises(BadInput, match="--material"):
        audit_epcis.receive(shop, text, {}, supplier="DUNMOR")
    from ledger.trace.epcis_import import import_document

    steps = [s for s in import_document(text).standing_steps() if audit_epcis._comes_in(s)]
    codes = {audit_epcis._product_and_lot(a)[0]: "SUGAR" for s in steps for a in s.amounts}
    dry = audit_epcis.receive(shop, text, codes, supplier="DUNMOR", dry=True)
    first = audit_epcis.receive(shop, text, codes, supplier="DUNMOR")
    again = audit_epcis.receive(shop, text, codes, supplier="DUNMOR")
    assert dry.recorded == 0 and first.recorded == sum(len(s.amounts) for s in steps) > 0
    assert (again.recorded, again.repeated) == (0, first.recorded)


def test_a_label_is_read_back_and_leads_to_the_lots_page(shop):
    zxingcpp, pdfium = pytest.importorskip("zxingcpp"), pytest.importorskip("pypdfium2")
    jar = a_jar(shop)
    data, made, number = audit_label.labels_pdf(shop, jar, "a4-24", count=2)
    image = pdfium.PdfDocument(data)[0].render(scale=300 / 72).to_pil()
    codes = {c.text for c in zxingcpp.read_barcodes(image) if "QR" in c.format.name.upper()}
    assert number == 2 and codes == {f"{shop.book().site().base_address}/L/{jar}".upper()}
    assert made.words.ingredients.lower().startswith("ingredients: sugar, glucose syrup")


def test_a_pack_with_a_gtin_carries_a_gs1_data_matrix_too(shop):
    """GTINs that begin 950 are GS1's own, for examples and tests; read by zxing-cpp, parsed by biip."""
    zxingcpp, pdfium = pytest.importorskip("zxingcpp"), pytest.importorskip("pypdfium2")
    biip = pytest.importorskip("biip")
    pytest.importorskip("zint")
    lots = shop.queries.lots(kinds=["packs"], item="LEMON-JAR")
    jar = str(lots["lot"].iloc[-1])
    data, _, _ = audit_label.labels_pdf(shop, jar, "a4-24", count=1)
    image = pdfium.PdfDocument(data)[0].render(scale=300 / 72).to_pil()
    codes = {c.format.name.replace("_", "").lower(): c.text for c in zxingcpp.read_barcodes(image)}
    matrix = next(text for kind, text in codes.items() if "matrix" in kind)
    parsed = biip.parse(matrix.replace("(", "").replace(")", "") if not matrix.startswith("]") else matrix)
    assert parsed.gs1_message is not None, matrix
    found = {e.ai.ai: e.value for e in parsed.gs1_message.element_strings}
    assert found["01"] == "09506000134352" and found["10"] == jar


def test_an_allergen_entered_after_the_lot_came_in_is_named_and_told_to_the_printer(shop):
    jar, today = a_jar(shop), shop.today()
    assert not audit_label.label(shop, jar).words.allergens
    sugar = shop.book().get(Material, "SUGAR")
    shop.do(Define(day=today, entry=replace(sugar, allergens=("tree-nut:almond",))))
    made = audit_label.label(shop, jar)
    assert "almond" in made.words.allergens and any("were changed in the book" in n for n in made.notes)
    site = shop.book().site()
    shop.do(Define(day=today, entry=replace(site, allergen_law="us")))
    assert isinstance(shop.book().site(), Site) and "Almond" in audit_label.label(shop, jar).words.allergens


def test_re_boil_carries_its_allergens_into_the_label(tmp_path):
    ledger = open_ledger(f"sqlite:///{tmp_path}/reboil.sqlite")
    for command in opening():
        ledger.do(command)
    ledger.do(Define(day=DAY, entry=Material(id="PASTE", name="Nut paste", allergens=("tree-nut:almond",))))
    ledger.do(ReceiveLot(day=DAY, material="PASTE", mass_mg=KG, supplier="MILL", lot="PST-1"))

    def jar(*more: Take) -> str:
        batch = ledger.do(bc.OpenBatch(day=DAY, flavour="LEMON", design="STAR")).batch
        ledger.do(cook(batch=batch, takes=(*cook().takes, *more)))
        ledger.do(bc.Pull(day=DAY, batch=batch, takes=(Take(lot=f"{batch}-C2", basis="all"),)))
        ledger.do(bc.Build(day=DAY, batch=batch))
        ledger.do(bc.Roll(day=DAY, batch=batch))
        gives = (
            Give(lot="", kind="pieces", mass_mg=13_000_000, pieces=5_700),
            Give(lot="", kind="reboil", mass_mg=620_000),
        )
        tub = ledger.do(bc.CutRods(day=DAY, batch=batch, gives=gives)).lots[-1]
        return f"{ledger.do(bc.PackUp(day=DAY, batch=batch, pack='LEMON-JAR', packs=90)).lots[0]} {tub}"

    _, tub = jar(Take(lot="PST-1", mass_mg=KG // 10)).split()
    plain, _ = jar().split()
    mixed, _ = jar(Take(lot=tub, mass_mg=200_000)).split()
    assert not audit_label.label(ledger, plain).words.allergens
    made = audit_label.label(ledger, mixed).words
    assert "almond" in made.emphasis or "almond" in made.allergens
    assert "nut paste" in made.ingredients.lower()
    ledger.close()


def test_a_proof_holds_against_a_checkpoint_told_earlier_and_fails_once_a_line_is_changed(shop):
    told = audit_recall.checkpoint(shop)
    shop.do(ReceiveLot(day=shop.today(), material="SUGAR", mass_mg=KG, supplier="DUNMOR", lot="PF-1"))
    made = audit_proof.proof(shop, "PF-1", earlier=told)
    text = proof_to_json(made)
    assert check_proof(proof_from_json(text), told=told) == []
    assert check_proof(proof_from_json(text.replace('\\"mass_mg\\":1000000', '\\"mass_mg\\":2000000')))
    assert check_proof(audit_proof.proof(shop, "1"), told=told)  # today's head alone is not the one on paper
    with pytest.raises(BadInput, match="no entry"):
        audit_proof.proof(shop, "99999999")
    with pytest.raises(BadInput, match="SIZE:ROOT"):
        audit_proof.read_head("12:abc")


def test_a_jar_of_the_demos_aniseed_carries_the_eus_warning_and_the_uss_name_of_its_red(shop):
    eu, us = (audit_label.label(shop, "ANISEED-JAR", market=market) for market in ("eu", "us"))
    assert "colour: Allura Red AC (E129)" in eu.words.ingredients
    assert eu.words.warnings == ("Allura Red AC: may have an adverse effect on activity and attention in children.",)
    assert eu.words.warnings[0] in eu.text.lines
    assert us.words.ingredients.endswith("contains 2% or less of: natural flavor, Red 40.") and not us.words.warnings
    assert "Check this text against the food law" in us.notes[0] and not any("certified batch" in n for n in us.notes)
    short = audit_label.label(shop, "ANISEED-JAR", short=True)
    assert short.text.lines == eu.words.warnings, "a label without the ingredient list still warns"


def test_names_and_numbers_entered_later_stand_on_the_labels_of_stock_that_is_there_and_a_changed_number_is_told(shop):
    known = shop.book().get(Material, "ALLURA")
    shop.do(
        Define(
            day=shop.today(),
            entry=replace(known, e_number="E124", label="Ponceau 4R", label_us="", certified_colour=False),
        )
    )
    made = audit_label.label(shop, "ANISEED-JAR")
    assert made.words.warnings == ("Ponceau 4R: may have an adverse effect on activity and attention in children.",)
    assert any("changed in the book" in n and "from E129 to E124" in n for n in made.notes)
    assert any("may not be sold in the US" in n for n in audit_label.label(shop, "ANISEED-JAR", market="us").notes)
    shop.do(Define(day=shop.today(), entry=replace(known, e_number="", label_us="")))
    with pytest.raises(BadInput, match="has no name for us labels"):
        audit_label.label(shop, "ANISEED-JAR", market="us")


def test_the_name_on_a_us_label_follows_the_rules_for_colours():
    assert audit_label.us_name(Material(id="A", name="Allura", role="colour", e_number="E129")) == "Red 40"
    assert audit_label.us_name(Material(id="B", name="Beet red", role="colour")) == "Beet red color"
    assert audit_label.us_name(Material(id="C", name="Dye", role="colour", certified_colour=True)) == ""
    assert audit_label.eu_name(Material(id="B", name="Beet", label="colour: beet red")) == "beet red"


def test_each_sheet_says_what_of_a_lots_words_it_can_carry_and_prints_it(shop):
    made = audit_label.label(shop, "ANISEED-JAR")
    found = audit_label.sheets_for(shop, made)
    assert {word for _, word, _ in found} == {"whole", "short", ""} and made.text.net_mm == 3
    for sheet, word, high in found:
        if not word:
            with pytest.raises(BadInput, match="do not fit"):
                audit_label.labels_pdf(shop, made.lot, sheet.name, count=1, short=True)
            continue
        data, printed, _ = audit_label.labels_pdf(shop, made.lot, sheet.name, count=1, short=word == "short")
        assert data.startswith(b"%PDF") and 0.899 <= high <= 1.201
        assert any("under 80 square cm only" in n for n in printed.notes) is (high < 1.195)
    us = audit_label.label(shop, "ANISEED-JAR", market="us").text
    assert (us.small_mm, us.least_mm) == pytest.approx((1.5875, 0.79375))
