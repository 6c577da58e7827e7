"""The API as a client meets it. Problem details after RFC 9457; conditional requests after RFC 9110, section 13."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import httpx
import openpyxl
import pytest

from dashboard.app import create_app
from ledger.application.ledger import Ledger, open_ledger
from ledger.domain.books import entries as e
from ledger.domain.books.commands import Define
from ledger.interfaces.web_api.wire import quantity
from tests.support.asgi import client_of

DAY = "2026-02-14"


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    ledger = open_ledger(f"sqlite:///{tmp_path}/api.sqlite")
    entries = [
        e.Site(id="SHOP", name="Test shop"), e.Material(id="SUGAR", name="sugar", role="sugar"), e.Flavour(id="LEMON", name="Lemon"),
        e.Recipe(id="LEMON", flavour="LEMON", lines=(e.RecipeLine(material="SUGAR", mass_mg=10_000_000),)), e.Worker(id="AB", rate=1500),
    ]  # fmt: skip
    for entry in entries:
        ledger.do(Define(day=DAY, entry=entry))
    return ledger


@pytest.fixture
def client(ledger: Ledger) -> Iterator[httpx.Client]:
    with client_of(create_app(ledger)) as client:
        yield client


def receive(**more: Any) -> dict[str, Any]:
    return {
        "name": "receive",
        "data": {"day": DAY, "material": "SUGAR", "mass": {"value": "27.5", "unit": "lb"}, "supplier": "MILL"},
        **more,
    }


def test_a_pound_arrives_as_the_1959_agreement_says(client: httpx.Client) -> None:
    """International yard and pound agreement of 1959: 1 lb = 0.45359237 kg exactly."""
    lot = client.post("/api/v1/commands", json=receive()).json()["lots"][0]
    held = client.get(f"/api/v1/lots/{lot}").json()["lot"]["mass"]
    assert held == {"value": "12.47379", "unit": "kg"}
    assert abs(Decimal(held["value"]) - Decimal("27.5") * Decimal("0.45359237")) < Decimal("0.000001")


def test_a_code_in_small_letters_is_read_and_asked_for_alike(client: httpx.Client) -> None:
    lot = client.post("/api/v1/commands", json=receive() | {"data": receive()["data"] | {"material": "sugar"}}).json()[
        "lots"
    ][0]
    assert client.get(f"/api/v1/lots/{lot.lower()}").json()["lot"] == client.get(f"/api/v1/lots/{lot}").json()["lot"]
    assert len(client.get("/api/v1/lots?item=sugar").json()["items"]) == 1
    assert client.get("/api/v1/book/flavour/lemon").json()["versions"][0]["id"] == "LEMON"


@pytest.mark.parametrize(
    ("value", "text"), [(0, "0"), (1, "0.000001"), (10_000_000, "10"), (-2_500_000, "-2.5"), (12_473_790, "12.47379")]
)
def test_quantities_are_exact_decimals(value: int, text: str) -> None:
    assert quantity(value, 6, "kg") == {"value": text, "unit": "kg"}


def test_the_same_command_id_is_recorded_once(client: httpx.Client) -> None:
    first = client.post("/api/v1/commands", json=receive(command_id="tablet-1")).json()
    again = client.post("/api/v1/commands", json=receive(command_id="tablet-1")).json()
    assert again == {**first, "repeated": True}
    other = receive(command_id="tablet-1")
    other["data"]["mass"] = "3 kg"
    refused = client.post("/api/v1/commands", json=other)
    assert (refused.status_code, refused.json()["code"]) == (409, "store.conflict")


def test_several_commands_are_recorded_together_or_not_at_all(client: httpx.Client) -> None:
    before = client.get("/api/v1/head").json()["position"]
    bad = receive()
    bad["data"]["material"] = "SALT"
    refused = client.post("/api/v1/commands", json=[receive(), bad])
    assert refused.status_code == 409
    assert client.get("/api/v1/head").json()["position"] == before
    done = client.post("/api/v1/commands", json=[receive(command_id="a"), receive(command_id="b")]).json()
    assert [x["first"] for x in done] == [before + 1, before + 2]


def test_a_problem_names_every_field_and_its_code(client: httpx.Client) -> None:
    sent = {"name": "receive", "data": {"material": "SUGAR", "mass": "5 miles", "suppler": "MILL"}}
    got = client.post("/api/v1/commands", json=sent)
    body = got.json()
    assert got.status_code == body["status"] == 422
    assert got.headers["content-type"] == "application/problem+json"
    assert {"type", "title", "status", "detail", "code"} <= set(body)
    assert {"mass", "suppler", "supplier"} <= {p["field"] for p in body["problems"]}
    assert client.get(body["type"]).json()["code"] == body["code"]


@pytest.mark.parametrize(
    ("path", "status"), [("/lots/NOPE", 404), ("/batches/NOPE", 404), ("/reports/nope", 404), ("/nope", 404), ("/book?kind=x", 422), ("/log?most=0", 422),
                         ("/reports/week?week=2026-W99", 422), ("/problems/x", 404)],
)  # fmt: skip
def test_what_is_not_there_is_a_problem_too(path: str, status: int, client: httpx.Client) -> None:
    got = client.get("/api/v1" + path)
    assert (got.status_code, got.headers["content-type"]) == (status, "application/problem+json")
    assert got.json()["status"] == status


def test_a_page_of_another_site_may_not_write(client: httpx.Client) -> None:
    assert (
        client.post("/api/v1/commands", json=receive(), headers={"Origin": "http://elsewhere.example"}).status_code
        == 403
    )
    assert (
        client.post(
            "/api/v1/commands", content=json.dumps(receive()), headers={"Content-Type": "text/plain"}
        ).status_code
        == 415
    )


def test_an_answer_is_not_sent_twice_until_somebody_records(client: httpx.Client) -> None:
    first = client.get("/api/v1/lots")
    tag = {"If-None-Match": first.headers["etag"]}
    assert client.get("/api/v1/lots", headers=tag).status_code == 304
    client.post("/api/v1/commands", json=receive())
    assert client.get("/api/v1/lots", headers=tag).status_code == 200


def test_pages_by_position_give_every_entry_once(client: httpx.Client) -> None:
    client.post("/api/v1/commands", json=[receive() for _ in range(7)])
    whole = [x["position"] for x in client.get("/api/v1/log").json()["items"]]
    after, found = 0, []
    while after is not None:
        page = client.get("/api/v1/log", params={"after": after, "most": 3}).json()
        found += [x["position"] for x in page["items"]]
        after = page["next"]
    assert found == whole == list(range(1, len(whole) + 1))
    lots = [x["lot"] for x in client.get("/api/v1/lots?most=2000").json()["items"]]
    after, found = 0, []
    while after is not None:
        page = client.get("/api/v1/lots", params={"after": after, "most": 2}).json()
        found += [x["lot"] for x in page["items"]]
        after = page["next"]
    assert found == lots


def test_the_log_streams_as_one_object_a_line(client: httpx.Client) -> None:
    client.post("/api/v1/commands", json=receive())
    got = client.get("/api/v1/log/stream", params={"after": 2})
    lines = [json.loads(x) for x in got.text.splitlines()]
    assert got.headers["content-type"].startswith("application/x-ndjson")
    assert [x["position"] for x in lines] == list(range(3, 3 + len(lines)))


def test_a_report_leaves_as_a_spreadsheet(client: httpx.Client) -> None:
    client.post("/api/v1/commands", json=receive())
    got = client.get("/api/v1/reports/stock", params={"form": "xlsx"})
    assert "materials" in openpyxl.load_workbook(io.BytesIO(got.content)).sheetnames
    csv = client.get("/api/v1/reports/stock", params={"form": "csv", "table": "materials"}).text
    assert "SUGAR" in csv


def test_checking_reads_without_recording(client: httpx.Client) -> None:
    before = client.get("/api/v1/head").json()["position"]
    good = client.post("/api/v1/commands/check", json=receive()).json()
    assert good == {"ok": True, "reads": {"mass": "12.474\u202fkg".replace("\u202f", " ")}, "problems": []}
    bad = client.post(
        "/api/v1/commands/check",
        json={
            "name": "cook",
            "data": {"batch": "X", "takes": [{"lot": "A", "mass": "1 kg"}, {"lot": "B", "mass": "1 F"}]},
        },
    ).json()
    assert [p["field"] for p in bad["problems"]] == ["takes.1.mass"]
    assert client.get("/api/v1/head").json()["position"] == before


def test_a_delayed_entry_keeps_the_moment_it_was_made(client: httpx.Client) -> None:
    client.post("/api/v1/commands", json=receive(occurred_at="2026-02-14T09:15:00+01:00"))
    assert client.get("/api/v1/log").json()["items"][-1]["occurred_at"] == "2026-02-14T08:15:00.000000Z"
    assert client.post("/api/v1/commands", json=receive(occurred_at="2026-02-14T09:15:00")).status_code == 422
