"""Reads a form's HTML the way the tablet's script does (`commandOf` in `assets/bench.js`), so that a test can send a form back untouched.

The browser journeys hold the script itself to the same: they send real forms and look at what was recorded.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any


@dataclass
class Field:
    """One input or choice: its name, what stands in it, its attributes, and the rows it stands in."""

    name: str
    value: str
    attributes: dict[str, str | None]
    rows: tuple[str, ...]


@dataclass
class Form(HTMLParser):
    """The fields, rows and lists of one form."""

    html: str
    fields: list[Field] = field(default_factory=list)
    rows: dict[str, dict[str, str | None]] = field(default_factory=dict)
    lists: list[str] = field(default_factory=list)
    command: str = ""

    def __post_init__(self) -> None:
        super().__init__()
        self._stack: list[tuple[str, str]] = []
        self._select: Field | None = None
        self.feed(self.html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "form":
            self.command = str(given.get("data-command"))
        row = given.get("data-row") or ""
        if row:
            self.rows[row] = given
        if given.get("data-list"):
            self.lists.append(str(given["data-list"]))
        inside = tuple(r for _, r in self._stack if r)
        if tag == "input" and given.get("name"):
            if given.get("type") not in ("radio", "checkbox") or "checked" in given:
                self.fields.append(Field(str(given["name"]), given.get("value") or "", given, inside))
        elif tag == "select":
            self._select = Field(str(given["name"]), "", given, inside)
            self.fields.append(self._select)
            self._first = True
        elif tag == "option" and self._select is not None:
            if self._first or "selected" in given:
                self._select.value = given.get("value") or ""
            self._first = False
        if tag not in ("input", "img", "br"):
            self._stack.append((tag, row))

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self._select = None
        if self._stack and self._stack[-1][0] == tag:
            self._stack.pop()

    def put(self, name: str, value: str) -> None:
        """Type into a field; a spare row comes out by itself."""
        found = [f for f in self.fields if f.name == name]
        assert found, f"there is no field {name}"
        for row in found[0].rows:
            self.rows[row].pop("hidden", None)
        found[0].value = value

    def take_out(self, row: str) -> None:
        """The row's own button."""
        assert "data-remove" in self.html
        self.rows[row]["hidden"] = ""

    def order(self) -> tuple[str, dict[str, Any]]:
        """The command and what it says."""
        value_of = {f.name: f for f in self.fields}
        there = [r for r, a in self.rows.items() if "hidden" not in a]

        def filled(row: str) -> bool:
            needs = (self.rows[row].get("data-need") or "").split()
            return not needs or any(f"{row}.{n}" in value_of and value_of[f"{row}.{n}"].value.strip() for n in needs)

        def stem(row: str) -> str:
            return re.sub(r"\.\d+$", "", row)

        sent = [
            r for r in there
            if filled(r) or ("data-rest" in self.rows[r] and any(x != r and stem(x) == stem(r) and filled(x) for x in there))
        ]  # fmt: skip
        number: dict[str, int] = {}
        names: dict[str, str] = {}
        for row in sent:
            names[row] = f"{stem(row)}.{number.get(stem(row), 0)}"
            number[stem(row)] = number.get(stem(row), 0) + 1
        data: dict[str, Any] = {}
        for path in self.lists:
            _put(data, path, [])
        day = value_of.get("day")
        work: list[dict[str, str]] = []
        for f in self.fields:
            if f.name in ("crew", "who", "minutes") or f.name.startswith("own.") or any(r not in sent for r in f.rows):
                continue
            if "data-with-day" in f.attributes and day is not None and day.value != day.attributes.get("data-planned"):
                continue
            said = self._said(f)
            if not said and "data-clears" not in f.attributes:
                continue
            row = next((r for r in sent if f.name.startswith(f"{r}.")), "")
            _put(data, names[row] + f.name[len(row) :] if row else f.name, said)
        for f in self.fields:
            if f.name == "crew":
                own = value_of.get(f"own.{f.value}")
                time = self._said(own) if own is not None and own.value else self._said(value_of["minutes"])
                work.append({"worker": f.value, "time": time or "0 min"})
        if work:
            data["work"] = work
        poured = {g.get("portion") for g in data.get("gives", [])}
        for take in data.get("takes", []):
            if take.get("portion") not in poured:
                take.pop("portion", None)
        amend = data.pop("amend", None)
        if amend:
            return "amend", {
                "origin": amend["origin"],
                "reason": amend.get("reason", ""),
                "command": {"name": self.command, **data},
            }
        return self.command, data

    @staticmethod
    def _said(f: Field) -> str:
        if f.attributes.get("data-exact") and f.value == f.attributes.get("data-planned"):
            return str(f.attributes["data-exact"])
        text, unit = f.value.strip(), f.attributes.get("data-unit")
        return f"{text} {unit}" if unit and text and re.fullmatch(r"[\d.,/\s]+", text) else text


def _put(target: Any, path: str, value: Any) -> None:
    keys = path.split(".")
    for key, following in zip(keys, [*keys[1:], None], strict=True):
        step: Any = int(key) if isinstance(target, list) else key
        if isinstance(target, list):
            target.extend([{}] * 0 if step < len(target) else [None] * (step + 1 - len(target)))
        if following is None:
            target[step] = value
            return
        if (target[step] if isinstance(target, list) else target.get(step)) is None:
            target[step] = [] if following.isdigit() else {}
        target = target[step]
