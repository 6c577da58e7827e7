"""Lots and Recall as pages, forms and API: found by the label's address, started, noted and closed by a thumb."""

from __future__ import annotations

from collections.abc import Iterator

import httpx
import pytest

from dashboard.app import create_app
from dashboard.shell import render
from ledger.application.ledger import Ledger
from tests.dashboard.test_pages import text_of
from tests.support.asgi import client_of


@pytest.fixture
def client(demo: Ledger) -> Iterator[httpx.Client]:
    with client_of(create_app(demo)) as made:
        yield made


def jar_of(ledger: Ledger) -> str:
    return str(ledger.queries.lots(kinds=["packs"])["lot"].iloc[-1])


def test_the_address_on_a_label_leads_to_the_lots_page_in_capitals_or_not(client, demo):
    jar = jar_of(demo)
    for path in (f"/L/{jar}", f"/l/{jar}"):
        answer = client.get(path)
        assert answer.status_code == 307 and answer.headers["location"] == f"/lots?mark={jar}"


def test_the_lots_page_tells_story_balance_path_and_label(demo):
    said = text_of(render(demo, "/lots", f"?mark={jar_of(demo)}"))
    for words in (
        "Does it add up?",
        "What happened to it",
        "Lots on the way",
        "Steps",
        "Ingredients:",
        "Start a recall here",
    ):
        assert words in said
    assert "no lot, batch or delivery document" in text_of(render(demo, "/lots", "?mark=NOPE"))


def test_a_recall_is_started_noted_and_closed_by_plain_forms(client, demo):
    jar = jar_of(demo)
    assert "telephone the local food authority first" in client.get(f"/recall/start?lot={jar}").text
    refused = client.post("/recall/start", content=f"lot={jar}&reason=&drill=yes")
    assert refused.status_code == 422 and "needs a reason" in refused.text and jar in refused.text
    done = client.post("/recall/start", content=f"lot={jar}&reason=smudged+label&drill=yes")
    assert done.status_code == 303
    code = done.headers["location"].split("=")[1]
    page = text_of(render(demo, "/recall", f"?recall={code}"))
    assert "smudged label" in page and "All stock on hand is held." in page
    assert client.post(f"/recall/{code}/note", content="kind=note&text=looked+on+the+shelf&packs=2").status_code == 303
    assert client.post(f"/recall/{code}/close", content="release=yes").status_code == 303
    assert "closed" in text_of(render(demo, "/recall", f"?recall={code}"))
    assert not demo.queries.lot(jar)["held"]


def test_a_form_of_another_site_is_refused(client, demo):
    answer = client.post(
        "/recall/start", content=f"lot={jar_of(demo)}&reason=x", headers={"Origin": "https://elsewhere.example"}
    )
    assert answer.status_code == 403 and not demo.queries.papers("recall")


def test_the_api_answers_trace_recall_label_and_proof(client, demo):
    jar = jar_of(demo)
    assert client.get("/api/v1/trace", params={"mark": jar}).json()["tables"]["lots"]["rows"]
    assert client.get("/api/v1/trace", params={"mark": jar, "form": "svg"}).text.startswith("<svg")
    assert client.get("/api/v1/trace", params={"mark": "NOPE"}).status_code == 404
    assert client.get(f"/api/v1/lots/{jar}/label?count=1").content.startswith(b"%PDF")
    started = client.post("/api/v1/recalls", json={"lot": jar, "reason": "drill", "drill": True})
    assert started.status_code == 200 and started.json()["last"] > started.json()["first"]
    code = client.get("/api/v1/recalls").json()["items"][-1]["recall"]
    assert client.get(f"/api/v1/recalls/{code}").json()["affected"] == [jar]
    assert client.get(f"/api/v1/recalls/{code}?form=pdf").content.startswith(b"%PDF")
    assert "DRILL" in client.get(f"/api/v1/recalls/{code}/notice").text
    assert client.get("/api/v1/proof", params={"of": jar}).json()["rows"]
    assert client.post(f"/api/v1/recalls/{code}/close", json={"release": True}).status_code == 200
