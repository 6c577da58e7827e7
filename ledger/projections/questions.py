"""Every question to the kept tables as a statement: what is selected, and under which conditions it may be narrowed.

`queries.py` asks them. Conditions that let an index serve are worded here and nowhere else.
"""

from __future__ import annotations

from functools import cache
from typing import Any

from sqlalchemy import Integer, Table, and_, bindparam, case, func, literal_column, or_, select

from ledger.domain.world import ALWAYS
from ledger.projections.ask import Question, no_site
from ledger.projections.tables import (
    NOUGHT,
    batches,
    book,
    contacts,
    corrections,
    edges,
    flags,
    holding,
    in_batch,
    lots,
    on_a_lot,
    papers,
    postings,
)
from ledger.store.statements import Statement, among
from ledger.store.tables import commands, events

MEASURES = ("mass_mg", "pieces", "packs", "seconds", "money", "solids_mg", "theory_mg")
LOG_COLUMNS = ("position", "stream", "version", "event_id", "name", "schema_version", "occurred_at", "recorded_at", "recorded_by",
               "command_id", "corrects", "payload")  # fmt: skip
UNSEEN_IN_A_WEEK = ("site", "known_to", "origin", "station", "item")


def at_site(table: Table) -> Any:
    """Rows of the one site."""
    return table.c.site == bindparam("site")


def known(table: Table) -> Any:
    """Rows believed right after the position `known`.

    `known_from + 0` keeps SQLite from walking every row in order of position when it has no statistics: the index of what
    else is asked (a week, a batch) is read instead, so that a report as known costs what one of today does.
    """
    at: Any = bindparam("known")
    return and_(table.c.known_from + NOUGHT <= at, table.c.known_to > at)


def now(table: Table) -> Any:
    """Rows believed now."""
    return table.c.known_to == ALWAYS


def equal(table: Table, *names: str) -> dict[str, Any]:
    """One condition a column: it is as given."""
    return {name: table.c[name] == bindparam(name) for name in names}


def weeks_of(table: Table) -> dict[str, Any]:
    """A range of ISO weeks, both ends included, and the position it is asked as of."""
    week = table.c.week
    return {
        "first_week": week >= bindparam("first_week"),
        "last_week": week <= bindparam("last_week"),
        "known": known(table),
    }


_LINES: dict[str, Any] = weeks_of(postings) | equal(postings, "account", "flavour", "week") | {
    "batch": in_batch(postings, bindparam("batch")),
    "batches": and_(among(postings.c.batch, "batches"), postings.c.batch != literal_column("''")),
    "lot": and_(postings.c.account == bindparam("lot"), on_a_lot()),
    "kinds": among(postings.c.kind, "kinds"),
    "steps": among(postings.c.step, "steps"),
}  # fmt: skip
"""What lines may be narrowed by. Never sorted by the database: asked to sort, SQLite walks the primary key instead of an index."""

POSTINGS = Question(select(*no_site(postings)), at_site(postings), _LINES, {"known": now(postings)})
WEEK_LINES = Question(
    select(*[c for c in postings.columns if c.name not in UNSEEN_IN_A_WEEK]),
    at_site(postings), _LINES, {"known": now(postings)},
)  # fmt: skip


@cache
def balances(by: tuple[str, ...]) -> Question:
    """Sums of all measures grouped by posting columns."""
    keys = [postings.c[name] for name in by]
    sums = [func.sum(postings.c[name]).label(name) for name in MEASURES]
    head = select(*keys, *sums, func.count().label("lines")).group_by(*keys).order_by(*keys)
    return Question(head, at_site(postings), _LINES, {"known": now(postings)})


@cache
def ever_believed(by: tuple[str, ...]) -> Question:
    """Packs of every line ever believed, grouped by posting columns, in no order."""
    keys = [postings.c[name] for name in by]
    head = select(*keys, func.sum(postings.c.packs).label("packs")).group_by(*keys)
    return Question(head, at_site(postings), {"kinds": _LINES["kinds"]})


@cache
def weekly(by: tuple[str, ...]) -> Question:
    """Balances for the weekly review: grouped by columns, by the cause of what was lost, and by direction."""
    t = postings
    account = case((or_(t.c.kind == "scrap", t.c.kind == "unexplained"), t.c.account), else_="").label("account")
    direction = case((t.c.mass_mg < NOUGHT, "out"), else_="in").label("direction")
    keys = [*(t.c[name] for name in by), account, direction]
    sums = [func.sum(t.c[name]).label(name) for name in MEASURES]
    return Question(select(*keys, *sums).group_by(*keys), at_site(t), _LINES, {"known": now(t)})


def _newest_weeks() -> Statement:
    """Weeks with a movement, newest first: one step of the index a week, however many lines a week has."""
    t = postings
    newest = select(func.max(t.c.week).label("week")).where(at_site(t)).cte("newest", recursive=True)
    before = select(func.max(t.c.week)).where(at_site(t), t.c.week < newest.c.week).scalar_subquery()
    found = newest.union_all(select(before).where(newest.c.week.is_not(None)))
    return Statement(
        select(found.c.week).where(found.c.week.is_not(None)).limit(bindparam("most", type_=Integer)), ["site", "most"]
    )


WEEKS = _newest_weeks()

_most = bindparam("most", type_=Integer)
_LOTS: dict[str, Any] = equal(lots, "flavour", "batch", "item") | {
    "holding": holding(),
    "with_packs": and_(holding(), lots.c.packs > NOUGHT),  # packs are something, and of what is held there is an index
    "kinds": among(lots.c.kind, "kinds"),
    "items": among(lots.c.item, "items"),
    "names": among(lots.c.lot, "names"),
}
_in_order = select(*(c for c in no_site(lots) if c is not lots.c.holds)).order_by(
    lots.c.day, lots.c.position, lots.c.lot
)
LOTS = Question(_in_order, at_site(lots), _LOTS)
LOTS_HOLDING = Question(
    _in_order, at_site(lots), _LOTS | {"kinds": among(lots.c.kind.concat(literal_column("''")), "kinds")}
)
"""Few lots hold anything, many are of a kind: the empty text keeps SQLite off the index of kinds."""
LOTS_KNOWN = Question(
    select(
        postings.c.account.label("lot"), func.max(postings.c.kind).label("kind"), func.max(postings.c.item).label("item"),
        func.sum(postings.c.mass_mg).label("mass_mg"), func.sum(postings.c.pieces).label("pieces"),
        func.sum(postings.c.packs).label("packs"), func.sum(postings.c.money).label("cost"),
    ).where(on_a_lot()).group_by(postings.c.account),
    at_site(postings), {"known": known(postings)},
)  # fmt: skip

_BATCHES: dict[str, Any] = equal(batches, "status", "flavour") | {
    "first_day": batches.c.day >= bindparam("first_day"),
    "last_day": batches.c.day <= bindparam("last_day"),
    "names": among(batches.c.batch, "names"),
}
BATCHES = Question(
    select(*no_site(batches)).order_by(batches.c.day.desc(), batches.c.position.desc()).limit(_most),
    at_site(batches), _BATCHES, takes=["most"],
)  # fmt: skip
BATCHES_NAMED = Question(select(*no_site(batches)), at_site(batches), _BATCHES)
"""In no order: asked for one, SQLite walks every batch by day to find a few by name."""

FLAGS = Question(
    select(*no_site(flags)).order_by(flags.c.day, flags.c.known_from, flags.c.line),
    at_site(flags), weeks_of(flags) | {"open_only": flags.c.answered == NOUGHT}, {"known": now(flags)},
)  # fmt: skip
EDGES = Question(select(*no_site(edges)), at_site(edges), {"known": known(edges)}, {"known": now(edges)})
BOOK_HISTORY = Question(
    select(*no_site(book)).order_by(book.c.kind, book.c.id, book.c.version), at_site(book), equal(book, "kind", "id")
)
CONTACTS = Question(
    select(*[contacts.c[n] for n in ("kind", "id", "name", "address", "phone")]).order_by(contacts.c.kind, contacts.c.id),
    at_site(contacts), equal(contacts, "kind"),
)  # fmt: skip
CORRECTIONS = Question(
    select(corrections.c.origin, corrections.c.position, corrections.c.voided), at_site(corrections), {}
)

_LOG: dict[str, Any] = equal(events, "stream", "name") | {
    "after": events.c.position > bindparam("after"),
    "before": events.c.position < bindparam("before"),
    "positions": among(events.c.position, "positions"),
    "streams": among(events.c.stream, "streams"),
    "text": events.c.payload.like(bindparam("text"), escape="/") | events.c.stream.like(bindparam("text"), escape="/"),
}
_entries = select(*[events.c[n] for n in LOG_COLUMNS]).limit(_most)
LOG = Question(_entries.order_by(events.c.position), at_site(events), _LOG, takes=["most"])
LOG_NEWEST_FIRST = Question(_entries.order_by(events.c.position.desc()), at_site(events), _LOG, takes=["most"])
LOG_OF_STREAMS = Question(select(*[events.c[n] for n in LOG_COLUMNS]), at_site(events), _LOG)
"""In no order: asked for one, SQLite walks every entry to find those of a stream."""
ENTRY = Question(
    select(events.c.name, events.c.schema_version, events.c.payload), at_site(events), equal(events, "position")
)
ANSWERED = Question(
    select(commands.c.first_position, commands.c.last_position), at_site(commands), equal(commands, "command_id")
)
PAPERS = Question(
    select(events.c.position, events.c.name, events.c.schema_version, events.c.payload, events.c.stream, corrections.c.position.label("corrected"))
    .select_from(
        papers.join(events, and_(papers.c.site == events.c.site, papers.c.position == events.c.position))
        .outerjoin(corrections, and_(papers.c.site == corrections.c.site, papers.c.position == corrections.c.origin))
    )
    .order_by(papers.c.position),
    at_site(papers), equal(papers, "kind", "id"),
)  # fmt: skip


def holding_text(text: str) -> str:
    """A pattern that finds a text as it stands, `%` and `_` in it too."""
    return "%" + text.replace("/", "//").replace("%", "/%").replace("_", "/_") + "%"


__all__ = [
    "ANSWERED", "BATCHES", "BATCHES_NAMED", "BOOK_HISTORY", "CONTACTS", "CORRECTIONS", "EDGES", "ENTRY", "FLAGS", "LOG", "LOG_NEWEST_FIRST", "LOG_OF_STREAMS",
    "LOTS", "LOTS_HOLDING", "LOTS_KNOWN", "MEASURES", "PAPERS", "POSTINGS", "WEEKS", "WEEK_LINES", "balances", "ever_believed", "holding_text", "weekly",
]  # fmt: skip
