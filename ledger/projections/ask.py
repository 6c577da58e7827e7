"""Selects that are put into words once for each shape of the question, then asked again and again with other values.

Building and compiling a select costs more than most answers (about 2 ms against 0.1 ms), and a page asks a dozen. So a
question names the conditions it may be asked under, each with a bind parameter of the condition's own name; those that
are given choose the statement, which is compiled once per database, and their values go along as they are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import msgspec
from sqlalchemy import ColumnElement, Select, Table

from ledger.store.statements import Params, Statement

Value = str | int | Sequence[str] | Sequence[int] | None


class Question:
    """A select that may be narrowed by named conditions.

    head: columns, joins, groups and order. site: the condition that keeps sites apart. given: name -> condition, which holds a
    bind parameter of that name (`among(column, name)` for a list), or none (then it is asked for with True). lacking: name -> the
    condition that holds where nothing is given. takes: names of bind parameters in the head itself.
    """

    __slots__ = ("_given", "_head", "_lacking", "_made", "_site", "_takes")

    def __init__(
        self, head: Select[Any], site: ColumnElement[bool], given: Mapping[str, ColumnElement[bool]],
        lacking: Mapping[str, ColumnElement[bool]] | None = None, takes: Sequence[str] = (),
    ) -> None:  # fmt: skip
        self._head, self._site, self._given, self._lacking, self._takes = head, site, given, lacking or {}, tuple(takes)
        self._made: dict[tuple[str, ...], Statement] = {}

    def asked(self, site: str, **values: Value) -> tuple[Statement, Params]:
        """The statement for what is given (None, False: not) and its values in order. Raises KeyError for no such condition."""
        named = tuple(name for name, value in values.items() if value is not None and value is not False)
        statement = self._made.get(named)
        if statement is None:
            valued = [name for name in named if values[name] is not True]
            chosen = [self._given[name] for name in named if name not in self._takes]
            chosen += [condition for name, condition in self._lacking.items() if name not in named]
            statement = self._made[named] = Statement(self._head.where(self._site, *chosen), ["site", *valued])
        return statement, (site, *(as_bound(values[name]) for name in named if values[name] is not True))


def as_bound(value: Value) -> str | int | None:
    """A value as the driver takes it: a list becomes the JSON text that `among` reads."""
    if value is None or isinstance(value, str | int):
        return value
    return msgspec.json.encode(list(value)).decode()


def no_site(table: Table) -> list[ColumnElement[Any]]:
    """Every column of a table but the site."""
    return [c for c in table.columns if c.name != "site"]


__all__ = ["Question", "as_bound", "no_site"]
