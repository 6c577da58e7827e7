"""One table of a report fitted to a terminal: heads are broken at words, words get room, and what is too wide goes into a second block.

Pure layout: it knows widths and text, no figures. `report_text` fills it.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rich.console import Console, ConsoleOptions, RenderResult
from rich.table import Table as RichTable
from rich.text import Text

from ledger.application.reports_types import Column, Table

WORDS = ("text", "day", "flavour", "design", "item", "channel", "yes")
"""Kinds of column that hold words and stand to the left; all others are figures and stand to the right."""
GAP = 2
ROOM_FOR_WORDS = 16
"""A column of words is never squeezed below this (or below its longest cell, if that is shorter)."""


@dataclass(frozen=True, slots=True)
class TerminalTable:
    """A table and its text: the heads first (`title\\nunit`), then every row, the total last where there is one."""

    table: Table
    texts: Sequence[Sequence[str]]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """As many blocks as the width asks for; each repeats the columns that name its rows."""
        blocks = layout(self.table.columns, self.texts, options.max_width)
        for number, block in enumerate(blocks):
            if number:
                yield Text()
            yield self._block(block, first=not number)
        if self.table.note:  # in the whole width: a caption is cut at the table's
            yield Text(self.table.note, style="table.caption")

    def _block(self, block: dict[int, int], *, first: bool) -> RichTable:
        table = self.table
        made = RichTable(title=table.title if first else f"{table.title} (more columns)", title_justify="left", title_style="bold", header_style="dim",
                         box=None, pad_edge=False, padding=(0, GAP, 0, 0))  # fmt: skip
        for number, width in block.items():
            words = table.columns[number].kind in WORDS
            made.add_column(
                Text(_broken(self.texts[0][number], width)),
                justify="left" if words else "right",
                width=width,
                overflow="fold",
            )
        rows = self.texts[1:]
        bottom = len(rows) - 1 if table.total is not None and rows else -1
        for number, row in enumerate(rows):
            if number == bottom:
                made.add_section()
            made.add_row(*(Text(row[c]) for c in block), style="bold" if number == bottom else None)
        return made


def layout(columns: Sequence[Column], texts: Sequence[Sequence[str]], width: int) -> list[dict[int, int]]:
    """Which columns stand in which block, each with its width.

    columns, texts: as of `TerminalTable`. width: columns of the terminal. A block never passes it, unless one figure beside
    the names of its rows does.
    """
    every = range(len(columns))
    least = {c: _least(columns[c], [row[c] for row in texts]) for c in every}
    wished = {c: max(least[c], _longest([row[c] for row in texts])) for c in every}
    if _sum(least.values()) <= width:
        return [_widened(least, wished, columns, width)]
    lead = _lead(columns)
    while len(lead) > 1 and _sum(least[c] for c in lead) > width // 2:
        lead.pop()
    blocks: list[list[int]] = [list(lead)]
    for column in (c for c in every if c not in lead):
        if len(blocks[-1]) > len(lead) and _sum(least[c] for c in [*blocks[-1], column]) > width:
            blocks.append(list(lead))
        blocks[-1].append(column)
    return [_widened({c: least[c] for c in block}, wished, columns, width) for block in blocks]


def _lead(columns: Sequence[Column]) -> list[int]:
    found = []
    for number, column in enumerate(columns):
        if column.kind not in WORDS:
            break
        found.append(number)
    return found or [0]


def _least(column: Column, texts: Sequence[str]) -> int:
    head_word = max((len(word) for word in texts[0].split()), default=1)
    if column.kind not in WORDS:
        return max(head_word, _longest(texts[1:]))
    longest = _longest(texts)
    word = max((len(word) for text in texts for word in text.split()), default=1)
    return max(1, min(longest, max(ROOM_FOR_WORDS, min(word, 2 * ROOM_FOR_WORDS))))


def _longest(texts: Sequence[str]) -> int:
    return max((len(line) for text in texts for line in text.splitlines()), default=1)


def _sum(widths: Iterable[int]) -> int:
    found = list(widths)
    return sum(found) + GAP * max(0, len(found) - 1)


def _widened(block: dict[int, int], wished: dict[int, int], columns: Sequence[Column], width: int) -> dict[int, int]:
    """What is left of the width goes to words first, then to the heads of figures."""
    done = dict(block)
    room = width - _sum(done.values())
    for number in sorted(done, key=lambda c: (columns[c].kind not in WORDS, c)):
        more = max(0, min(room, wished[number] - done[number]))
        done[number] += more
        room -= more
    return done


def _broken(head: str, width: int) -> str:
    title, _, unit = head.partition("\n")
    lines = textwrap.wrap(title, width, break_long_words=False, break_on_hyphens=False) or [title]
    return "\n".join([*lines, unit] if unit else lines)
