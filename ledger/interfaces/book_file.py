"""The book as a file: readable TOML (a whole shop) or CSV (many rows of one kind) in, book entries out.

TOML has one table an entry, named by kind and id (`[material.SUGAR]`), with the words and units people use: ``solids = "80.3 %"``,
``cost = "0.92"``, ``end_temperature = "310 F"``, ``net = "4 oz"``. A recipe may write its lines as a small table
(``[recipe.LEMON.lines]`` then ``SUGAR = "8.4 kg"``, or ``"peel/TURMERIC" = "5 g"`` for one portion) and its steps as
``[recipe.LEMON.steps]`` with ``build = "45 min x 3"`` (time, times hands). People and businesses under ``[contact.worker.AB]`` are read
apart from the book (`contacts_from_toml`), because a name must be erasable and a book entry is kept forever.
"""

from __future__ import annotations

import csv
import io
import json
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from ledger import quantities
from ledger.application.contacts import KINDS
from ledger.domain.books import entries as e
from ledger.domain.books.book import Book, book_of
from ledger.errors import BadInput, SlabbookError
from ledger.interfaces.commands_in import read_entry

_HANDS = re.compile(r"\s*(?P<time>.+?)\s*[x×]\s*(?P<people>\d+)\s*", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """A name, address and telephone number of a worker or a business; kind and id say which book entry it belongs to."""

    kind: str
    id: str
    name: str = ""
    address: str = ""
    phone: str = ""


def entries_from_toml(text: str, book: Book | None = None) -> list[Any]:
    """Every book entry of a TOML file, in an order in which each finds what it refers to.

    book: what is known already; a field the file leaves out then keeps its newest value. Raises BadInput naming table, key and value.
    """
    data = _toml(text)
    known = _copy(book)
    found: list[Any] = []
    unknown = [k for k in data if k not in e.KINDS and k != "contact"]
    if unknown:
        raise BadInput(
            f"`[{unknown[0]}]` is no kind of book entry; known are {', '.join(e.KINDS)} and contact.", value=unknown[0]
        )
    for kind in sorted(e.KINDS, key=_rank):
        for id, table in _tables(kind, data.get(kind, {})):
            found.append(_entry(kind, {"id": id} | table, known, f"[{kind}.{id}]"))
    return found


def contacts_from_toml(text: str) -> list[Contact]:
    """Names and addresses of a TOML file. Raises BadInput naming table and key."""
    found = []
    groups = _toml(text).get("contact", {})
    for kind, group in groups.items():
        if kind not in KINDS:
            raise BadInput(f"`[contact.{kind}]`: known kinds of contact are {', '.join(KINDS)}.", value=kind)
        for id, table in _tables(f"contact.{kind}", group):
            odd = next(
                (k for k, v in table.items() if k not in ("name", "address", "phone") or not isinstance(v, str)), None
            )
            if odd is not None:
                raise BadInput(
                    f"[contact.{kind}.{id}] {odd} = {table[odd]!r}: a contact has name, address and phone, as text.",
                    key=odd,
                )
            found.append(Contact(kind=kind, id=id, **table))
    return found


def contacts_to_toml(contacts: Iterable[Contact]) -> str:
    """Names and addresses as a file of their own that `contacts_from_toml` (and `slabbook book load`) reads back, exactly."""
    lines = [
        "# Names, addresses and telephone numbers of a Slabbook ledger. They are kept apart from the log so that a person can be forgotten:",
        "# keep this file where few can read it, write it anew after every erasure, and destroy the older ones.",
    ]
    for c in contacts:
        lines += ["", f"[contact.{c.kind}.{_quoted(c.id)}]"]
        lines += [f"{key} = {_quoted(value)}" for key in ("name", "address", "phone") if (value := getattr(c, key))]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    """Text as a TOML basic string, which is a JSON string but for the one control character JSON leaves bare."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def entries_from_csv(kind: str, text: str, book: Book | None = None) -> list[Any]:
    """Book entries of one kind from CSV with a heading line of field names. Raises BadInput naming line, column and value."""
    if kind not in e.KINDS:
        raise BadInput(f"`{kind}` is no kind of book entry; known are {', '.join(e.KINDS)}.", value=kind)
    reader = csv.DictReader(io.StringIO(text.removeprefix("\ufeff")), delimiter=_delimiter(text))
    if not reader.fieldnames or "id" not in reader.fieldnames:
        raise BadInput(
            "The first line must name the columns, `id` among them.", value=", ".join(reader.fieldnames or ())
        )
    known = _copy(book)
    found = []
    for row in reader:
        where = f"line {reader.line_num}"
        if None in row:
            raise BadInput(f"{where} has more values than the heading has columns: {row[None]}.", line=reader.line_num)  # type: ignore[call-overload]
        given = {k.strip(): v.strip() for k, v in row.items() if k and v and v.strip()}
        found.append(_entry(kind, given, known, where))
    return found


def _entry(kind: str, given: Mapping[str, Any], known: Book, where: str) -> Any:
    cls = e.KINDS[kind]
    try:
        entry = read_entry(cls, _plain(kind, given), known)
    except SlabbookError as error:
        problems = error.facts.get("problems") or [{"field": "", "message": error.message}]
        told = "; ".join(_problem(p, given) for p in problems)
        raise BadInput(f"{where}: {told}", where=where, problems=problems) from error
    known.put(entry, known.version(cls, entry.id) + 1)
    return entry


def _problem(problem: Mapping[str, str], given: Mapping[str, Any]) -> str:
    field = problem["field"]
    if not field:
        return problem["message"]
    value = given.get(field.split(".")[0])
    shown = f" = {value!r}" if isinstance(value, (str, int)) else ""
    return f"{field}{shown}: {problem['message']}"


def _plain(kind: str, given: Mapping[str, Any]) -> dict[str, Any]:
    """The entry with the file's shorthand written out; a key spelt with `-` is taken for `_`."""
    data = {k.replace("-", "_"): v for k, v in given.items()}
    for key, value in data.items():
        if isinstance(value, float):
            raise BadInput(f"`{value}` is a bare number with a point; write it as text with its unit, such as \"{value} kg\".",
                           problems=[{"field": key, "message": "write numbers with a point as text, with their unit"}])  # fmt: skip
    if kind == "recipe":
        if isinstance(data.get("lines"), Mapping):
            data["lines"] = [_line(k, v) for k, v in data["lines"].items()]
        if isinstance(data.get("steps"), Mapping):
            data["steps"] = [_step(k, v) for k, v in data["steps"].items()]
    return data


def _line(key: str, value: Any) -> dict[str, Any]:
    portion, _, material = key.rpartition("/")
    return {"material": material, "mass": str(value), "portion": portion}


def _step(step: str, value: Any) -> dict[str, Any]:
    if step not in e.STEPS:
        raise BadInput(f"`{step}` is no step; known are {', '.join(e.STEPS)}.", value=step,
                       problems=[{"field": f"steps.{step}", "message": f"no such step; known are {', '.join(e.STEPS)}"}])  # fmt: skip
    match = _HANDS.fullmatch(str(value))
    time, people = (match["time"], int(match["people"])) if match else (str(value), 1)
    return {"step": step, "seconds": quantities.duration(time), "people": people}


def _toml(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError as error:
        raise BadInput(
            f"This is not a TOML file: {error}. Mind the quotation marks around text with a unit."
        ) from error


def _tables(kind: str, group: Any) -> list[tuple[str, dict[str, Any]]]:
    if not isinstance(group, Mapping):
        raise BadInput(f"`{kind}` must be written as tables `[{kind}.ID]`, one an entry.", value=kind)
    for id, table in group.items():
        if not isinstance(table, Mapping):
            raise BadInput(f"[{kind}] {id} = {table!r}: an entry is a table of its own, `[{kind}.{id}]`.", value=id)
    return [(id, dict(table)) for id, table in group.items()]


def _rank(kind: str) -> int:
    order = (
        "site",
        "channel",
        "partner",
        "worker",
        "station",
        "material",
        "feast",
        "flavour",
        "design",
        "recipe",
        "pack",
        "planning",
    )
    return order.index(kind)


def _copy(book: Book | None) -> Book:
    if book is None:
        return book_of([])
    copy = Book()
    copy.entries, copy.versions = dict(book.entries), dict(book.versions)
    return copy


def _delimiter(text: str) -> str:
    heading = text.split("\n", 1)[0]
    return max(",;\t", key=heading.count)


__all__ = ["Contact", "contacts_from_toml", "contacts_to_toml", "entries_from_csv", "entries_from_toml"]
