"""What every command of `slabbook` needs: which ledger, who speaks, and how a refusal is told."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
from rich.console import Console

from ledger.application.ledger import Ledger, Outcome, open_ledger
from ledger.domain.codes import in_capitals
from ledger.errors import BadInput
from ledger.interfaces.commands_in import read_command

DEFAULT_URL = "sqlite:///slabbook.sqlite"


def console(error: bool = False) -> Console:
    """A console that wraps nothing when its output goes to a file."""
    made = Console(stderr=error, highlight=False)
    return made if made.is_terminal else Console(stderr=error, highlight=False, soft_wrap=True, width=_columns())


def _columns() -> int:
    """How wide tables may be where no terminal says: COLUMNS, else 150."""
    told = os.environ.get("COLUMNS", "")
    return max(40, int(told)) if told.isdigit() else 150


@dataclass(slots=True)
class Shop:
    """The ledger a command line speaks to, opened when first needed, and the initials as they were typed."""

    url: str
    site: str
    typed_by: str
    _ledger: Ledger | None = None
    _by: str | None = None

    @property
    def ledger(self) -> Ledger:
        """The ledger, made if it is not there yet."""
        if self._ledger is None:
            self._ledger = open_ledger(as_url(self.url), self.site)
        return self._ledger

    @property
    def by(self) -> str:
        """Who records: `mk` means MK, as in every code."""
        if self._by is None:
            self._by = self.ledger.book().who(self.typed_by) if self.typed_by else ""
        return self._by

    def record(self, name: str, data: dict[str, Any], command_id: str = "") -> Outcome:
        """Read, decide and record one command, and say what came of it."""
        ledger = self.ledger
        command = read_command(name, data, ledger.book(), ledger.today())
        outcome = ledger.do(command, self.by, command_id)
        tell(outcome)
        return outcome


def as_url(text: str) -> str:
    """A database address; a bare file name means an SQLite file."""
    return text if "://" in text else f"sqlite:///{Path(text).as_posix()}"


def tell(outcome: Outcome) -> None:
    """What came of a command, in one line, with every flag below."""
    out = console()
    if not outcome.first:
        out.print("Nothing to do: the ledger says so already.")
        return
    where = f"entry {outcome.first}" if outcome.first == outcome.last else f"entries {outcome.first} to {outcome.last}"
    made = f", made {', '.join(outcome.lots)}" if outcome.lots else ""
    batch = f" (batch {outcome.batch})" if outcome.batch else ""
    again = " It was recorded before under this command id." if outcome.repeated else ""
    out.print(f"Recorded as {where}{batch}{made}.{again}")
    if outcome.also_amended:
        out.print(
            f"{len(outcome.also_amended)} later entries follow from it and were amended too: {', '.join(map(str, outcome.also_amended))}."
        )
    for flag in outcome.flags:
        out.print(f"Flag: {flag}")


class Code(click.ParamType):  # type: ignore[type-arg]
    """An argument that is a code: `lemon` means LEMON. kind: of which book entry (None: of a batch, a lot or a recall)."""

    name = "code"

    def __init__(self, kind: type | None = None) -> None:
        self.kind = kind

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """The code as the ledger writes it."""
        shop = ctx.find_object(Shop) if ctx is not None else None
        if self.kind is None or not value or shop is None:
            return in_capitals(value)  # a code that the ledger gave out
        return shop.ledger.book().meant(self.kind, value)


pass_shop: Callable[[Any], Any] = click.make_pass_decorator(Shop)


def shop_options(function: Any) -> Any:
    """`--ledger`, `--site` and `--by`, with their environment variables."""
    options = (
        click.option("--ledger", "url", default=lambda: os.environ.get("SLABBOOK_LEDGER", DEFAULT_URL), show_default=DEFAULT_URL,
                     help="File or database address of the ledger (or SLABBOOK_LEDGER)."),
        click.option("--site", default=lambda: os.environ.get("SLABBOOK_SITE", "main"), show_default="main", help="Which site (or SLABBOOK_SITE)."),
        click.option("--by", default=lambda: os.environ.get("SLABBOOK_BY", ""), help="Initials of who records (or SLABBOOK_BY)."),
    )  # fmt: skip
    for option in reversed(options):
        function = option(function)
    return function


def read_text(file: Path) -> str:
    """A text file in UTF-8, with or without a byte order mark. Raises BadInput naming the place of what is not."""
    data = file.read_bytes()
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise BadInput(
            f"{file.name} is not UTF-8 text (line {line}); save it again as UTF-8 (in a spreadsheet: CSV UTF-8).",
            file=str(file), line=line,
        ) from error  # fmt: skip


def pairs(values: tuple[str, ...], what: str) -> list[tuple[str, str]]:
    """`NAME=AMOUNT` arguments split at the first `=`; the amount may be missing."""
    found = []
    for value in values:
        name, _, amount = value.partition("=")
        if not name.strip():
            raise click.UsageError(f"`{value}` names nothing; give it as {what}.")
        found.append((name.strip(), amount.strip()))
    return found
