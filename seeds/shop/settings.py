"""The invented shop's two files, read once: the book, and how the shop works and sells."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from ledger.domain.books import entries as e
from ledger.domain.books.book import Book
from ledger.interfaces.book_file import Contact, contacts_from_toml, entries_from_toml

HERE = Path(__file__).parent


@dataclass(frozen=True, slots=True)
class Line:
    """One thing the shop makes: a flavour in its design, with its recipe and packs (jar first, then a bag where there is one)."""

    flavour: e.Flavour
    design: e.Design
    recipe: e.Recipe
    packs: tuple[e.Pack, ...]

    @property
    def id(self) -> str:
        """The flavour's id: every flavour of this shop has one design."""
        return self.flavour.id

    @property
    def acid(self) -> bool:
        """Acid-bearing ends are not boiled again (heat and acid invert sugar; common practice, no source)."""
        return self.recipe.reboil_max_ppm == 0


@dataclass(frozen=True, slots=True)
class Shop:
    """Everything the generator knows before the first day."""

    entries: tuple[Any, ...]
    contacts: tuple[Contact, ...]
    book: Book
    lines: dict[str, Line]
    work: dict[str, Any]
    suppliers: dict[str, str] = field(default_factory=dict)


def book_text() -> str:
    """The shop's book as TOML text."""
    return (HERE / "book.toml").read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def shop() -> Shop:
    """The shop, from `book.toml` and `workshop.toml`."""
    text = book_text()
    entries = tuple(entries_from_toml(text))
    book = Book()
    for entry in entries:
        book.put(entry, 1)
    designs = {d.flavour: d for d in book.all(e.Design)}
    lines = {}
    for flavour in (x for x in entries if isinstance(x, e.Flavour)):
        packs = sorted((p for p in book.all(e.Pack) if p.flavour == flavour.id), key=lambda p: p.net_mg)
        recipe = book.recipe_of(flavour.id)
        assert recipe is not None
        lines[flavour.id] = Line(flavour, designs[flavour.id], recipe, tuple(packs))
    work = tomllib.loads((HERE / "workshop.toml").read_text(encoding="utf-8"))
    return Shop(entries, tuple(contacts_from_toml(text)), book, lines, work)
