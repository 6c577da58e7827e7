"""Receipts, batches and daily sales from a CSV file: a mapping of columns, a dry run, every bad row named, safe to run twice.

A mapping file is TOML::

    [columns]                 # the file's own column names -> field names
    "Date" = "day"
    "Product" = "pack"
    [defaults]                # for fields the file does not have
    channel = "SHOP"
    [values.pack]             # the file's own values -> ours
    "Lemon jar 113 g" = "LEMON-JAR"

Running a file twice records nothing new: the command id of a row is made of what the row says (and which repetition of the
same words it is), not of where it stands.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from ledger.application.ledger import Ledger, Order, Outcome
from ledger.errors import BadInput, SlabbookError
from ledger.interfaces.commands_in import read_command

KINDS = ("receipts", "batches", "sales")
_SINGLE = {"receipts": "receive", "sales": "sell"}


@dataclass(frozen=True, slots=True)
class BadRow:
    """One thing wrong in a file: line (from 1, the head is line 1), column, the value there, and why."""

    line: int
    column: str
    value: str
    why: str


@dataclass(slots=True)
class Imported:
    """What came of a file."""

    rows: int = 0
    recorded: int = 0
    repeated: int = 0
    bad: list[BadRow] = field(default_factory=list)
    written: bool = False


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """How a file's columns and values become ours."""

    columns: Mapping[str, str] = field(default_factory=dict)
    defaults: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)

    def of(self, row: Mapping[str, str]) -> dict[str, str]:
        """One row under our names, with defaults and values put in."""
        named = {self.columns.get(k, k).strip(): (v or "").strip() for k, v in row.items() if k is not None}
        full = {**self.defaults, **{k: v for k, v in named.items() if v and k != "-"}}
        return {k: self.values.get(k, {}).get(v, v) for k, v in full.items()}

    def column_of(self, name: str) -> str:
        """The file's own name of a field."""
        return next((theirs for theirs, ours in self.columns.items() if ours == name), name)


def read_mapping(text: str) -> ColumnMap:
    """A mapping file. Raises BadInput naming the line."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"The mapping file cannot be read: {error}.") from error
    unknown = set(data) - {"columns", "defaults", "values"}
    if unknown:
        raise BadInput(f"The mapping file has `{sorted(unknown)[0]}`; it may hold columns, defaults and values.")
    return ColumnMap(data.get("columns", {}), data.get("defaults", {}), data.get("values", {}))


def import_csv(
    ledger: Ledger,
    kind: str,
    text: str,
    mapping: ColumnMap | None = None,
    *,
    by: str = "",
    dry: bool = False,
    partial: bool = False,
) -> Imported:
    """Record every row of a file in one transaction: all or nothing, unless `partial`. With `dry` nothing is written."""
    if kind not in KINDS:
        raise BadInput(f"`{kind}` files are not known; import {', '.join(KINDS)}.", value=kind)
    mapping = mapping or ColumnMap()
    book, today = ledger.book(), ledger.today()
    done, orders, places = Imported(), [], []
    seen: Counter[str] = Counter()
    for line, raw in _lines(text):
        done.rows += 1
        row = mapping.of(raw)
        says = json.dumps([kind, sorted(row.items())], ensure_ascii=False)
        seen[says] += 1
        base = hashlib.sha256(f"{says}#{seen[says]}".encode()).hexdigest()[:32]
        try:
            for number, (name, data) in enumerate(_commands(kind, row)):
                command = read_command(name, data, book, today)
                orders.append(Order(command, by, f"csv-{base}-{number}"))
                places.append((line, row))
        except SlabbookError as error:
            done.bad += _told(line, row, error, mapping)
    if done.bad and not partial:
        refused = ledger.do_rows(orders, dry=True).refused
    else:
        rows = ledger.do_rows(orders, partial=partial, dry=dry)
        refused = rows.refused
        done.written = not dry and (partial or not refused)
        done.recorded, done.repeated = _tally(rows.outcomes)
    for number, refusal in refused:
        done.bad += _told(*places[number], refusal, mapping)
    done.bad.sort(key=lambda b: b.line)
    return done


def _tally(outcomes: list[Outcome]) -> tuple[int, int]:
    repeated = sum(1 for o in outcomes if o.repeated)
    return len(outcomes) - repeated, repeated


def _lines(text: str) -> Iterator[tuple[int, dict[str, str]]]:
    text = text.removeprefix("\ufeff")
    head = text.split("\n", 1)[0]
    separator = max(",;\t", key=head.count)
    reader = csv.DictReader(io.StringIO(text), delimiter=separator)
    if not reader.fieldnames:
        raise BadInput("The file is empty; its first line must name the columns.")
    for row in reader:
        if None in row:
            raise BadInput(f"Line {reader.line_num} has more values than the head has columns.", line=reader.line_num)
        if any((v or "").strip() for v in row.values()):
            yield reader.line_num, row


def _told(line: int, row: Mapping[str, str], error: SlabbookError, mapping: ColumnMap) -> list[BadRow]:
    problems = error.facts.get("problems") or [{"field": _guess(row, error), "message": error.message}]
    return [
        BadRow(line, mapping.column_of(p["field"].split(".")[0]), row.get(p["field"].split(".")[0], ""), p["message"])
        for p in problems
    ]


def _guess(row: Mapping[str, str], error: SlabbookError) -> str:
    """The column whose value the error speaks of: what was asked for first, then a name."""
    first = {str(error.facts[k]) for k in ("asked", "wanted", "value", "limit", "day") if k in error.facts}
    facts = {str(v) for v in error.facts.values() if isinstance(v, (str, int))}
    return next((k for told in (first, facts) for k, v in row.items() if v in told), "")


def _commands(kind: str, row: Mapping[str, str]) -> Iterator[tuple[str, dict[str, Any]]]:
    if kind in _SINGLE:
        yield _SINGLE[kind], dict(row)
        return
    yield from batch_commands(row)


def _pairs(text: str, left: str, right: str) -> list[dict[str, str]]:
    found = []
    for part in (p for p in text.split(";") if p.strip()):
        name, _, amount = part.partition("=")
        found.append({left: name.strip(), right: amount.strip()} if amount.strip() else {left: name.strip()})
    return found


def batch_commands(row: Mapping[str, str]) -> Iterator[tuple[str, dict[str, Any]]]:
    """One batch told in one row, as the commands of its steps.

    Columns: batch, flavour, design, day, in (`LOT=MASS; LOT=MASS`), water, end_temperature, poured, pieces, cut, reboil,
    lost (`CAUSE=MASS; ...`), pack, packs, work (`INITIALS=TIME; ...`), note. Lists are parted by semicolons.
    """
    known = {"batch", "flavour", "design", "day", "in", "water", "end_temperature", "poured", "pieces", "cut", "reboil", "lost",
             "pack", "packs", "work", "note"}  # fmt: skip
    strange = [k for k in row if k not in known]
    if strange:
        raise BadInput(
            f"There is no batch column `{strange[0]}`; known are {', '.join(sorted(known))}.",
            problems=[{"field": strange[0], "message": "there is no such column"}],
        )
    if not row.get("batch"):
        raise BadInput("A batch row needs its batch code.", problems=[{"field": "batch", "message": "is missing"}])
    same = {"batch": row["batch"], "day": row.get("day", "")}
    note = {"note": row["note"]} if row.get("note") else {}
    yield "open-batch", {**same, "flavour": row.get("flavour", ""), "design": row.get("design", ""), **note}
    cook: dict[str, Any] = {
        **same,
        "takes": _pairs(row.get("in", ""), "lot", "mass"),
        "work": _pairs(row.get("work", ""), "worker", "time"),
    }
    for name in ("water", "end_temperature"):
        if row.get(name):
            cook[name] = row[name]
    if row.get("poured"):
        cook["gives"] = [{"mass": row["poured"]}]
    yield "cook", cook
    yield "build", dict(same)
    yield "roll", dict(same)
    gives: list[dict[str, Any]] = [
        {"kind": "pieces", **{k: row[c] for k, c in (("mass", "cut"), ("pieces", "pieces")) if row.get(c)}}
    ]
    if row.get("reboil"):
        gives.append({"kind": "reboil", "mass": row["reboil"]})
    yield "cut", {**same, "gives": gives, "losses": _pairs(row.get("lost", ""), "cause", "mass")}
    if row.get("packs"):
        yield "pack", {**same, "pack": row.get("pack", ""), "packs": row["packs"]}
    yield "close-batch", dict(same)


__all__ = ["BadRow", "ColumnMap", "Imported", "batch_commands", "import_csv", "read_mapping"]
