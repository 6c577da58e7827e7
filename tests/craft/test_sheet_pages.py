"""The printed sheet: one page, true sizes, the QR, the caution, and the shop's units."""

from __future__ import annotations

import base64
import io
import re
from dataclasses import replace
from datetime import date

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from PIL import Image

from ledger.craft.build_pdf import render_build_pdf
from ledger.craft.cook import KettleLimits
from ledger.craft.errors import OutOfRange
from ledger.craft.picture_render import picture_png
from ledger.craft.plan import plan_batch
from ledger.craft.sheet_html import render_html
from ledger.craft.sheet_pdf import render_pdf
from ledger.craft.sheet_text import SAFETY, inch_text, size_text, weigh_text
from tests.craft.support import DESIGN_NAMES, LOTS, request, seeded

SHEET = plan_batch(request(seeded("holly-leaf")))
LETTER, A4 = (612.0, 792.0), (595.276, 841.89)


def page_text(data: bytes) -> str:
    page = pypdfium2.PdfDocument(data)[0]
    return " ".join(page.get_textpage().get_text_range().split())


@pytest.mark.parametrize("name", DESIGN_NAMES)
@pytest.mark.parametrize(("units", "size"), [("metric", A4), ("us", LETTER)])
def test_a_sheet_is_one_page_of_the_shops_paper(name, units, size):
    pdf = pypdfium2.PdfDocument(render_pdf(plan_batch(request(seeded(name))), units))
    assert len(pdf) == 1
    assert pdf[0].get_size() == pytest.approx(size, abs=0.5)


def test_the_paper_may_be_named():
    assert pypdfium2.PdfDocument(render_pdf(SHEET, "us", "a4"))[0].get_size() == pytest.approx(A4, abs=0.5)
    assert "size: a4" in render_html(SHEET, "us", "a4")


def test_the_qr_opens_the_batch():
    # Read back by an independent reader (zxing-cpp) from the rendered page.
    image = pypdfium2.PdfDocument(render_pdf(SHEET, "metric"))[0].render(scale=3).to_pil()
    assert [code.text for code in zxingcpp.read_barcodes(image)] == ["HTTPS://SLABBOOK.EXAMPLE/B/26-330A"]


def test_the_rod_is_printed_at_its_true_size():
    # The smaller of the two round pictures must measure 12.7 mm across on paper: counted in rendered pixels of the
    # jacket's red, to half a pixel either side (0.05 mm).
    scale = 3 * 72 / 25.4  # pixels a millimetre
    image = np.asarray(pypdfium2.PdfDocument(render_pdf(SHEET, "metric"))[0].render(scale=3).to_pil().convert("RGB"))
    right = image[:, image.shape[1] * 5 // 6 :]
    red = (np.abs(right.astype(int) - (0xC6, 0x28, 0x28)) < 12).all(axis=2)
    middle = red[image.shape[0] // 5 : image.shape[0] // 2]
    columns = np.flatnonzero(middle.any(axis=0))
    rows = np.flatnonzero(middle.any(axis=1))
    assert (columns[-1] - columns[0] + 1) / scale == pytest.approx(12.7, abs=0.25)
    assert (rows[-1] - rows[0] + 1) / scale == pytest.approx(12.7, abs=0.25)
    assert 'style="width:12.70mm;height:12.70mm"' in render_html(SHEET, "metric").replace("\n", " ")


@pytest.mark.parametrize("units", ["metric", "us"])
def test_both_papers_say_what_matters(units):
    printed = page_text(render_pdf(SHEET, units))
    html = render_html(SHEET, units)
    for text in (
        "26-330A",
        "Holly leaf",
        "Peppermint",
        "recipe version 4",
        "sulphites",
        "held milk",
        "S26-19",
        "weighed",
    ):
        assert text in html, text
        assert text in printed or text == "weighed", text
    assert SAFETY[:40] in printed and SAFETY in html


def test_units_are_the_shops():
    metric, us = page_text(render_pdf(SHEET, "metric")), page_text(render_pdf(SHEET, "us"))
    assert "150.7 °C" in metric and "kg" in metric and "°F" not in metric and " lb" not in metric
    # 150.7 C is 303.3 F; 12.7 mm is half an inch.
    assert "303 °F" in us and "1/2 in rod" in us and "°C" not in us and "kg" not in us


def test_html_is_escaped():
    sneaky = replace(SHEET, shop="<script>alert(1)</script>", flavour="Rum & <b>raisin</b>")
    html = render_html(sneaky, "metric")
    assert "<script>" not in html and "Rum &amp; &lt;b&gt;raisin" in html
    assert len(pypdfium2.PdfDocument(render_pdf(sneaky, "metric"))) == 1


def test_a_crowded_sheet_stays_readable():
    # Two loads, nine lots of everything, thin lines flagged: it may run over to a second page, never lose a line.
    many = [replace(lot, lot=f"{lot.lot}-{i}", mass_mg=lot.mass_mg // 9) for lot in LOTS for i in range(9)]
    sheet = plan_batch(
        request(
            seeded("pumpkin"), lots=many, kettle=KettleLimits(name="small", max_charge_mg=7_000_000), least_line_um=900
        )
    )
    pdf = pypdfium2.PdfDocument(render_pdf(sheet, "us"))
    assert len(pdf) <= 2
    printed = "".join(page.get_textpage().get_text_range() for page in pdf)
    assert all(line.material in printed for line in (*sheet.charge, *sheet.additions, *sheet.dyes))
    assert "What came of it" in printed and "Look at first" in printed
    html = render_html(sheet, "us")
    assert all(flag.subject in html for flag in sheet.flags)


@pytest.mark.parametrize(("units", "paper", "pages"), [("metric", "a4", 1), ("us", "letter", 1), ("us", None, 1)])
def test_the_build_drawing_of_a_small_log_is_one_page(units, paper, pages):
    assert len(pypdfium2.PdfDocument(render_build_pdf(SHEET, units, paper))) == pages


def test_the_build_drawing_is_at_true_size_over_its_pages():
    # A log of 8 in does not fit the width of Letter between its margins: two pages side by side. Together they show
    # 203.2 mm of log, counted in rendered pixels (a fifth of a millimetre each).
    sizes = replace(request(seeded("star")).sizes, log_um=203_200)
    pdf = pypdfium2.PdfDocument(render_build_pdf(plan_batch(request(seeded("star"), sizes=sizes)), "us"))
    assert len(pdf) == 2
    widths = []
    for page in pdf:
        image = np.asarray(page.render(scale=2).to_pil().convert("RGB")).astype(int)
        blue = (np.abs(image - (0x28, 0x35, 0x93)) < 12).all(axis=2)
        columns = np.flatnonzero(blue.any(axis=0))
        widths.append((columns[-1] - columns[0] + 1) / (2 * 72 / 25.4))
    # The blue field is 0.88 of the log's diameter.
    assert sum(widths) == pytest.approx(0.88 * 203.2, abs=1.0)


def test_a_letter_the_typeface_lacks_loses_its_accent_and_prints():
    printed = page_text(render_pdf(replace(SHEET, shop="Łódź Zuckerhaus"), "metric"))
    assert "Łódz Zuckerhaus" in printed


def test_lots_past_their_date_share_one_line():
    old = [replace(LOTS[0], lot=name, best_before=date(2026, 1, 1)) for name in ("OLD-1", "OLD-2")]
    sheet = plan_batch(request(seeded("star"), lots=[*LOTS, *old]))
    assert "lot OLD-1, OLD-2." in render_html(sheet, "metric")


def test_the_picture_is_drawn_again_pixel_for_pixel():
    design = seeded("star", 600)
    image = Image.open(io.BytesIO(picture_png(design, 600))).convert("RGBA")
    pixels = np.asarray(image)
    # Every colour of the legend, the outside transparent, nothing softened.
    assert set(np.unique(pixels[..., 3])) == {0, 255}
    colours = {tuple(int(v) for v in c) for c in np.unique(pixels[pixels[..., 3] == 255][:, :3], axis=0)}
    assert colours == {p.colour for p in design.legend.portions if p.colour}
    gold = (pixels[..., :3] == (0xFD, 0xD8, 0x35)).all(axis=2).sum()
    assert gold / (pixels[..., 3] == 255).sum() == pytest.approx(design.area_ppm[2] / 1e6, abs=1e-4)


def test_the_picture_kept_with_the_sheet_is_small():
    assert len(base64.b64decode(SHEET.picture_png_base64)) < 20_000


def test_a_picture_of_no_size_is_refused():
    with pytest.raises(OutOfRange, match="pixels a side"):
        picture_png(seeded("star"), 0)


@pytest.mark.parametrize(
    ("um", "text"), [(12_700, "1/2 in"), (203_200, "8 in"), (13_494, "17/32 in"), (180_000, "7 3/32 in"), (100, "0 in")]
)
def test_inches_are_shown_as_a_rule_shows_them(um, text):
    assert inch_text(um) == text


@pytest.mark.parametrize(
    ("mg", "units", "text"),
    [
        (11_402_068, "metric", "11.402 kg"),
        (72_306, "metric", "72.3 g"),
        (1_507, "metric", "1.51 g"),
        (453_592_370, "us", "1000.00 lb"),
        (56_699, "us", "2.00 oz"),
        (1_507, "us", "1.51 g"),
    ],
)
def test_masses_are_shown_as_the_scale_shows_them(mg, units, text):
    assert re.sub("\u202f", "", weigh_text(mg, units)) == text


def test_long_runs_are_shown_in_metres_or_feet():
    assert size_text(48_222_546, "metric") == "48.2 m"
    assert size_text(48_222_546, "us") == "158 ft"
