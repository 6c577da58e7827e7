"""The book as the rules read it: every entry by kind and id, in its newest version."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any, TypeVar

from ledger.domain.books import entries as e
from ledger.domain.codes import in_capitals
from ledger.errors import UnknownThing

T = TypeVar("T")


@dataclass(slots=True)
class Book:
    """All entries by (kind, id) with the version each has."""

    entries: dict[tuple[str, str], Any] = field(default_factory=dict)
    versions: dict[tuple[str, str], int] = field(default_factory=dict)
    _site: e.Site | None = None

    def put(self, entry: Any, version: int) -> None:
        """Take in one entry (evolve: no rules)."""
        key = (e.KIND_OF[type(entry)], entry.id)
        self.entries[key] = entry
        self.versions[key] = version
        if key[0] == "site":
            self._site = entry

    def get(self, kind: type[T], id: str) -> T:
        """The entry, or UnknownThing naming the nearest ids."""
        name = e.KIND_OF[kind]
        found: T | None = self.entries.get((name, id))
        if found is None:
            known = [key[1] for key in self.entries if key[0] == name]
            near = get_close_matches(in_capitals(id), known, n=3, cutoff=0.4) or sorted(known)[:8]
            hint = (
                f"Known: {', '.join(near)}."
                if near
                else f"The book has no {name} yet; load one with `slabbook book load FILE`."
            )
            raise UnknownThing(f"There is no {name} `{id}` in the book. {hint}", kind=name, id=id, near=near)
        return found

    def find(self, kind: type[T], id: str) -> T | None:
        """The entry, or None."""
        found: T | None = self.entries.get((e.KIND_OF[kind], id))
        return found

    def meant(self, kind: type, typed: str) -> str:
        """The id of the entry that a typed code means: as it stands, else in capitals, else however an older ledger wrote it.

        Where there is no such entry it comes back as it was typed, for a message to name it.
        """
        name = e.KIND_OF[kind]
        if (name, typed) in self.entries:
            return typed
        wanted = in_capitals(typed)
        if (name, wanted) in self.entries:
            return wanted
        return next((id for kind, id in self.entries if kind == name and in_capitals(id) == wanted), typed)

    def who(self, typed: str) -> str:
        """The initials that typed ones mean: of a worker in the book, else in capitals as a new code is kept."""
        known = self.meant(e.Worker, typed)
        return known if (e.KIND_OF[e.Worker], known) in self.entries else in_capitals(typed)

    def all(self, kind: type[T]) -> list[T]:
        """Every entry of a kind, by id."""
        name = e.KIND_OF[kind]
        return [value for key, value in sorted(self.entries.items()) if key[0] == name]

    def version(self, kind: type, id: str) -> int:
        """Which version of an entry is the newest (0: none)."""
        return self.versions.get((e.KIND_OF[kind], id), 0)

    def site(self) -> e.Site:
        """The shop (the only site entry), or a plain default while the book is empty."""
        if self._site is not None:
            return self._site
        return e.Site(id="SHOP", name="Unnamed shop")

    def planning(self) -> e.Planning | None:
        """What the shop assumes when it plans (None: nothing is stated)."""
        return next(iter(self.all(e.Planning)), None)

    def recipe_of(self, flavour: str) -> e.Recipe | None:
        """The recipe of a flavour (the first by id where there are several)."""
        return next((r for r in self.all(e.Recipe) if r.flavour == flavour), None)


def book_of(pairs: Iterable[tuple[Any, int]]) -> Book:
    """A book from (entry, version) pairs."""
    book = Book()
    for entry, version in pairs:
        book.put(entry, version)
    return book
