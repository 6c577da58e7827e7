"""Labels made with segno, zint and reportlab, read back with other people's readers.

Outside: decoded by ``zxing-cpp`` from pages rendered by ``pypdfium2``; element strings parsed by ``biip``. Check
digits and element strings are those of the GS1 General Specifications; GTINs that begin with 950 are GS1's own example
numbers.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import biip
import pypdfium2
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from ledger.errors import BadInput
from ledger.trace.codes import datamatrix_grid, lot_address, qr_grid
from ledger.trace.gs1 import bracketed, check_digit, checked_gtin, checked_lot, element_pairs, element_string
from ledger.trace.label_sheets import SHEETS, Sheet, sheet_called
from ledger.trace.labels import LabelText, print_labels, small_letters_mm

GTIN = "09506000134352"


def label(lot: str = "26102A", **more: object) -> LabelText:
    values: dict[str, object] = {
        "title": "Lemon rock", "lot": lot, "base": "https://shop.example", "net": "Net Wt 4 oz (113 g)",
        "best_before": date(2027, 10, 12),
    }  # fmt: skip
    return LabelText(**{**values, **more})  # type: ignore[arg-type]


def element(message: object, ai: str) -> object:
    """The element of this identifier in what biip parsed."""
    (found,) = [e for e in message.element_strings if e.ai.ai == ai]  # type: ignore[attr-defined]
    return found


def page_image(pdf: bytes, dpi: int, number: int = 0) -> Image.Image:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return document[number].render(scale=dpi / 72).to_pil().convert("L")
    finally:
        document.close()


def read(image: Image.Image) -> list[zxingcpp.Barcode]:
    return zxingcpp.read_barcodes(image)


@pytest.mark.parametrize(
    ("body", "digit"), [("950600013435", 2), ("950600013436", 9), ("950600013437", 6), ("950600013438", 3)]
)
def test_check_digits_are_those_of_gs1s_example_numbers(body: str, digit: int) -> None:
    assert check_digit(body) == digit
    assert biip.parse(body + str(digit)).gtin is not None


@given(st.from_regex(r"[0-9]{7,17}", fullmatch=True))
def test_check_digits_agree_with_biip_on_any_number(body: str) -> None:
    from biip.checksums import gs1_standard_check_digit

    assert check_digit(body) == gs1_standard_check_digit(body)


@pytest.mark.parametrize("gtin", ["9506000134353", "95060001343", "950600013435X", ""])
def test_a_mistyped_gtin_is_refused_with_the_digit_that_would_fit(gtin: str) -> None:
    with pytest.raises(BadInput):
        checked_gtin(gtin)


def test_a_lot_mark_of_21_signs_or_with_a_space_does_not_fit_a_label() -> None:
    assert checked_lot("A" * 20) == "A" * 20
    for bad in ("A" * 21, "26 102", "", "é"):
        with pytest.raises(BadInput, match="does not fit a label"):
            checked_lot(bad)


@given(st.from_regex(r"[0-9A-Z.\-]{1,20}", fullmatch=True), st.dates(date(2000, 1, 1), date(2049, 12, 31)))
def test_element_strings_are_parsed_back_by_biip_with_the_lot_last(lot: str, day: date) -> None:
    pairs = element_pairs(GTIN, lot, best_before=day)
    assert pairs[-1] == ("10", lot)
    text = element_string(pairs)
    assert "\x1d" not in text
    message = biip.parse(text).gs1_message
    assert message is not None
    assert element(message, "01").gtin.value == GTIN
    assert element(message, "15").date == day
    assert element(message, "10").value == lot


def test_a_lot_that_is_not_last_gets_its_separator() -> None:
    text = element_string([("10", "J26-0412"), ("01", GTIN), ("3103", "000120")])
    assert text == f"10J26-0412\x1d01{GTIN}3103000120"
    message = biip.parse(text).gs1_message
    assert message is not None and element(message, "3103").decimal == Decimal("0.120")
    with pytest.raises(BadInput, match="holds 14 digits"):
        element_string([("01", "123")])


def test_a_short_address_in_capitals_makes_the_smaller_qr_code() -> None:
    # ISO/IEC 18004: version 2 (25 x 25) holds 38 signs of alphanumeric mode at level M, byte mode needs version 3.
    address = "HTTPS://CANDYSHOP.EXAMPLE/L/26102A.B-1"
    assert len(address) == 38
    assert len(qr_grid(address).rows) == 25
    assert len(qr_grid(address.lower()).rows) == 29
    assert lot_address("https://candyshop.example/", "26102A.B-1") == address
    with pytest.raises(BadInput, match="holds _"):
        lot_address("https://candy_shop.example", "26102A")


@pytest.mark.parametrize("dpi", [203, 300])
@pytest.mark.parametrize("name", ["a4-24", "letter-30"])
def test_every_code_of_a_full_sheet_is_read_back(name: str, dpi: int) -> None:
    sheet = SHEETS[name]
    lots = [f"26{n:03d}A" for n in range(sheet.count)]
    pdf = print_labels([label(lot, gtin=GTIN) for lot in lots], sheet)
    found = read(page_image(pdf, dpi))
    qr = sorted(b.text for b in found if b.format == zxingcpp.BarcodeFormat.QRCode)
    matrix = [b for b in found if b.format == zxingcpp.BarcodeFormat.DataMatrix]
    assert qr == [f"HTTPS://SHOP.EXAMPLE/L/{lot}" for lot in lots]
    assert {b.symbology_identifier for b in matrix} == {"]d2"}  # read as GS1, not as plain DataMatrix
    assert sorted(b.text for b in matrix) == [
        bracketed(element_pairs(GTIN, lot, best_before=date(2027, 10, 12))) for lot in lots
    ]
    parsed = biip.parse("]d2" + bytes(matrix[0].bytes).decode()).gs1_message
    assert parsed is not None and element(parsed, "01").gtin.value == GTIN


@pytest.mark.parametrize("name", ["roll-50x25", "roll-57x32", "roll-62x29"])
def test_a_thermal_label_is_read_back_in_pure_black_and_white_at_203_dpi(name: str) -> None:
    pdf = print_labels([label(gtin=GTIN), label("26103B", gtin=GTIN)], name)
    for number, lot in enumerate(("26102A", "26103B")):
        image = page_image(pdf, 203, number).point(lambda v: 255 if v > 127 else 0).convert("1").convert("L")
        texts = {b.text for b in read(image)}
        assert f"HTTPS://SHOP.EXAMPLE/L/{lot}" in texts
        assert any(t.endswith(f"(10){lot}") for t in texts)


def test_the_words_on_the_label_can_be_read_out_of_the_page() -> None:
    pdf = print_labels([label(lines=("Contains: Milk",), mark="Hold", made=date(2026, 4, 12))], "a4-24")
    document = pypdfium2.PdfDocument(pdf)
    text = document[0].get_textpage().get_text_range()
    document.close()
    for word in (
        "HOLD",
        "Lemon rock",
        "L 26102A",
        "Best before 2027-10-12",
        "Made 2026-04-12",
        "Net Wt 4 oz (113 g)",
        "Milk",
    ):
        assert word in text


def test_a_part_used_sheet_starts_at_the_first_free_place() -> None:
    image = page_image(print_labels([label()], "a4-24", skip=4), 150)
    (code,) = read(image)
    x, y = code.position.top_left.x / 150 * 25.4, code.position.top_left.y / 150 * 25.4
    assert 70 < x < 140 and 37.5 < y < 74.5  # second column, second row
    with pytest.raises(BadInput, match="24 places"):
        print_labels([label()], "a4-24", skip=24)


def test_the_same_labels_give_the_same_bytes() -> None:
    assert print_labels([label()], "a4-24") == print_labels([label()], "a4-24")


def test_labels_run_on_to_the_next_page() -> None:
    document = pypdfium2.PdfDocument(print_labels([label()] * 25, "a4-24"))
    assert len(document) == 2
    document.close()


@pytest.mark.parametrize(
    "pairs", [[("01", "09506000134353"), ("10", "A")], [("01", GTIN), ("15", "271312"), ("10", "A")]]
)
def test_a_wrong_check_digit_or_month_13_never_becomes_a_code(pairs: list[tuple[str, str]]) -> None:
    with pytest.raises(BadInput, match="cannot be a GS1 DataMatrix"):
        datamatrix_grid(pairs)


def test_what_does_not_fit_is_refused_and_not_cut_off() -> None:
    with pytest.raises(BadInput, match="do not fit the labels of a4-24"):
        print_labels([label(lines=("word " * 200,))], "a4-24")
    with pytest.raises(BadInput, match="no label sheet 'x'"):
        sheet_called("x")
    with pytest.raises(BadInput, match="name at least one lot"):
        print_labels([], "a4-24")
    tiny = Sheet("tiny", 20, 10, 1, 1, 20, 10)
    with pytest.raises(BadInput, match="Take a larger label"):
        print_labels([label()], tiny)


def test_labels_of_a_sheet_lie_on_the_page_and_never_overlap() -> None:
    for sheet in SHEETS.values():
        corners = list(sheet.corners())
        assert len(set(corners)) == sheet.count
        assert max(x for x, _ in corners) + sheet.label_w <= sheet.page_w + 1e-6
        assert max(y for _, y in corners) + sheet.label_h <= sheet.page_h + 1e-6


def heights_mm(pdf: bytes, text: str, letters: str) -> list[float]:
    """Heights of some letters of the first place where a text stands, measured by another reader of the file (PDFium)."""
    page = pypdfium2.PdfDocument(pdf)[0].get_textpage()
    whole = page.get_text_range()
    at = whole.index(text)
    boxes = [page.get_charbox(n) for n in range(at, at + len(text)) if whole[n] in letters]
    return [(top - bottom) * 25.4 / 72 for _, bottom, _, top in boxes]


@pytest.mark.parametrize("net_mm", [2, 3, 4, 6])
def test_the_figures_of_the_weight_are_as_high_as_the_directive_wants(net_mm: float) -> None:
    """Directive 76/211/EEC annex I 3.1: 2, 3, 4 and 6 mm up to 50, 200, 1000 g and above."""
    pdf = print_labels([label(net="908 g", net_mm=net_mm)], "a4-24")
    found = heights_mm(pdf, "908 g", "0123456789")
    assert len(found) == 3 and all(net_mm - 0.02 <= high <= 1.06 * net_mm for high in found)


def test_small_letters_are_as_high_as_wished_where_they_fit_smaller_where_they_must_and_never_below_the_least() -> None:
    """Regulation (EU) 1169/2011 article 13: x-height 1.2 mm, or 0.9 mm on packs whose largest side is under 80 square cm."""
    few, many = ("exxe exxe exxe",), ("exxe exxe exxe " * 14,)
    for lines, expected in ((few, 1.2), (many, 0.9)):
        made = label(lines=lines, small_mm=1.2, least_mm=0.9)
        high = small_letters_mm(made, "a4-24")
        assert high == pytest.approx(1.2) if expected == 1.2 else 0.9 - 1e-9 <= high < 1.2
        measured = heights_mm(print_labels([made], "a4-24"), lines[0][:14], "x")
        assert all(m == pytest.approx(high, abs=0.03) for m in measured) and measured
    with pytest.raises(BadInput, match="Allergens and warnings may not be left out"):
        print_labels([label(lines=("exxe exxe exxe " * 60,), small_mm=1.2, least_mm=0.9)], "a4-24")
