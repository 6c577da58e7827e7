"""`python -m docs.generate`: writes the reference pages from the code, so that they cannot tell another story than the program.

Each page is a pure function of what is registered: events, commands, the command line, errors, kept tables. A test fails when a page
is stale, or when something has no words of its own.
"""

from __future__ import annotations

import ast
import importlib
import inspect
import json
import pkgutil
import re
from collections.abc import Callable, Iterator
from dataclasses import MISSING, Field, fields
from itertools import pairwise
from pathlib import Path
from typing import Any, ClassVar, get_origin, get_type_hints

import click
from sqlalchemy import Table

import ledger
from docs.cures import CAUSES, CURES
from ledger.domain import parts, stored_names
from ledger.domain.books import entries
from ledger.domain.decide import COMMANDS
from ledger.domain.samples import SAMPLE_OF
from ledger.errors import SlabbookError
from ledger.interfaces.commands_in import DAYS, MONEY, SUFFIXES, word_of
from ledger.store.codec import encode

REFERENCE = Path(__file__).resolve().parent / "reference"
WRITTEN = "*Reference, written from the code by `python -m docs.generate`; do not edit it by hand."


def told(thing: Any) -> str:
    """A docstring as one paragraph or more, with plain backticks."""
    text = inspect.cleandoc(thing.__doc__ or "")
    return text.replace("``", "`")


def events_page() -> str:
    """Every stored event with its fields and its sample."""
    importlib.import_module("ledger.domain.all_events")
    names = [n for n in stored_names.all_names() if not n.startswith(("test.", "bench."))]
    lines = [
        "# Events", "", f"{WRITTEN} What the ledger file holds: {len(names)} kinds of entry, each under a permanent name. Suffixes say the unit: `_mg` milligrams,",
        "`_um` micrometres, `_mc` thousandths of a degree Celsius, `_ppm` parts per million, `seconds`; `cost`, `money`, `price`, `rate` are minor units.",
        "Days are ISO 8601. The samples are kept as golden files and must stay readable for ever.*", "",
    ]  # fmt: skip
    lines += ["## Parts that events are made of", ""]
    for part in (parts.Take, parts.Give, parts.Loss, parts.Work, parts.Flag):
        lines += [f"### {part.__name__.lower()}", "", told(part), "", *_field_table(part), ""]
    for name in names:
        cls = stored_names.class_of(name)
        lines += [f"## `{name}`", "", told(cls), "", *_field_table(cls), ""]
        sample = json.dumps(json.loads(encode(SAMPLE_OF[name])), ensure_ascii=False, indent=1)
        lines += [
            f"<details><summary>sample, shape {stored_names.version_of(cls)}</summary>",
            "",
            "```json",
            sample,
            "```",
            "",
            "</details>",
            "",
        ]
    return "\n".join(lines)


def _hints(cls: type) -> dict[str, Any]:
    return {n: h for n, h in get_type_hints(cls).items() if get_origin(h) is not ClassVar}


def _type(hint: Any) -> str:
    text = hint.__name__ if isinstance(hint, type) and not getattr(hint, "__args__", None) else str(hint)
    text = re.sub(r"(?:typing|ledger)\.(?:\w+\.)*", "", text)
    return text.replace(", ...", "").replace("tuple[", "list of ").rstrip("]").replace("|", "or").replace("dict[str, Any", "map") if "tuple" in text else (
        text.replace("dict[str, Any]", "map").replace("|", "or").replace("str", "text").replace("int", "whole number").replace("bool", "yes or no")
    )  # fmt: skip


def _default(field: Field[Any]) -> str:
    if field.default is MISSING and field.default_factory is MISSING:
        return "needed"
    value = field.default if field.default is not MISSING else field.default_factory()  # type: ignore[misc]
    return (
        ""
        if value in ("", (), None, 0) and value is not False
        else f"`{str(value).lower() if isinstance(value, bool) else value}`"
    )


def _field_table(cls: type) -> list[str]:
    hints = _hints(cls)
    return ["| field | kind | if left out |", "|---|---|---|"] + [
        f"| `{f.name}` | {_type(hints[f.name])} | {_default(f)} |" for f in fields(cls)
    ]


HUMAN = {
    "_mg": '`"27.5 lb"`, `"12 kg 400 g"`', "_um": '`"8 in"`, `"12.7 mm"`', "_mc": '`"310 F"`, `"154 C"`', "_seconds": '`"1 h 20 min"`', "_ppm": '`"2 %"`, `"0.02"`',
}  # fmt: skip


def _human(field: str, hint: Any) -> str:
    suffix = next((s for s in SUFFIXES if field.endswith(s)), "_seconds" if field == "seconds" else "")
    if field == "temperature_tolerance_mc":
        return 'a difference: `"5 F"`, `"3 C"`'
    if suffix:
        return HUMAN[suffix]
    if field in MONEY or field.endswith("_cost"):
        return '`"12.50"` in the shop\'s currency'
    if field in DAYS:
        return "ISO 8601 day, `2026-10-30`"
    if field in ("takes", "gives", "losses", "work"):
        return f"list of {field.removesuffix('s') if field != 'losses' else 'losses'}, see above"
    text = _type(hint)
    return {"text": "text", "whole number": "whole number", "whole number or None": "whole number"}.get(text, text)


def _given_table(cls: type) -> list[str]:
    hints = _hints(cls)
    rows = ["| field | what it takes | if left out |", "|---|---|---|"]
    for field in fields(cls):
        word = word_of(field.name)
        also = f" (or `{field.name}`, a whole number)" if word != field.name else ""
        rest = "today" if field.name == "day" else _default(field)
        rows.append(f"| `{word}`{also} | {_human(field.name, hints[field.name])} | {rest} |")
    return rows


def commands_page() -> str:
    """Every command with the words the one reader of human input takes."""
    lines = [
        "# Commands", "", f"{WRITTEN} What can be recorded, under the name used by `slabbook record NAME JSON`, by the forms and by the API. Amounts are",
        "taken as people say them; the exact integer is taken too, under its full name. A field that is not known is refused with the nearest one that is.*",
        "", "## Parts that commands are made of", "",
        "A **take** without an amount empties the lot (`\"all\": true` says so too). A **give** without a lot gets the batch's next code; without a mass it",
        "takes what the rest of the step leaves over.", "",
    ]  # fmt: skip
    for part in (parts.Take, parts.Give, parts.Loss, parts.Work):
        lines += [f"### {part.__name__.lower()}", "", told(part), "", *_given_table(part), ""]
    for name, cls in sorted(COMMANDS.items()):
        lines += [f"## `{name}`", "", told(cls), "", *_given_table(cls), ""]
    lines += [
        "## Book entries",
        "",
        'What `define` takes: `{"kind": "material", "entry": {...}}`; also the tables of a book file. What is not given stays as it was.',
        "",
    ]
    for kind, cls in entries.KINDS.items():
        lines += [f"### `{kind}`", "", told(cls), "", *_given_table(cls), ""]
    return "\n".join(lines)


def walk(command: click.Command, path: tuple[str, ...] = ()) -> Iterator[tuple[str, click.Command]]:
    """Every command of the command line with its full name."""
    if isinstance(command, click.Group):
        for name, inner in sorted(command.commands.items()):
            yield from walk(inner, (*path, name))
    else:
        yield " ".join(path), command


def command_line_page() -> str:
    """Every command of `slabbook` with its help."""
    from ledger.interfaces.cli.main import cli

    lines = [
        "# Command line", "", f"{WRITTEN} Exit code 0: done. 2: refused, with the reason, and nothing was written. 1: the ledger or the machine is wrong. 130: stopped.",
        "`slabbook COMMAND --help` says the same in the terminal.*", "", "## `slabbook`", "", "```text", _help(cli, "slabbook"), "```", "",
    ]  # fmt: skip
    for name, command in walk(cli):
        lines += [f"## `slabbook {name}`", "", "```text", _help(command, f"slabbook {name}"), "```", ""]
    return "\n".join(lines)


def _help(command: click.Command, name: str) -> str:
    context = click.Context(
        command, info_name=name, terminal_width=110, max_content_width=110, help_option_names=["-h", "--help"]
    )
    return "\n".join(line.rstrip() for line in command.get_help(context).splitlines())


def all_errors() -> list[type[SlabbookError]]:
    """Every error the program can raise, by code."""
    for module in pkgutil.walk_packages(ledger.__path__, "ledger."):
        importlib.import_module(module.name)
    found: dict[str, type[SlabbookError]] = {}
    waiting: list[type[SlabbookError]] = [SlabbookError]
    while waiting:
        cls = waiting.pop()
        if cls.__module__.startswith("ledger.") and "code" in cls.__dict__:
            found[cls.code] = cls
        waiting += cls.__subclasses__()
    return [found[code] for code in sorted(found)]


def errors_page() -> str:
    """Every permanent error code with cause and cure."""
    lines = [
        "# Errors", "", f"{WRITTEN} Every refusal carries a permanent code, in brackets on the terminal and as `code` in the API. The message itself names",
        "the value, the limit and the way out; this page says what lies behind the code. A refused command writes nothing.*", "",
        "| code | exit | what it means |", "|---|---|---|",
    ]  # fmt: skip
    errors = all_errors()
    for error in errors:
        lines.append(f"| [`{error.code}`](#{_anchor(error.code)}) | {_exit(error)} | {told(error).splitlines()[0]} |")
    for error in errors:
        kind = error.__mro__[1].__name__
        lines += [
            "", f"## `{error.code}`", "", told(error), "", *([f"* **Cause.** {CAUSES[error.code]}"] if error.code in CAUSES else []), f"* **Cure.** {CURES[error.code]}",
            f"* In code: `{error.__module__}.{error.__name__}`, a `{kind}`.",
        ]  # fmt: skip
    return "\n".join([*lines, ""])


def _anchor(code: str) -> str:
    return re.sub(r"[^a-z0-9-]", "", code)


def _exit(error: type[SlabbookError]) -> int:
    from ledger.interfaces.cli.main import exit_code

    return exit_code(error("x"))


def tables_page() -> str:
    """Columns of the event store and of the tables kept from it."""
    from ledger.projections import tables as kept
    from ledger.store import tables as store

    lines = [
        "# Tables", "", f"{WRITTEN} The first three hold what happened and are never changed; the kept tables are written in the same transaction and can be",
        "dropped and rebuilt from the log row for row (`slabbook rebuild`), all but `contacts`. Every primary key leads with the site. A row is believed",
        "from position `known_from` up to, not with, `known_to`. Read them with any SQL tool; write to none.*", "",
    ]  # fmt: skip
    for heading, module in (("The event store", store), ("Kept tables", kept)):
        lines += [f"## {heading}", ""]
        words = _words_below(module)
        for name, table in vars(module).items():
            if isinstance(table, Table):
                lines += [f"### `{table.name}`", "", words[name], "", "| column | type | key |", "|---|---|---|"]
                lines += [
                    f"| `{c.name}` | {c.type.compile()} | {'primary' if c.primary_key else ''} |" for c in table.columns
                ]
                lines.append("")
    return "\n".join(lines)


def _words_below(module: Any) -> dict[str, str]:
    """The string that stands below each assignment of a module."""
    body = ast.parse(inspect.getsource(module)).body
    found = {}
    for one, two in pairwise(body):
        if (
            isinstance(one, ast.Assign)
            and isinstance(two, ast.Expr)
            and isinstance(two.value, ast.Constant)
            and isinstance(one.targets[0], ast.Name)
        ):
            found[one.targets[0].id] = " ".join(str(two.value.value).replace("``", "`").split())
    return found


PAGES: dict[str, Callable[[], str]] = {
    "events.md": events_page, "commands.md": commands_page, "command-line.md": command_line_page, "errors.md": errors_page, "tables.md": tables_page,
}  # fmt: skip


def main() -> None:
    """Write every page."""
    REFERENCE.mkdir(exist_ok=True)
    for name, page in PAGES.items():
        (REFERENCE / name).write_text(page(), encoding="utf-8")
        print(f"wrote docs/reference/{name}")


if __name__ == "__main__":
    main()
