"""On a page nobody is told to type a command: what a message says for a terminal is said as a button and a page."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import ledger
from dashboard.components.ways import for_page
from dashboard.page import pages
from dashboard.shell import render
from ledger.application.ledger import Ledger
from tests.dashboard.test_pages import text_of

SOURCE = Path(ledger.__file__).parent
QUOTED = re.compile(r"[^\"]*`slabbook [^`\"]*`[^\"]*")


def messages() -> list[str]:
    """Every piece of text under `ledger/` (but the command line itself) that quotes a command."""
    found = []
    for path in sorted(SOURCE.rglob("*.py")):
        if "cli" not in path.parts:
            found += QUOTED.findall(path.read_text())
    return found


def test_there_are_messages_to_translate() -> None:
    assert len(messages()) > 20


@pytest.mark.parametrize("text", messages())
def test_no_message_quotes_a_command_on_a_page(text: str) -> None:
    said = for_page(text)
    assert "`slabbook" not in said
    assert "the check at the computer" not in said, "name the button in WAYS"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "Lot A is held; release it first (`slabbook release A`).",
            "Lot A is held; release it first (Release on the Shelf page).",
        ),
        ("Open it first with `slabbook open FLAVOUR`.", "Open it first with Open a batch on the Bench page."),
        ("There is no entry 9. `slabbook log` lists them.", "There is no entry 9. The Log page lists them."),
        ("Enter one with `slabbook book load FILE` or on the Book page.", "Enter one on the Book page."),
        ("Plan again with `slabbook season plan`.", "Plan again on the Season page."),
        ("Nothing to change here.", "Nothing to change here."),
    ],
)
def test_the_way_out_reads_as_a_sentence(text: str, said: str) -> None:
    assert for_page(text) == said


@pytest.mark.parametrize("which", ["empty", "single", "demo"])
def test_no_page_quotes_a_command(which: str, request: pytest.FixtureRequest) -> None:
    shop: Ledger = request.getfixturevalue(which)
    for page in pages():
        assert "slabbook " not in text_of(render(shop, page.path, "")), page.path


def test_what_a_page_says_of_a_report_or_an_error_is_always_said_for_a_page() -> None:
    """Every message and every report's sentence in the dashboard's own source passes through `for_page`."""
    bare = [
        f"{path.name}: {line.strip()}"
        for path in sorted((SOURCE.parent / "dashboard").rglob("*.py"))
        for line in path.read_text().splitlines()
        for word in re.findall(r"(?<!for_page\()\b(?:error\.message|(?:report|traced|story)\.sentence)", line)
        if not path.name.startswith("season")  # the Season page's own tests read what it says
    ]
    assert bare == []
