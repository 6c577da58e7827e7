"""Every report over HTTP: its sentence and tables as JSON, or as a file (CSV, XLSX)."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response

from ledger.analytics.compare import shift, week_of
from ledger.application import reports as r
from ledger.application.ledger import Ledger
from ledger.application.reports_types import Report, read_week
from ledger.domain.books.entries import Flavour
from ledger.domain.codes import in_capitals
from ledger.interfaces.exports import to_bytes
from ledger.interfaces.web_api.asked import Asked, Plain, TheLedger
from ledger.interfaces.web_api.problems import BadRequest, NotThere
from ledger.interfaces.web_api.wire import rows, thing

router = APIRouter(tags=["reports"])
TYPES = {"csv": "text/csv; charset=utf-8", "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}
Ask = dict[str, str]
REPORTS: dict[str, tuple[str, Callable[[Ledger, Ask], Report]]] = {
    "week": ("The weekly review of one ISO week: `week`, `known`", lambda at, q: r.week_report(at, q["week"], q["known"] or None)),
    "losses": ("Losses by step and cause: `first_week`, `last_week`, `flavour`, `known`",
               lambda at, q: r.losses_report(at, q["first_week"], q["last_week"], q["known"] or None, q["flavour"])),
    "control": ("Control chart of a flavour: `flavour`, `first_week`, `last_week`, `known`",
                lambda at, q: r.control_report(at, q["flavour"], q["first_week"], q["last_week"], q["known"] or None)),
    "hours": ("Hands by step, worker and flavour: `first_week`, `last_week`, `known`",
              lambda at, q: r.hours_report(at, q["first_week"], q["last_week"], q["known"] or None)),
    "stock": ("What is on the shelf: `known`", lambda at, q: r.stock_report(at, q["known"] or None)),
    "flags": ("What was strange: `first_week`, `last_week`, `known`",
              lambda at, q: r.flags_report(at, q["first_week"] if q["stated"] else "", q["last_week"] if q["stated"] else "", q["known"] or None)),
    "batch": ("Everything of one batch: `batch`, `known`", lambda at, q: r.batch_report(at, q["batch"], q["known"] or None)),
}  # fmt: skip


def make(ledger: Ledger, name: str, ask: Ask) -> Report:
    """A report by name from words as they stand in an address. Weeks left out: this week, or the twelve up to it."""
    if name not in REPORTS:
        raise NotThere(f"There is no report `{name}`; known are {', '.join(REPORTS)}.", kind="report", id=name)
    this = week_of(date.fromisoformat(ledger.today()))
    full = {"batch": "", "flavour": "", "known": "", "week": this} | {k: v for k, v in ask.items() if v}
    full["stated"] = ask.get("first_week", "")
    full.setdefault("last_week", this)
    full.setdefault("first_week", shift(full["last_week"], -11) if read_week(full["last_week"]) else "")
    if full["flavour"]:
        full["flavour"] = ledger.book().meant(Flavour, full["flavour"])
    full["batch"] = in_capitals(full["batch"])
    if name == "control" and not full["flavour"]:
        raise BadRequest("A control chart is of one flavour; name it with `flavour`.")
    return REPORTS[name][1](ledger, full)


def plain(report: Report, asked: Asked) -> Plain:
    """A report as an object: every table with the words over its columns and its rows."""
    return {
        "name": report.name, "title": report.title, "as_of": {"position": report.as_of.position, "recorded_at": report.as_of.recorded_at},
        "sentence": report.sentence, "notes": list(report.notes),
        "tables": {
            key: {
                "title": t.title, "note": t.note, "columns": [thing(c, asked.site) for c in t.columns],
                "rows": rows(t.frame[[c.name for c in t.columns if c.name in t.frame]], asked.site),
            }
            for key, t in report.tables.items()
        },
    }  # fmt: skip


@router.get("/reports", summary="Which reports there are")
def known() -> dict[str, str]:
    """Every report with what it asks for."""
    return {name: words for name, (words, _f) in REPORTS.items()}


@router.get("/reports/{name}", summary="One report, as JSON or as a file")
def report(
    name: str, request: Request, response: Response, ledger: TheLedger, asked: Asked,
    week: Annotated[str, Query(max_length=8, description="ISO week, 2026-W44")] = "", first_week: Annotated[str, Query(max_length=8)] = "",
    last_week: Annotated[str, Query(max_length=8)] = "", flavour: Annotated[str, Query(max_length=64)] = "",
    batch: Annotated[str, Query(max_length=20)] = "", known: Annotated[str, Query(max_length=20, description="As known on this day or at this position")] = "",
    form: Annotated[str, Query(pattern="^(json|csv|xlsx)$")] = "json", table: Annotated[str, Query(max_length=40)] = "",
) -> Any:  # fmt: skip
    """`form=xlsx` holds every table, a sheet each; `form=csv` holds the one named by `table` (left out: the first)."""
    ask = {
        "week": week,
        "first_week": first_week,
        "last_week": last_week,
        "flavour": flavour,
        "batch": batch,
        "known": known,
    }
    made = make(ledger, name, ask)
    if form == "json":
        return plain(made, asked)
    tables = {key: t.frame for key, t in made.tables.items()}
    if table or form == "csv":
        key = table or next(iter(tables), "")
        if key not in tables:
            raise NotThere(
                f"Report `{name}` has no table `{key}`; it has {', '.join(tables) or 'none yet'}.", kind="table", id=key
            )
        tables = {key: tables[key]}
    if not tables:
        raise NotThere(f"{made.sentence} There is no table to write.", kind="table", id="")
    headers = {
        "Content-Disposition": f'attachment; filename="{name}-{made.as_of.position}.{form}"',
        "ETag": response.headers.get("etag", ""),
    }
    return Response(to_bytes(tables, f".{form}"), media_type=TYPES[form], headers=headers)
