"""Lots and Recall as pages, forms and API: found by the label's address, started, noted and closed by a thumb."""

from __future__ import annotations

from collections.abc import Iterator

import httpx
import pytest

from dashboard.app import create_app
from dashboard.components import recall_parts
from dashboard.shell import render
from ledger.application.ledger import Ledger
from ledger.domain.lots.commands import ScrapLot
from ledger.domain.shelf.commands import Ship
from tests.dashboard.test_pages import text_of, walk
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


def started(client: httpx.Client, lot: str, drill: bool = False) -> str:
    done = client.post("/recall/start", content=f"lot={lot}&reason=smudged+label{'&drill=yes' if drill else ''}")
    assert done.status_code == 303
    return done.headers["location"].split("=")[1].split("&")[0]


def test_a_second_tap_leads_to_the_open_recall_and_a_drill_beside_it_is_refused_with_the_way_out(client, demo):
    jar = jar_of(demo)
    code = started(client, jar)
    again = client.post("/recall/start", content=f"lot={jar}&reason=smudged+label")
    assert again.headers["location"] == f"/recall?recall={code}&already=yes"
    page = text_of(render(demo, "/recall", f"?recall={code}&already=yes"))
    assert f"Recall {code} is open at this lot already" in page
    drill = client.post("/recall/start", content=f"lot={jar}&reason=practice&drill=yes")
    assert drill.status_code == 422 and f"Recall {code} is open at lot {jar}" in drill.text
    assert len(demo.queries.papers("recall")) == 1


def test_what_happened_is_asked_first_and_then_only_what_belongs_to_it(client, demo):
    jar = jar_of(demo)
    code = started(client, jar)
    first = client.get(f"/recall/{code}/note").text
    for words in ("Customer called", "Packs came back to us", "Counted here", "Destroyed", "Authority told"):
        assert words in first
    count = client.get(f"/recall/{code}/note?kind=counted&lot={jar}").text
    assert "Packs found (0: none)" in count and 'name="mass"' not in count and "on hand by the books" in count
    back = client.get(f"/recall/{code}/note?kind=returned&lot={jar}").text
    assert 'name="refund"' in back and "Consumers, Shop counter" in back and "Hotel Marram" in back
    assert 'name="packs"' not in client.get(f"/recall/{code}/note?kind=called").text
    client.post(f"/recall/{code}/close", content="")
    drill = started(client, jar, drill=True)
    practice = client.get(f"/recall/{drill}/note").text
    assert "came back" not in practice and "Destroyed" not in practice and "Counted here" in practice


def test_a_count_and_a_return_by_thumb_move_the_stock_once_however_often_they_are_sent(client, demo):
    jar = jar_of(demo)
    code = started(client, jar)
    there = int(demo.queries.lot(jar)["packs"])
    page = text_of(render(demo, "/recall", f"?recall={code}"))
    assert "Stock, lot by lot (packs)" in page and "not yet" in page
    assert "Count 1 lot on the shelf" in page and "Authority told? Write it down" in page
    for _ in range(2):
        sent = client.post(f"/recall/{code}/note", content=f"kind=counted&lot={jar}&packs={there - 1}&command_id=tap-7")
        assert sent.status_code == 303
    assert int(demo.queries.lot(jar)["packs"]) == there - 1
    assert client.post(f"/recall/{code}/note", content=f"kind=destroyed&lot={jar}").status_code == 303
    page = text_of(render(demo, "/recall", f"?recall={code}"))
    assert f"Since the start: {there} at the start - {there - 1} destroyed - 1 not found = 0 on hand (packs)." in page
    refused = client.post(f"/recall/{code}/note", content=f"kind=returned&lot={jar}&packs=9999&partner=channel:shop")
    assert refused.status_code == 422 and "cannot come back" in refused.text and 'value="9999"' in refused.text


def test_whom_to_call_stands_on_a_card_with_the_telephone_and_once_called_in_the_table(client, demo):
    row = demo.queries.lots(kinds=["packs"]).query("packs >= 9").iloc[-1]
    demo.do(
        Ship(day=demo.today(), pack=str(row["item"]), packs=2, customer="HOTEL", lot=str(row["lot"]), document="INV-77")
    )
    code = started(client, str(row["lot"]))
    shown = str(render(demo, "/recall", f"?recall={code}"))
    assert "tel:01632960113" in shown and "Call 01632 960113" in shown
    assert client.post(f"/recall/{code}/note", content="kind=called&partner=HOTEL").status_code == 303
    said = text_of(render(demo, "/recall", f"?recall={code}"))
    assert "Customers told" in said and "Customers to call" not in said and "no answer yet" in said
    assert client.post(f"/recall/{code}/note", content="kind=answered&partner=HOTEL&packs=2").status_code == 303
    assert "no answer yet" not in text_of(render(demo, "/recall", f"?recall={code}"))


def test_the_api_names_the_open_recall_and_posts_what_a_note_moves(client, demo):
    jar = jar_of(demo)
    sent = {"lot": jar, "reason": "smudged label"}
    first, second = (client.post("/api/v1/recalls", json=sent).json() for _ in range(2))
    assert (first["was_open"], second["was_open"], second["recall"]) == (False, True, first["recall"])
    assert (second["first"], second["last"]) == (0, 0)
    code, there = first["recall"], int(demo.queries.lot(jar)["packs"])
    noted = client.post(
        f"/api/v1/recalls/{code}/notes", json={"kind": "counted", "lot": jar, "packs": there - 2, "command_id": "c-1"}
    )
    assert noted.status_code == 200 and noted.json()["last"] == noted.json()["first"] + 1
    [row] = client.get(f"/api/v1/recalls/{code}").json()["progress"]
    assert (row["at_start"], row["not_found"], row["on_hand"]) == (there, 2, there - 2) and row["counted"]
    missing = client.post(f"/api/v1/recalls/{code}/notes", json={"kind": "destroyed", "packs": 1})
    assert missing.status_code in (409, 422) and "Say which lot" in missing.json()["detail"]
    other = client.post("/api/v1/recalls", json=sent | {"drill": True})
    assert other.status_code == 409 and other.json()["recall"] == code


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


def test_an_open_recall_of_many_lots_is_a_table_that_narrows_with_what_can_be_written_down(client, demo, monkeypatch):
    monkeypatch.setattr(recall_parts, "LONG", 2)
    sugar = str(demo.queries.lots(kinds=["material"], holding=False)["lot"].iloc[0])
    code = started(client, sugar)
    [grid] = [
        x["props"]
        for x in walk(render(demo, "/recall", f"?recall={code}"))
        if x["type"] == "AgGrid" and "stock" in str(x["props"]["id"])
    ]
    [doing] = [c for c in grid["columnDefs"] if c["field"] == "do"]
    assert doing["cellRendererParams"]["buttons"]["counted"] == ["Count", f"/recall/{code}/note?kind=counted&lot={{lot}}"]  # fmt: skip
    rows = grid["rowData"]
    assert len(rows) >= 2 and all(r["do"][0] == "counted" for r in rows)
    packs = [r for r in rows if r["on hand~"].isdigit() or "pack" in r["on hand~"]]
    assert packs and all(("destroyed" in r["do"]) == bool(r["on hand"]) and "returned" in r["do"] for r in packs)


def test_a_closed_drill_asks_nobody_to_be_called_and_keeps_its_figures(client, demo):
    jar = jar_of(demo)
    row = demo.queries.lot(jar)
    demo.do(Ship(day=demo.today(), pack=row["item"], packs=1, lot=jar, customer="HOTEL", document="N1"), "MK")
    code = started(client, jar, drill=True)
    before = text_of(render(demo, "/recall", f"?recall={code}"))
    assert "Customers to call" in before
    assert client.post(f"/recall/{code}/close", content="release=yes").status_code == 303
    accounted = before.split("affected; ")[1].split(" accounted")[0]
    left = int(demo.queries.lot(jar)["packs"])
    assert left
    demo.do(ScrapLot(day=demo.today(), lot=jar, packs=left, cause="damp"), "MK")
    shown = render(demo, "/recall", f"?recall={code}")
    said = text_of(shown)
    assert "Not called before it was closed (a drill calls nobody): " in said
    assert not [x for x in walk(shown) if str(x["props"].get("href", "")).startswith("tel:")]
    assert accounted in said and "those of the closing" in said
    assert "000000" not in said  # a weight as people say it, never in milligrams
    assert any(f"{left} on hand" in str(x["props"].get("aria-label", "")) for x in walk(shown))
