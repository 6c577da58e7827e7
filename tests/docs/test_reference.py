"""The reference pages are what the code says, and nothing in the code is without words."""

from __future__ import annotations

import ast
from pathlib import Path

import click
import pytest

from docs import generate
from docs.cures import CAUSES, CURES
from ledger.domain import stored_names
from ledger.domain.books import entries
from ledger.domain.decide import COMMANDS
from tests.golden.samples import released_names
from tests.support.shared import ROOT


@pytest.mark.parametrize("name", sorted(generate.PAGES))
def test_a_generated_page_is_fresh(name: str) -> None:
    page = generate.REFERENCE / name
    assert page.exists(), "run python -m docs.generate"
    assert page.read_text(encoding="utf-8") == generate.PAGES[name](), "run python -m docs.generate"


def documented(cls: type) -> bool:
    """A docstring of its own; a dataclass without one gets its signature, which is none."""
    own = cls.__dict__.get("__doc__") or ""
    return len(own.split()) > 2 and not own.startswith(f"{cls.__name__}(")


def test_every_event_is_documented() -> None:
    assert [n for n in released_names() if not documented(stored_names.class_of(n))] == []


def test_every_command_and_book_entry_is_documented() -> None:
    assert [n for n, cls in {**COMMANDS, **entries.KINDS}.items() if not documented(cls)] == []


def test_every_command_of_the_command_line_has_help() -> None:
    from ledger.interfaces.cli.main import cli

    assert [name for name, command in generate.walk(cli) if not (command.help or "").strip()] == []
    groups = [c for c in cli.commands.values() if isinstance(c, click.Group)]
    assert all((g.help or "").strip() for g in groups)


def test_every_error_has_a_cure_and_every_cure_an_error() -> None:
    codes = {error.code for error in generate.all_errors()}
    assert codes == set(CURES)
    assert set(CAUSES) <= codes
    assert all(documented(error) for error in generate.all_errors())


def test_no_two_errors_share_a_code() -> None:
    found: dict[str, str] = {}
    for path in sorted((ROOT / "ledger").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                for line in node.body:
                    if (
                        isinstance(line, ast.Assign)
                        and ast.unparse(line.targets[0]) == "code"
                        and isinstance(line.value, ast.Constant)
                    ):
                        assert line.value.value not in found, (line.value.value, found[line.value.value], node.name)
                        found[line.value.value] = node.name
    assert set(found) == {error.code for error in generate.all_errors()}


PAGES = [
    p
    for p in sorted((ROOT / "docs").rglob("*.md"))
    if p.parent.name not in ("adr",) and p.name != "verify-without-us.md"
]


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.relative_to(ROOT / "docs").as_posix())
def test_a_page_says_what_kind_it_is(page: Path) -> None:
    top = "\n".join(page.read_text(encoding="utf-8").splitlines()[:4]).lower()
    assert any(kind in top for kind in ("tutorial", "how-to", "reference", "explanation")), page


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.relative_to(ROOT / "docs").as_posix())
def test_the_links_of_a_page_lead_somewhere(page: Path) -> None:
    import re

    for target in re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
        if "://" not in target:
            assert (page.parent / target).exists(), f"{page.name}: {target}"
