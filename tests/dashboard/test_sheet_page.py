"""The sheet's page and its API: what the page answers, what the button records, and what a refusal says."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from typing import Any

import httpx
import pypdfium2
import pytest
from plotly.utils import PlotlyJSONEncoder

from dashboard.app import create_app
from dashboard.page import read_address
from dashboard.pages import sheet as page
from dashboard.shell import render, render_filters
from ledger.application import sheets
from ledger.application.ledger import Ledger
from ledger.domain.books import entries as e
from ledger.domain.books.commands import Define
from tests.support.asgi import client_of


def told(parts: Any) -> str:
    """Everything a page says, as text."""
    return json.dumps(parts, cls=PlotlyJSONEncoder, ensure_ascii=False)


def figure(parts: Any, label: str) -> str:
    """The figure under a label among the page's facts."""
    text = told(parts)
    return text.split(f'"{label}"')[1].split("sheet-figure")[0].rsplit('"children": "', 1)[-1].split('"')[0]


def test_the_page_of_an_empty_book_says_what_to_do_first(empty: Ledger):
    assert "Load the shop's book first" in told(render(empty, "/sheet", ""))
    assert render_filters(empty, "/sheet", "") == []


def test_the_page_says_what_to_weigh_and_shows_the_rod_at_its_size(demo: Ledger):
    said = told(render(demo, "/sheet", "?design=LEMON-SLICE"))
    sheet = sheets.plan(demo, sheets.Ask(design="LEMON-SLICE", packs=40)).sheet
    for line in (*sheet.charge, *sheet.additions, *sheet.dyes):
        assert line.material in said
    assert '"width": "12.70mm"' in said and '"width": "203.0mm"' in said
    assert "Molten sugar" in said
    assert all(portion.title in said for portion in sheet.portions)


def test_a_slider_changes_the_answer(demo: Ledger):
    few = figure(page.answer(demo, {"design": "LEMON-SLICE", "packs": "40"}), "Charge")
    many = figure(page.answer(demo, {"design": "LEMON-SLICE", "packs": "80"}), "Charge")
    assert float(many.split()[0]) == pytest.approx(
        2 * float(few.split()[0]), rel=0.05
    )  # the two ends weigh the same in both
    thick = told(page.answer(demo, {"design": "LEMON-SLICE", "rod": "15"}))
    assert '"width": "15.00mm"' in thick


def test_the_sliders_speak_as_an_address_does():
    assert page.sizes([41, None, 12.7, 13.0]) == {"packs": "41", "rod": "12.7", "piece": "13"}


def test_a_shop_in_inches_has_sliders_in_inches(demo: Ledger):
    from dataclasses import replace

    demo.do(Define(day=demo.today(), entry=replace(demo.book().site(), units="us", paper="letter")))
    assert "Rod across, in" in told(render(demo, "/sheet", "?design=LEMON-SLICE"))
    assert page.ask_of(demo.book(), {"design": "LEMON-SLICE", "rod": "0.625"}).rod_um == 15_875
    # 203 mm is shown as 7.992 in; left there, the design's own size is meant, to the micrometre.
    assert page.ask_of(demo.book(), {"design": "LEMON-SLICE", "log": "7.992"}).log_um == 0


@pytest.mark.parametrize(
    ("search", "says"),
    [
        ("?design=LEMON-SLICE&packs=400&kettle=K2", "only 2 can be worked together"),
        ("?design=LEMON-SLICE&packs=200&water=20+C", "must lie between 65 and 110"),
        ("?design=LEMON-SLICE&water=70+C", "more than 8 C apart"),
        ("?design=LEMON-SLICE&water=hot", "give it as `310 F` or `154 C`"),
        ("?design=LEMON-SLICE&barometer=9", "97.2 kPa"),
        ("?design=LEMON-SLICE&rod=inf", "is no rod size"),
        ("?design=LEMON-SLICE&rod=999999", "must lie between"),
        ("?design=LEMON-SLICE&packs=many", "whole number"),
        ("?design=LEMON-SLICE&pack=ROCK-JAR", "LEMON-JAR"),
        ("?design=NOBODYS", "There is no design"),
    ],
)
def test_a_refusal_is_told_on_the_page_with_the_way_out(demo: Ledger, search: str, says: str):
    assert says in told(render(demo, "/sheet", search))


def test_a_picture_that_is_not_there_is_told_on_the_page(demo: Ledger):
    demo.do(Define(day=demo.today(), entry=e.Design(id="NEW", name="New", flavour="LEMON", picture="nowhere")))
    assert "is in none of" in told(page.answer(demo, {"design": "NEW"}))


def test_the_button_opens_one_batch_however_often_it_is_pressed(demo: Ledger):
    asked = {"design": "LEMON-SLICE", "packs": "50", "by": "MK"}
    first, nothing = page.issue(demo, asked, "one-tap")
    again, _ = page.issue(demo, asked, "one-tap")
    assert first == again and nothing is None
    assert sheets.kept(demo, first).sizes.packs == 50
    shown = told(render(demo, "/sheet", f"?design=LEMON-SLICE&issued={first}"))
    assert f"/api/v1/batches/{first}/sheet.pdf" in shown
    assert "Plan another batch" in shown and '"id": "sheet-issue"' not in shown


def test_the_button_tells_a_refusal_and_records_nothing(demo: Ledger):
    before = demo.queries.as_of()
    batch, said = page.issue(demo, {"design": "LEMON-SLICE", "packs": "400", "kettle": "K2"}, "x")
    assert batch == "" and "only 2 can be worked together" in told(said)
    assert demo.queries.as_of() == before


def test_an_issued_batch_that_is_not_there_is_told(demo: Ledger):
    assert "There is no batch" in told(render(demo, "/sheet", "?design=LEMON-SLICE&issued=99999Z"))


def test_the_address_of_the_qr_code_is_the_batchs_page(demo: Ledger):
    batch, _ = page.issue(demo, {"design": "LEMON-SLICE"}, "q")
    path, _, search = sheets.kept(demo, batch).address.removeprefix(demo.book().site().base_address).partition("?")
    assert path == "/batch" and read_address(search)["batch"] == batch
    assert batch in told(render(demo, path, f"?{search}"))


# --- the API --------------------------------------------------------------------------------------------------------------


@pytest.fixture
def client(demo: Ledger) -> Iterator[httpx.Client]:
    with client_of(create_app(demo)) as client:
        yield client


def test_the_api_plans_without_recording_and_issues_when_asked(client: httpx.Client, demo: Ledger):
    body = {"design": "LEMON-SLICE", "flavour": "LEMON", "packs": 40, "water_reads": "98.6 C"}
    before = demo.queries.as_of()
    planned = client.post("/api/v1/sheets", json=body)
    assert planned.status_code == 200 and planned.json()["issued"] is False
    assert demo.queries.as_of() == before
    issued = client.post("/api/v1/sheets", json=body | {"issue": True, "actor": "MK", "command_id": "api-1"})
    batch = issued.json()["batch"]
    assert issued.headers["location"] == f"/api/v1/batches/{batch}/sheet"
    again = client.post("/api/v1/sheets", json=body | {"issue": True, "actor": "MK", "command_id": "api-1"})
    assert again.json()["repeated"] is True and again.json()["batch"] == batch
    kept = client.get(f"/api/v1/batches/{batch}/sheet").json()["sheet"]
    assert kept == issued.json()["sheet"]
    assert kept["cook"]["water_boils_mc"] == 98_600
    compared = client.get(f"/api/v1/batches/{batch}/sheet/compared").json()
    assert "Nothing of it has been cooked yet" in compared["sentence"]


def test_the_api_gives_one_page_of_pdf_and_a_page_of_html(client: httpx.Client):
    body = {"design": "LEMON-SLICE", "packs": 40, "issue": True}
    batch = client.post("/api/v1/sheets", json=body).json()["batch"]
    pdf = client.get(f"/api/v1/batches/{batch}/sheet.pdf")
    document = pypdfium2.PdfDocument(io.BytesIO(pdf.content))
    assert pdf.headers["content-type"] == "application/pdf" and len(document) == 1
    # ISO 216: A4 is 210 mm x 297 mm, 595.3 x 841.9 points; reportlab rounds to a thousandth.
    assert document[0].get_size() == pytest.approx((595.28, 841.89), abs=0.01)
    text = document[0].get_textpage().get_text_range()
    assert batch in text and "Molten sugar" in text
    document.close()
    section = client.get(f"/api/v1/batches/{batch}/section.pdf")
    assert section.content.startswith(b"%PDF")
    page_of_it = client.get(f"/api/v1/batches/{batch}/sheet.html")
    assert "Lemon slice" in page_of_it.text and "default-src 'none'" in page_of_it.headers["content-security-policy"]


@pytest.mark.parametrize("path", ["sheet", "sheet.pdf", "sheet.html", "section.pdf", "sheet/compared"])
def test_a_batch_without_a_sheet_is_not_there(client: httpx.Client, path: str):
    answer = client.get(f"/api/v1/batches/NOBODY/{path}")
    assert answer.status_code == 404 and answer.json()["code"] == "api.not-there"


@pytest.mark.parametrize(
    ("changes", "status", "code"),
    [
        ({"packs": 400, "kettle": "K2"}, 409, "craft.kettle-too-small"),
        ({"water_reads": "20 C"}, 422, "craft.out-of-range"),
        ({"packs": 0}, 422, "input.bad"),
        ({"packs": -1}, 422, "api.bad-request"),
        ({"colour": "red"}, 422, "api.bad-request"),
        ({"design": "NOBODYS"}, 409, "rule.unknown"),
    ],
)
def test_the_api_refuses_with_the_permanent_code(client: httpx.Client, changes: dict[str, Any], status: int, code: str):
    answer = client.post("/api/v1/sheets", json={"design": "LEMON-SLICE", "packs": 40} | changes)
    assert (answer.status_code, answer.json()["code"]) == (status, code)


def test_a_thermometer_check_over_the_api_corrects_the_next_sheet(client: httpx.Client):
    checked = client.post("/api/v1/thermometer-checks", json={"station": "K2", "reads": "211 F", "actor": "MK"})
    assert checked.status_code == 200 and checked.json()["reading_mc"] == 99_444
    planned = client.post("/api/v1/sheets", json={"design": "LEMON-SLICE", "packs": 40, "kettle": "K2"}).json()
    assert planned["sheet"]["cook"]["water_boils_mc"] == 99_444
