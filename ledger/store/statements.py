"""SQL written once in SQLAlchemy Core, compiled once per database, run as driver SQL with plain tuples.

Building and compiling a Core statement at every call costs several times the call itself (and the upserts opt out of
SQLAlchemy's own cache), so the hot path compiles ahead.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from operator import itemgetter
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Insert, Table, Text, bindparam, insert
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.dialects.postgresql import psycopg as psycopg_dialect
from sqlalchemy.engine.interfaces import Dialect
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.schema import DDLElement
from sqlalchemy.sql.compiler import SQLCompiler
from sqlalchemy.sql.elements import ClauseElement

Params = Sequence[Any]
Row = tuple[Any, ...]

SQLITE = "sqlite"
POSTGRESQL = "postgresql"

_dialects: dict[str, Dialect] = {
    SQLITE: sqlite.dialect(paramstyle="qmark"),
    POSTGRESQL: psycopg_dialect.dialect(paramstyle="numeric_dollar"),  # type: ignore[no-untyped-call]
}


class DriverSql(NamedTuple):
    """A statement as one driver wants it. ``arrange`` puts the caller's tuple in the driver's order; None: it is
    already.
    """

    sql: str
    arrange: Callable[[Params], Row] | None
    columns: tuple[str, ...]


class Statement:
    """A Core statement that is compiled once for each database it meets.

    ``core`` is a Core statement, or a function from the dialect's name (``sqlite``, ``postgresql``) to one.
    ``params`` names the values in the order callers will give them; left out, it is the order in which each named
    parameter first appears (for an insert: the order of the table's columns). Literals inside the statement stay there.
    """

    __slots__ = ("_build", "_compiled", "_params", "copy_sql", "copy_types")

    def __init__(
        self, core: ClauseElement | Callable[[str], ClauseElement], params: Sequence[str] | None = None
    ) -> None:
        self._build: Callable[[str], ClauseElement] = core if callable(core) else (lambda _dialect: core)
        self._params = None if params is None else tuple(params)
        self._compiled: dict[str, DriverSql] = {}
        self.copy_sql: str | None = None
        """For a plain insert: PostgreSQL's COPY that does the same in bulk, rows in the caller's order."""
        self.copy_types: list[str] = []
        """PostgreSQL's names of the types of that COPY's columns. Told them, the driver need not look at every value: a third of the time."""

    def on(self, dialect: str) -> DriverSql:
        """The statement for ``sqlite`` or ``postgresql``."""
        compiled = self._compiled.get(dialect)
        if compiled is None:
            compiled = self._compiled[dialect] = compile_for(dialect, self._build(dialect), self._params)
        return compiled

    def arranged(self, dialect: str, params: Params) -> tuple[str, Params]:
        """SQL and parameters ready for the driver."""
        compiled = self._compiled.get(dialect) or self.on(dialect)
        return compiled.sql, params if compiled.arrange is None else compiled.arrange(params)


def compile_for(dialect: str, core: ClauseElement, params: Sequence[str] | None = None) -> DriverSql:
    """Compile one Core statement; raises ValueError if ``params`` does not name exactly what the statement needs."""
    compiled = core.compile(dialect=_dialects[dialect], compile_kwargs={"render_postcompile": True})
    assert isinstance(compiled, SQLCompiler)
    places: list[str] = list(compiled.positiontup or ())
    required = {
        name for name, bind in compiled.binds.items() if name in places and (bind.required or bind.value is None)
    }
    order = tuple(dict.fromkeys(name for name in places if name in required)) if params is None else tuple(params)
    if set(order) != required:
        raise ValueError(f"the statement takes {sorted(required)}, not {sorted(order)}: {compiled}")
    columns = tuple(entry.keyname for entry in compiled._result_columns)
    literals = {name: value for name, value in compiled.params.items() if name not in required}
    return DriverSql(str(compiled), _arranger(places, order, literals), columns)


def _arranger(places: list[str], order: tuple[str, ...], literals: dict[str, Any]) -> Callable[[Params], Row] | None:
    if tuple(places) == order:
        return None
    fixed = tuple(dict.fromkeys(name for name in places if name in literals))
    values = tuple(literals[name] for name in fixed)
    index = {name: at for at, name in enumerate(order + fixed)}
    take = [index[name] for name in places]
    if len(take) == 1:
        only = take[0]
        return lambda params: ((*params, *values)[only],)
    pick = itemgetter(*take)
    return lambda params: pick((*params, *values))


def definition(dialect: str, made: DDLElement) -> str:
    """The text of a CREATE or DROP for one database."""
    return str(made.compile(dialect=_dialects[dialect]))


def insert_into(table: Table, columns: Sequence[str] | None = None) -> Statement:
    """Insert rows given as tuples in the order of ``columns`` (left out: of the table)."""
    names = [column.name for column in table.columns] if columns is None else list(columns)
    statement = Statement(insert(table).inline().values({name: bindparam(name) for name in names}), names)
    statement.copy_sql = f"COPY {table.name} ({', '.join(names)}) FROM STDIN"
    statement.copy_types = [table.c[name].type.compile(_dialects[POSTGRESQL]).lower() for name in names]
    return statement


def upsert(
    table: Table, *, add: Sequence[str] = (), replace: Sequence[str] | None = None, keep: bool = False
) -> Statement:
    """Insert rows given as tuples in the order of the table's columns; where the primary key is there already:

    the columns in ``add`` grow by the new value, those in ``replace`` take it (left out: every column that is neither
    in
    the key nor in ``add``), all others stay. ``keep=True`` leaves an existing row as it is.
    """
    names = [column.name for column in table.columns]
    keys = [column.name for column in table.primary_key.columns]
    taken = [name for name in names if name not in keys and name not in add] if replace is None else list(replace)

    def build(dialect: str) -> Insert:
        new = (sqlite if dialect == SQLITE else postgresql).insert(table).inline()
        new = new.values({name: bindparam(name) for name in names})
        changes: dict[str, ColumnElement[Any]] = {name: table.c[name] + new.excluded[name] for name in add}
        changes |= {name: new.excluded[name] for name in taken}
        if keep or not changes:
            made: Insert = new.on_conflict_do_nothing(index_elements=keys)
        else:
            made = new.on_conflict_do_update(index_elements=keys, set_=changes)
        return made

    return Statement(build, names)


class among(ColumnElement[bool]):
    """``column`` is one of a list that arrives as one JSON array text: ``among(t.c.lot, "lots")``, then
    ``json_list(lots)``.

    An ordinary IN would need other SQL for every length of the list. For text and whole-number columns.
    """

    inherit_cache = False

    def __init__(self, column: ColumnElement[Any], name: str) -> None:
        self.column = column
        self.list = bindparam(name, type_=Text(), required=True)


@compiles(among, "sqlite")
def _among_sqlite(element: among, compiler: SQLCompiler, **kw: Any) -> str:
    column, values = compiler.process(element.column, **kw), compiler.process(element.list, **kw)
    return f"{column} IN (SELECT value FROM json_each({values}))"


@compiles(among, "postgresql")
def _among_postgresql(element: among, compiler: SQLCompiler, **kw: Any) -> str:
    column, values = compiler.process(element.column, **kw), compiler.process(element.list, **kw)
    kind = element.column.type.compile(compiler.dialect)
    return f"{column} = ANY (ARRAY(SELECT CAST(jsonb_array_elements_text(CAST({values} AS JSONB)) AS {kind})))"
