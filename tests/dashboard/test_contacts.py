"""Names and addresses on the Book page. Invented people only; the behaviour checked is our own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from dashboard.app import create_app
from dashboard.components.contact_forms import contact_rows, contacts_part
from ledger.application.contacts import set_contact
from ledger.application.ledger import Ledger, open_ledger
from tests.dashboard.test_pages import walk
from tests.support.asgi import client_of


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    opened = open_ledger(f"sqlite:///{tmp_path}/names.sqlite")
    set_contact(opened, "worker", "QZ", "Somebody Invented", "Nowhere 1", "000")
    yield opened
    opened.close()


@pytest.fixture
def client(ledger: Ledger) -> Iterator[httpx.Client]:
    with client_of(create_app(ledger)) as made:
        yield made


def test_a_name_is_kept_and_an_empty_one_refused_with_what_was_typed(client: httpx.Client, ledger: Ledger) -> None:
    kept = client.post("/contact?kind=worker&id=QZ", data={"name": "Other <Invented>", "address": "", "phone": "1"})
    assert (
        kept.status_code == 303
        and contact_rows(ledger)[0]["name"] == "Other <Invented>"
        and contact_rows(ledger)[0]["address"] == ""
    )
    refused = client.post("/contact?kind=worker&id=QZ", data={"name": " ", "address": "Kept Lane 2", "phone": ""})
    assert refused.status_code == 422 and "Kept Lane 2" in refused.text
    assert "Other &lt;Invented&gt;" in client.get("/contact?kind=worker&id=QZ").text


def test_erasing_asks_first_and_then_forgets(client: httpx.Client, ledger: Ledger) -> None:
    asked = client.get("/contact/erase?kind=worker&id=QZ")
    assert asked.status_code == 200 and "cannot be taken back" in asked.text and contact_rows(ledger)
    assert client.post("/contact/erase?kind=worker&id=QZ").status_code == 303
    assert contact_rows(ledger) == []


def test_another_sites_page_may_not_write_and_unknown_people_are_not_made_up(
    client: httpx.Client, ledger: Ledger
) -> None:
    foreign = client.post("/contact/erase?kind=worker&id=QZ", headers={"origin": "http://elsewhere.example"})
    assert foreign.status_code == 403 and contact_rows(ledger)
    assert client.post("/contact?kind=worker&id=NOBODY", data={"name": "x"}).status_code == 404


def test_the_api_does_not_answer_with_names(client: httpx.Client, ledger: Ledger) -> None:
    assert client.get("/api/v1/contacts").status_code == 404
    assert "Somebody Invented" not in client.get("/api/v1/openapi.json").text


def test_what_can_be_done_stands_beside_the_id_where_a_narrow_tablet_shows_it(ledger: Ledger) -> None:
    shown = next(x for x in walk(contacts_part(ledger)) if x["type"] == "Thead")
    assert [x["props"]["children"] for x in walk(shown["props"]["children"]) if x["type"] == "Th"][:2] == [
        "id",
        "change",
    ]
    row = next(x for x in walk(contacts_part(ledger)) if x["type"] == "Tbody")
    second = [x for x in walk(row["props"]["children"]) if x["type"] == "Td"][1]
    told = [x["props"]["children"] for x in walk(second["props"]["children"]) if x["type"] == "A"]
    assert told == ["Enter", "Erase"]
