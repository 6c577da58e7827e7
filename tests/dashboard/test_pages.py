"""Pages as plain functions: they render on any ledger, their ids are unique, their text says what to do."""

from __future__ import annotations

import json
from typing import Any

import pytest
from dash import no_update

import dashboard.shell as shell_module
from dashboard.components.parts import next_to_enter
from dashboard.components.words import kind_words
from dashboard.page import address, pages, read_address
from dashboard.pages.bench import next_step
from dashboard.shell import as_of_line, poll, render, render_filters, shell
from ledger.application.ledger import Ledger
from ledger.domain.batch.commands import OpenBatch
from ledger.domain.books import entries as e
from ledger.domain.stored_names import all_names

PATHS = [p.path for p in pages()]


def walk(part: Any) -> list[dict[str, Any]]:
    """Every component below a part, as plain dicts."""
    if isinstance(part, (list, tuple)):
        return [x for p in part for x in walk(p)]
    if hasattr(part, "to_plotly_json"):
        plain = part.to_plotly_json()
        return [plain, *walk(plain["props"].get("children"))]
    return []


def text_of(part: Any) -> str:
    if isinstance(part, str):
        return part
    if isinstance(part, (list, tuple)):
        return " ".join(text_of(x) for x in part)
    return text_of(part.to_plotly_json()["props"].get("children")) if hasattr(part, "to_plotly_json") else ""


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize("which", ["empty", "single", "demo"])
def test_every_page_renders_with_unique_ids(path: str, which: str, request: pytest.FixtureRequest) -> None:
    ledger: Ledger = request.getfixturevalue(which)
    parts = [shell(), render_filters(ledger, path, ""), render(ledger, path, "")]
    ids = [json.dumps(c["props"]["id"], sort_keys=True) for p in parts for c in walk(p) if c["props"].get("id")]
    assert len(ids) == len(set(ids))
    assert text_of(parts[2]).strip()
    json.dumps([c["type"] for c in walk(parts[2])])


@pytest.mark.parametrize("path", PATHS)
def test_an_empty_ledger_is_told_what_to_do_first(path: str, empty: Ledger) -> None:
    said = text_of(render(empty, path, ""))
    assert any(word in said for word in ("Go to the", "first", "Start with", "Receive")), said


@pytest.mark.parametrize(
    ("path", "search"),
    [("/week", "?week=2026-W99"), ("/week", "?known=soon"), ("/week", "?known=99999999"), ("/hours", "?week=nonsense"), ("/hours", "?span=-4"),
     ("/batch", "?batch=NOPE"), ("/book", "?kind=nothing"), ("/log", "?before=abc&text=%25"), ("/nowhere", ""), ("/shelf", "?flavour=NONE&show=?")],
)  # fmt: skip
def test_a_strange_address_is_answered_in_place(path: str, search: str, demo: Ledger) -> None:
    assert text_of(render(demo, path, search)).strip()
    render_filters(demo, path, search)


def test_an_address_keeps_its_filters_and_drops_empty_ones() -> None:
    asked = read_address("?week=2026-W44&flavour=")
    assert address("/week", asked, known="2026-11-02") == "/week?week=2026-W44&known=2026-11-02"
    assert read_address("?week=2026-W44&known=2026-11-02") == {"week": "2026-W44", "known": "2026-11-02"}


def test_a_tablet_hears_of_another_tablets_entry_only_when_there_is_one(demo: Ledger) -> None:
    at = demo.queries.as_of().position
    assert poll(demo, at) is no_update
    demo.do(OpenBatch(day=demo.today(), flavour=demo.book().all(e.Recipe)[0].flavour), "MK")
    assert poll(demo, at) == at + 1
    assert f"{at + 1:,}".replace(",", "\u202f") in as_of_line(demo)
    assert ", recorded 2" in as_of_line(demo)


def test_the_as_of_line_of_a_young_ledger_keeps_its_comma(single: Ledger) -> None:
    assert as_of_line(single).startswith("As of entry 1, recorded 2")


def test_an_open_batch_stands_on_the_bench_with_one_big_next_step(demo: Ledger) -> None:
    code = demo.do(OpenBatch(day=demo.today(), flavour=demo.book().all(e.Recipe)[0].flavour), "MK").batch
    big = [c for c in walk(render(demo, "/bench", "")) if c["props"].get("className") == "button big"]
    told = [c["props"]["data-form"] for c in big]
    assert told[0] == f"cook?batch={code}"  # the newest first
    assert len(told) == len(demo.queries.batches(status="open"))


@pytest.mark.parametrize(
    ("steps", "pulls", "expected"),
    [([], True, "cook"), (["cook"], True, "pull"), (["cook"], False, "build"), (["cook", "build"], True, "roll"), (["cook", "pull", "build", "roll"], True, "cut"),
     (["cook", "build", "roll", "cut"], False, "pack"), (["cook", "build", "roll", "cut", "pack"], True, "close-batch")],
)  # fmt: skip
def test_the_next_step_follows_the_slab(steps: list[str], pulls: bool, expected: str) -> None:
    assert next_step(steps, pulls) == expected


def test_the_log_page_names_the_root_after_verifying(demo: Ledger) -> None:
    with demo.queries.store.read() as reader:
        root = reader.root().hex()
    assert root in text_of(render(demo, "/log", "?verify=1"))


def test_the_log_page_says_the_kind_in_words_with_the_stored_name_behind(demo: Ledger) -> None:
    rows = [x for x in walk(render(demo, "/log", "?name=lot.received")) if x["type"] == "Tr"][1:]
    assert rows
    assert all(text_of(r["props"]["children"][2]).split() == ["goods", "received", "lot.received"] for r in rows)


def test_every_stored_kind_of_entry_has_words_of_its_own() -> None:
    said = [kind_words(name) for name in all_names()]
    assert len(said) > 30
    assert len(set(said)) == len(said)
    assert not [x for x in said if "." in x or "-defined" in x]


def test_a_batch_without_a_sheet_leads_to_the_sheet_page_and_quotes_no_command_line(demo: Ledger) -> None:
    design = demo.book().all(e.Design)[0]
    code = demo.do(OpenBatch(day=demo.today(), flavour=design.flavour, design=design.id), "MK").batch
    shown = render(demo, "/batch", f"?batch={code}")
    assert "slabbook" not in text_of(shown)
    assert "Next is the cook" in text_of(shown)
    [link] = [x["props"]["href"] for x in walk(shown) if "/sheet" in str(x["props"].get("href"))]
    path, _, search = link.partition("?")
    assert path == "/sheet"
    assert read_address(search) == {"design": design.id, "flavour": design.flavour}


def test_the_week_as_known_on_an_earlier_day_says_so(demo: Ledger) -> None:
    week = demo.queries.weeks()[-1]
    assert "As known on 2026-11-23" in text_of(render(demo, "/week", f"?week={week}&known=2026-11-23"))


def test_a_fault_of_the_program_is_told_on_the_page_and_kept_in_its_log(
    empty: Ledger, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(shell_module, "read_address", lambda _search: 1 / 0)
    said = text_of(render(empty, "/week", "?week=2026-W44"))
    assert "fault in the program" in said and "Nothing is lost" in said
    assert "ZeroDivisionError" in caplog.text and "/week?week=2026-W44" in caplog.text


def test_a_young_book_keeps_naming_what_it_lacks_once_batches_can_be_opened(single: Ledger) -> None:
    assert text_of(next_to_enter(single.book())).startswith("Still to enter in the book: ")
    assert "the shop itself" not in text_of(next_to_enter(single.book()))
    links = [x["props"]["href"] for x in walk(next_to_enter(single.book())) if x["type"] == "Link"]
    assert links[0] == "/book?kind=material" and "/book?kind=channel" in links


def test_a_whole_book_lacks_nothing(demo: Ledger) -> None:
    assert next_to_enter(demo.book()) == []
    assert "Still to enter" not in text_of(render(demo, "/bench", ""))


def test_first_steps_are_ticked_as_they_are_done(single: Ledger) -> None:
    done = [
        text_of(x["props"]["children"])
        for x in walk(render(single, "/bench", ""))
        if x["props"].get("className") == "done"
    ]
    assert done == ["The shop itself: name, time zone, units  (done)"]


def test_the_shelf_puts_cover_beside_the_packs_and_what_is_asked_for_first(demo: Ledger) -> None:
    shown = render(demo, "/shelf", "")
    table = next(x for x in walk(shown) if x["type"] == "Thead")
    titles = [text_of(x["props"]["children"]) for x in walk(table["props"]["children"]) if x["type"] == "Th"]
    assert titles[0].startswith("pack") and titles[1].startswith("packs") and titles[2].startswith("cover")
    flavour = demo.book().all(e.Flavour)[0]
    narrowed = text_of(render(demo, "/shelf", f"?flavour={flavour.id}"))
    others = [p.name for p in demo.book().all(e.Pack) if p.flavour != flavour.id]
    assert not [name for name in others if f" {name} " in f" {narrowed} "]
    kinds = [x["type"] for x in walk(render(demo, "/shelf", "?show=material"))]
    assert "Graph" not in kinds and kinds.index("AgGrid") < kinds.index("Table")
