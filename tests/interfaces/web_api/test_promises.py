"""What the reference page promises a client, one promise a test. Problem details: RFC 9457, section 3; 304 and If-None-Match: RFC 9110,
sections 13.1.2 and 15.4.5 (both from memory)."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from ledger.application.ledger import Ledger, open_ledger
from ledger.domain.books import entries as e
from ledger.domain.books.commands import Define
from ledger.interfaces.web_api import build_api
from tests.support.asgi import client_of

DAY = "2026-02-14"
PAGE = Path(__file__).parents[3] / "docs" / "reference" / "api.md"
VERBS = ("get", "post", "put", "patch", "delete")


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    opened = open_ledger(f"sqlite:///{tmp_path}/promises.sqlite")
    for entry in (e.Site(id="SHOP", name="Test shop"), e.Material(id="SUGAR", name="sugar", role="sugar")):
        opened.do(Define(day=DAY, entry=entry))
    yield opened
    opened.close()


@pytest.fixture
def client(ledger: Ledger) -> Iterator[httpx.Client]:
    with client_of(build_api(ledger)) as made:
        yield made


def receive(mass: str = "25 kg", material: str = "SUGAR", **more: str) -> dict[str, Any]:
    return {"name": "receive", "data": {"day": DAY, "material": material, "mass": mass, "supplier": "MILL"}, **more}


def position(client: httpx.Client) -> int:
    return int(client.get("/head").json()["position"])


def test_every_route_of_the_document_stands_in_the_reference(ledger: Ledger) -> None:
    printed = set(re.findall(r"`(GET|POST|PUT|PATCH|DELETE) (/[^`\s]*)`", PAGE.read_text()))
    served = {
        (v.upper(), path) for path, verbs in build_api(ledger).openapi()["paths"].items() for v in verbs if v in VERBS
    }
    assert served - printed == set(), "routes the reference leaves out"
    assert printed - served == set(), "routes the reference makes up"


@pytest.mark.parametrize(
    ("send", "status", "code"),
    [
        (receive(mass="5 miles"), 422, "input.bad"), ({"name": "melt", "data": {}}, 422, "input.bad"), ({"data": {}}, 422, "api.bad-request"),
        (receive(material="SALT"), 409, "rule.unknown"), ({"name": "hold", "data": {"lots": ["NOPE"], "reason": "a look"}}, 409, "rule.unknown"),
    ],
)  # fmt: skip
def test_a_refused_command_is_a_problem_with_its_permanent_code_and_records_nothing(
    send: dict[str, Any], status: int, code: str, client: httpx.Client
) -> None:
    before = position(client)
    got = client.post("/commands", json=send)
    told = got.json()
    assert (got.status_code, told["status"], told["code"]) == (status, status, code)
    assert got.headers["content-type"] == "application/problem+json"
    assert told["type"] == f"/api/v1/problems/{code}"
    assert told["detail"] and told["title"]
    assert code in client.get("/problems").json()
    assert position(client) == before


@pytest.mark.parametrize(
    "path", ["/lots/NOPE", "/batches/NOPE", "/book/material/NOPE", "/problems/nope", "/reports/nope"]
)
def test_what_is_not_there_is_404_with_the_same_code_everywhere(path: str, client: httpx.Client) -> None:
    got = client.get(path)
    assert (got.status_code, got.json()["code"]) == (404, "api.not-there")
    assert got.json()["type"] == "/api/v1/problems/api.not-there"


def test_an_unchanged_answer_is_304_without_a_body_and_keeps_its_tag(client: httpx.Client) -> None:
    first = client.get("/log")
    tag = first.headers["etag"]
    assert tag.startswith(f'"{position(client)}.') and tag.endswith('"')
    for asked in (tag, f"W/{tag}", f'"other", {tag}'):
        again = client.get("/log", headers={"If-None-Match": asked})
        assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag)
    assert client.get("/log", headers={"If-None-Match": '"other"'}).status_code == 200


def test_the_tag_moves_with_the_position_and_only_then(client: httpx.Client) -> None:
    tag = client.get("/lots").headers["etag"]
    assert client.post("/commands", json=receive(mass="5 miles")).status_code == 422
    assert client.get("/lots", headers={"If-None-Match": tag}).status_code == 304
    done = client.post("/commands", json=receive())
    fresh = client.get("/lots", headers={"If-None-Match": tag})
    assert fresh.status_code == 200
    assert fresh.headers["etag"] != tag
    assert fresh.headers["x-ledger-position"] == done.headers["x-ledger-position"]


def test_commands_sent_twice_together_are_recorded_once_and_nothing_more_is_received(client: httpx.Client) -> None:
    both = [receive(command_id="one"), receive(mass="3 kg", command_id="two")]
    first, at = client.post("/commands", json=both).json(), position(client)
    again = client.post("/commands", json=both).json()
    assert [x["repeated"] for x in first] == [False, False]
    assert again == [{**x, "repeated": True} for x in first]
    assert position(client) == at
    assert sorted(x["mass"]["value"] for x in client.get("/lots").json()["items"]) == ["25", "3"]


def test_the_stream_says_line_by_line_what_the_pages_say(client: httpx.Client) -> None:
    client.post("/commands", json=[receive() for _ in range(5)])
    text = client.get("/log/stream").text
    assert text.endswith("\n")
    assert [json.loads(line) for line in text.splitlines()] == client.get("/log").json()["items"]
    assert client.get("/log/stream", params={"after": position(client)}).text == ""


def test_the_last_page_has_no_next_and_a_later_entry_comes_after_it(client: httpx.Client) -> None:
    client.post("/commands", json=[receive() for _ in range(4)])
    last = client.get("/lots", params={"after": 0, "most": 4}).json()
    assert last["next"] is None
    at = last["items"][-1]["position"]
    client.post("/commands", json=receive(mass="7 kg"))
    following = client.get("/lots", params={"after": at}).json()["items"]
    assert [x["mass"]["value"] for x in following] == ["7"]
