"""What a person typed, as a command: the one reader behind the command line, the forms, CSV files and the API.

A command arrives as a name and a mapping of plain words. Fields of the command dataclass that end in a unit suffix take human
text under the bare name: ``mass_mg`` reads ``mass: "27.5 lb"`` (or ``{"value": "27.5", "unit": "lb"}``), ``end_temperature_mc``
reads ``end_temperature: "310 F"``, ``seconds`` reads ``time: "1 h 20 min"``, money fields read ``"12.50"``. The canonical integer is
taken too, under its full name. A code may be typed in small letters; a new one is kept in capitals. Every problem is reported at once,
each with the field it stands in.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import MISSING, fields
from difflib import get_close_matches
from functools import partial
from typing import Any, get_type_hints

from ledger import quantities
from ledger.domain.batch.commands import Amend
from ledger.domain.batch.steps import MAKES
from ledger.domain.books import additives, entries
from ledger.domain.books.book import Book
from ledger.domain.books.commands import Define
from ledger.domain.codes import check_code, in_capitals
from ledger.domain.decide import COMMANDS
from ledger.domain.parts import ALL, DERIVED, SHARE, WEIGHED, Give, Loss, Take, Work
from ledger.errors import BadInput, SlabbookError

MONEY = {"cost", "amount", "price", "rate"}
"""Fields of money, with every field whose name ends in `_cost`."""
DAYS = {"day", "best_before", "until_day", "from_day", "to_day"}
CODES: dict[str, type] = {
    "material": entries.Material, "flavour": entries.Flavour, "like": entries.Flavour, "feast": entries.Feast, "design": entries.Design,
    "recipe": entries.Recipe, "pack": entries.Pack, "worker": entries.Worker, "station": entries.Station, "supplier": entries.Partner,
    "customer": entries.Partner, "partner": entries.Partner, "channel": entries.Channel,
}  # fmt: skip
"""Fields that name a book entry, and of which kind; `feast` may name several."""
MARKS = {"lot", "lots", "batch", "recall"}
"""Fields that hold a code which the ledger itself gives out."""
_PARTS = {"takes": Take, "gives": Give, "losses": Loss, "work": Work}
SUFFIXES: dict[str, Callable[[str], int]] = {
    "_mg": quantities.mass, "_um": quantities.length, "_mc": quantities.temperature, "_seconds": quantities.duration,
    "_ppm": quantities.share,
}  # fmt: skip
_WORDS = {"seconds": "time", "week_seconds": "week", "day_seconds": "day_length"}


class _Problems(list[dict[str, str]]):
    def take(self, field: str, error: SlabbookError) -> None:
        inner = error.facts.get("problems")
        if inner:
            self.extend(
                {"field": f"{field}.{p['field']}" if field else p["field"], "message": p["message"]} for p in inner
            )
        else:
            self.append({"field": field, "message": error.message})

    def settle(self, what: str) -> None:
        if not self:
            return
        told = "; ".join(f"{p['field']}: {p['message']}" if p["field"] else p["message"] for p in self)
        raise BadInput(f"{what} cannot be read. {told}", problems=list(self))


def read_command(name: str, data: Mapping[str, Any], book: Book, today: str) -> Any:
    """A command dataclass from its name and human input. Raises BadInput listing every problem (`problems`)."""
    data = _mapping(data)
    kind = COMMANDS.get(name)
    if kind is None:
        near = get_close_matches(name, list(COMMANDS), n=3) or sorted(COMMANDS)
        raise BadInput(f"`{name}` is not something to record; known are {', '.join(near)}.", value=name)
    if kind is Amend:
        return _amend(data, book, today)
    if kind is Define:
        return _define(data, book, today)
    values = {"day": today} | {k: v for k, v in data.items() if v is not None and v != ""}
    return _fill(kind, values, book, name)


def _amend(data: Mapping[str, Any], book: Book, today: str) -> Amend:
    problems = _Problems()
    inner = data.get("command")
    command = None
    if not isinstance(inner, Mapping) or "name" not in inner:
        problems.append(
            {"field": "command", "message": "say what the entry should be: the whole command with its `name`"}
        )
    else:
        try:
            command = read_command(str(inner["name"]), {k: v for k, v in inner.items() if k != "name"}, book, today)
        except SlabbookError as error:
            problems.take("command", error)
    origin = _try(problems, "origin", lambda: quantities.count(str(data.get("origin", ""))))
    day = _try(problems, "day", lambda: quantities.day(str(data.get("day") or today)))
    problems.settle("This amendment")
    return Amend(day=day, origin=origin, command=command, reason=_text(data.get("reason", "")))


def _define(data: Mapping[str, Any], book: Book, today: str) -> Define:
    kind = entries.KINDS.get(str(data.get("kind", "")))
    if kind is None:
        raise BadInput(
            f"`{data.get('kind')}` is no kind of book entry; known are {', '.join(entries.KINDS)}.",
            value=data.get("kind"),
        )
    given = data.get("entry")
    if not isinstance(given, Mapping):
        raise BadInput("A book entry needs its fields under `entry`.")
    return Define(day=quantities.day(str(data.get("day") or today)), entry=read_entry(kind, given, book))


def read_entry(kind: type, data: Mapping[str, Any], book: Book) -> Any:
    """One book entry from human input. Fields not given keep what the newest version says, if there is one."""
    typed = _text(data.get("id", ""))
    known = book.find(kind, book.meant(kind, typed))
    id = known.id if known is not None else in_capitals(typed)
    if typed:
        data = {**data, "id": id}
    if typed and known is None:
        problems = _Problems()
        _try(problems, "id", lambda: check_code(id, entries.KIND_OF[kind], "LEMON-2"))
        problems.settle(f"`{entries.KIND_OF[kind]}`")
    base: dict[str, Any] = {f.name: getattr(known, f.name) for f in fields(kind)} if known is not None else {}
    return _fill(kind, data, book, entries.KIND_OF[kind], base)


def _fill(kind: type, data: Mapping[str, Any], book: Book, name: str, base: Mapping[str, Any] | None = None) -> Any:
    problems = _Problems()
    values: dict[str, Any] = dict(base or {})
    used: set[str] = set()
    hints = get_type_hints(kind)
    for field in fields(kind):
        key, raw = _given(field.name, data)
        if key is None:
            continue
        used.update({key, field.name})
        done = _try(problems, key, partial(_value, field.name, raw, hints[field.name], book, name))
        if done is not _FAILED:
            values[field.name] = done
            if field.name == "mass_mg" and "entered" in hints and "entered" not in data:
                values["entered"] = _said(raw)
            if field.name.endswith("_mc") and field.name[:-3] in hints:
                values[field.name[:-3]] = _said(raw)
                used.add(field.name[:-3])
    for key in data:
        if key not in used and key not in hints and key != "name":
            near = get_close_matches(key, [word_of(f.name) for f in fields(kind)], n=1)
            problems.append(
                {"field": key, "message": "there is no such field" + (f"; did you mean `{near[0]}`?" if near else "")}
            )
    for field in fields(kind):
        if field.name not in values and field.default is MISSING and field.default_factory is MISSING:
            if not any(p["field"] in (field.name, word_of(field.name)) for p in problems):
                problems.append({"field": word_of(field.name), "message": "is missing"})
    problems.settle(f"`{name}`")
    return kind(**values)


_FAILED: Any = object()


def _try(problems: _Problems, field: str, read: Callable[[], Any]) -> Any:
    try:
        return read()
    except SlabbookError as error:
        problems.take(field, error)
    except (TypeError, ValueError) as error:
        problems.append({"field": field, "message": str(error)})
    return _FAILED


def word_of(field: str) -> str:
    for suffix in SUFFIXES:
        if field.endswith(suffix) and field not in _WORDS:
            return field[: -len(suffix)]
    return _WORDS.get(field, field)


def _given(field: str, data: Mapping[str, Any]) -> tuple[str | None, Any]:
    for key in (field, word_of(field)):
        if key in data and data[key] is not None:
            return key, data[key]
    return None, None


def _said(raw: Any) -> str:
    if isinstance(raw, Mapping):
        return f"{raw.get('value', '')} {raw.get('unit', '')}".strip()
    return _text(raw) if isinstance(raw, str) else ""


def _text(raw: Any) -> str:
    return unicodedata.normalize("NFC", str(raw)).strip()


def _value(field: str, raw: Any, hint: Any, book: Book, name: str) -> Any:
    if field in _PARTS and isinstance(raw, (list, tuple)):
        return tuple(_part(_PARTS[field], item, book, name, number) for number, item in enumerate(raw))
    suffix = next((s for s in SUFFIXES if field.endswith(s)), "_seconds" if field == "seconds" else "")
    if isinstance(raw, bool) and hint is not bool:
        raise BadInput(f"`{raw}` does not belong here.", value=raw)
    if hint == int | None and isinstance(raw, str) and not raw.strip():
        return None  # made empty again: not stated
    if field == "water_mg" and not isinstance(raw, int):
        return quantities.mass(
            _said(raw), density_g_per_l=1_000
        )  # a litre of water is a kilogram, near enough for a kettle
    if field == "temperature_tolerance_mc" and not isinstance(raw, int):
        return _difference(_said(raw))
    if suffix and not isinstance(raw, int):
        return SUFFIXES[suffix](_said(raw))
    if field in MONEY or field.endswith("_cost"):
        return raw if isinstance(raw, int) else quantities.money(_said(raw), book.site().currency_digits)
    if field in DAYS:
        return quantities.day(_text(raw)) if _text(raw) else ""
    if hint is int or hint == int | None:
        return raw if isinstance(raw, int) else quantities.count(_said(raw))
    if hint is bool:
        return raw if isinstance(raw, bool) else str(raw).lower() in ("1", "true", "yes", "y")
    if field == "e_number":
        return additives.e_number(_text(raw))
    if hint is str:
        return _code(field, _text(raw), book)
    return _list(field, raw, book, name)


def _difference(text: str) -> int:
    """How far apart two temperatures may lie: `5 F` is 2.778 degrees Celsius, not minus fifteen."""
    match = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)\s*°?\s*([CFcf])\s*", text)
    if not match:
        raise BadInput(f"`{text}` is no temperature difference; give `3 C` or `5 F`.", value=text)
    zero = quantities.temperature("0 F") if match[2] in "Ff" else 0
    return quantities.temperature(text) - zero


def _list(field: str, raw: Any, book: Book, name: str) -> Any:
    if isinstance(raw, str):
        raw = [x for x in re.split(r"[,;\s]+", raw.strip()) if x]
    if field == "lines" and name == "recipe":
        return tuple(_fill(entries.RecipeLine, _mapping(x), book, "recipe line") for x in raw)
    if field == "steps" and name == "recipe":
        return tuple(_fill(entries.StepTime, _mapping(x), book, "step time") for x in raw)
    if field in ("open_days", "making_days"):
        return tuple(int(x) for x in raw)
    if isinstance(raw, (list, tuple)):
        return tuple(_code(field, _text(x), book) if isinstance(x, str) else x for x in raw)
    return raw


def _code(field: str, text: str, book: Book) -> str:
    """Text as it stands; a code as it is written (`lemon` is LEMON)."""
    if field in MARKS:
        return in_capitals(text)
    kind = CODES.get(field)
    if kind is None or not text:
        return text
    if field == "feast":
        return re.sub(r"[^,\s]+", lambda one: book.meant(kind, one[0]), text)
    return book.meant(kind, text)


def _mapping(raw: Any) -> Mapping[str, Any]:
    if not isinstance(raw, Mapping):
        raise BadInput(f"`{raw}` should be a group of named fields.", value=str(raw))
    return raw


def _part(kind: type, raw: Any, book: Book, name: str, number: int) -> Any:
    data = dict(_mapping(raw))
    everything = str(data.pop("all", "")).lower() in ("true", "1", "yes")
    has_mass = data.get("mass") not in (None, "") or "mass_mg" in data
    has_count = any(data.get(x) not in (None, "", 0) for x in ("packs", "pieces"))
    data = {k: v for k, v in data.items() if v not in (None, "")}
    try:
        if kind is Take:
            data.setdefault(
                "basis", ALL if everything or not (has_mass or has_count) else WEIGHED if has_mass else SHARE
            )
        elif kind is Give:
            data.setdefault("kind", MAKES.get(name, "mass"))
            data.setdefault("lot", "")
            data.setdefault("basis", WEIGHED if has_mass else DERIVED)
        return _fill(kind, data, book, kind.__name__.lower())
    except BadInput as error:
        inner = error.facts.get("problems") or [{"field": "", "message": error.message}]
        raise BadInput(
            error.message,
            problems=[{"field": f"{number}.{p['field']}".rstrip("."), "message": p["message"]} for p in inner],
        ) from error
