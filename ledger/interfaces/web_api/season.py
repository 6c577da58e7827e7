"""The season over HTTP: forecast, plan and order list, as JSON or as files."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Response

from ledger.application import season_adopt, season_plan
from ledger.application.reports_types import Report
from ledger.application.season_buy import buy_report
from ledger.application.season_forecast import make_forecast
from ledger.application.season_forecast_report import forecast_report
from ledger.application.season_jobs import desk_of
from ledger.application.season_report import plan_report
from ledger.application.season_settings import settings_for
from ledger.domain.books.entries import Flavour
from ledger.interfaces.exports import to_bytes
from ledger.interfaces.web_api.asked import Asked, TheLedger
from ledger.interfaces.web_api.problems import NotThere
from ledger.interfaces.web_api.reports import TYPES, plain

router = APIRouter(prefix="/season", tags=["season"])
Form = Annotated[str, Query(pattern="^(json|csv|xlsx)$")]


@router.get("/forecast", summary="What will sell, in packs, with bands")
def forecast(
    ledger: TheLedger, asked: Asked, horizon: Annotated[int, Query(ge=1, le=60)] = 13, flavour: Annotated[str, Query(max_length=64)] = "",
    form: Form = "json", table: Annotated[str, Query(max_length=40)] = "",
) -> Any:  # fmt: skip
    """Weekly means and quantiles of every flavour and channel, their sums, which model made them and why."""
    flavour = ledger.book().meant(Flavour, flavour)
    return _answer(forecast_report(make_forecast(ledger, horizon), flavour, every=True), asked, form, table)


@router.get("/plan", summary="The plan: lines, weeks, shortages, words")
def plan(
    ledger: TheLedger, asked: Asked, make: Annotated[str, Query(pattern="^(|quick|normal)$", description="Plan anew with this effort")] = "",
    weeks: Annotated[int, Query(ge=1, le=52)] = 26, form: Form = "json", table: Annotated[str, Query(max_length=40)] = "",
) -> Any:  # fmt: skip
    """The plan on the desk of the Season page; `make=quick` makes one anew (some seconds), and nothing is kept. Else the adopted plan's lines."""
    on_desk = desk_of(ledger).base
    if make:
        return _answer(
            plan_report(season_plan.make(ledger, settings_for(ledger, weeks=weeks), make)), asked, form, table
        )
    if on_desk is not None:
        return _answer(plan_report(on_desk), asked, form, table)
    paper = season_adopt.adopted(ledger)
    check = season_adopt.recheck(paper)
    return {
        "plan": paper.plan, "day": paper.day, "as_of": paper.as_of, "frozen_until": paper.frozen_until, "cost": paper.cost, "bound": paper.bound,
        "method": paper.method, "lines": list(paper.lines), "words": paper.settings.get("words", []), "agrees": check.agrees,
    }  # fmt: skip


@router.get("/buy", summary="What to order and by when for the plan")
def buy(
    ledger: TheLedger, asked: Asked, form: Form = "json", cover: Annotated[int, Query(ge=1, le=26)] = 4,
    table: Annotated[str, Query(max_length=40)] = "",
) -> Any:  # fmt: skip
    """For the plan on the desk of the Season page, else for the adopted one."""
    on_desk = desk_of(ledger).base
    if on_desk is not None:
        return _answer(
            buy_report(ledger, on_desk.plan, on_desk.problem, on_desk.asked.made_of, cover), asked, form, table
        )
    return _answer(buy_report(ledger, cover_weeks=cover), asked, form, table)


def _answer(report: Report, asked: Any, form: str, table: str) -> Any:
    if form == "json":
        return plain(report, asked)
    tables = {key: t.frame for key, t in report.tables.items()}
    if table or form == "csv":
        key = table or next(iter(tables))
        if key not in tables:
            raise NotThere(f"There is no table `{key}`; there are {', '.join(tables)}.", kind="table", id=key)
        tables = {key: tables[key]}
    headers = {"Content-Disposition": f'attachment; filename="{report.name}-{report.as_of.position}.{form}"'}
    return Response(to_bytes(tables, f".{form}"), media_type=TYPES[form], headers=headers)
