"""`slabbook season ...`: what will sell, what the shop can make, when to start, and what to buy."""

from __future__ import annotations

import signal
import threading
import time
from typing import Any

import click

from ledger.application import season_adopt, season_facts, season_forecast, season_plan, season_words
from ledger.application.reports_types import read_week, read_weeks
from ledger.application.season_backtest import backtest_report
from ledger.application.season_beside import beside
from ledger.application.season_buy import buy_report
from ledger.application.season_compare import compare_report
from ledger.application.season_forecast_report import forecast_report
from ledger.application.season_months import months_report
from ledger.application.season_report import plan_report
from ledger.application.season_settings import EFFORTS, PlanSettings, settings_for
from ledger.domain.books.entries import Channel, Flavour
from ledger.errors import BadInput, LedgerDamaged
from ledger.interfaces.cli.context import Code, Shop, console, pass_shop, tell
from ledger.interfaces.cli.read import KNOWN, _known, show, with_forms
from ledger.planning import Progress


@click.group("season")
def season() -> None:
    """The season ahead: forecast, plan, order list, and the facts they stand on."""


@season.command("forecast")
@click.option("--flavour", type=Code(Flavour), default="", help="One flavour, week by week and by channel.")
@click.option("--horizon", default=13, show_default=True, help="Weeks ahead, 1 to 60.")
@click.option("--issue", is_flag=True, help="Keep it as an entry, so that it can be scored as it was made.")
@KNOWN
@with_forms
@pass_shop
def forecast(shop: Shop, flavour: str, horizon: int, issue: bool, known: str | None, **form: Any) -> None:
    """What will sell from this week on, in packs, with bands."""
    made = season_forecast.make_forecast(shop.ledger, horizon, _known(known))
    every = bool(form["as_json"] or form["as_csv"] or form["file"])
    show(forecast_report(made, flavour, every), **form)
    if issue:
        name, outcome = season_forecast.issue(shop.ledger, made, shop.by)
        console(error=True).print(f"Issued as {name}.")
        if not every:
            tell(outcome)


@season.command("months")
@click.argument("totals", type=click.File(encoding="utf-8-sig"))
@click.option("--horizon", default=12, show_default=True, help="Months (or quarters) ahead, 1 to 24.")
@with_forms
def months(totals: Any, horizon: int, **form: Any) -> None:
    """What will sell from monthly totals alone, before the ledger has weeks of sales: columns month (2024-03), packs, and flavour, channel if known.

    Nothing is recorded; the ledger is not asked. A column quarter (2024-Q1) in place of month is read as quarters.
    """
    show(months_report(totals.read(), horizon, str(totals.name)), **form)


@season.command("override")
@click.argument("first_week")
@click.argument("last_week", required=False)
@click.option("--flavour", type=Code(Flavour), default="", help="Which flavour (all of them if left out).")
@click.option("--channel", type=Code(Channel), default="", help="Which channel (all if left out).")
@click.option(
    "--packs", required=True, type=int, help="Packs you expect over these weeks together, beside bulk orders."
)
@click.option("--reason", required=True, help="Why you know better; next year somebody will ask.")
@click.option(
    "--forecast", "forecast_id", default="", help="The issued forecast it stands beside (the newest if left out)."
)
@pass_shop
def override(
    shop: Shop,
    first_week: str,
    last_week: str | None,
    flavour: str,
    channel: str,
    packs: int,
    reason: str,
    forecast_id: str,
) -> None:
    """Your own figure for some weeks, kept beside what the model said."""
    first, last = read_weeks(read_week(first_week), read_week(last_week or first_week))
    said, outcome = season_forecast.override(
        shop.ledger, flavour, first, last, packs, reason, channel, shop.by, forecast_id
    )
    console().print(
        f"The model said {said} packs, you say {packs}. {season_forecast.on_top(shop.ledger, flavour, channel, first, last)}".rstrip()
    )
    tell(outcome)


def plan_options(function: Any) -> Any:
    """How long, how hard and on which assumptions to plan; the book's planning entry says the rest."""
    book = "(the book's figure if left out)"
    options = (
        click.option("--weeks", default=26, show_default=True, help="Weeks planned, 1 to 52."),
        click.option("--effort", type=click.Choice(sorted(EFFORTS)), default="normal", show_default=True),
        click.option("--making", "making_percent", type=int, help=f"Share of the workers' hours free for making, in % {book}."),
        click.option("--helper-shifts", type=int, help=f"Most helper shifts a week {book}."),
        click.option("--overtime", "overtime_minutes_a_day", type=int, help=f"Most minutes of overtime a person and day {book}."),
        click.option("--store-kg", type=int, help=f"Room for packed candy, 0: never full {book}."),
        click.option("--service", "service_percent", type=int, help=f"Share of weeks an everyday flavour should last, in % {book}."),
    )  # fmt: skip
    for option in reversed(options):
        function = option(function)
    return function


@season.command("plan")
@plan_options
@click.option("--adopt", is_flag=True, help="Make it the plan: kept as an entry with its lines, cost and bound.")
@with_forms
@pass_shop
def plan(
    shop: Shop, effort: str, adopt: bool, as_json: bool, as_csv: bool, only: str, file: Any, **settings: int | None
) -> None:
    """What to make when, what will be missing and why (Ctrl-C stops and keeps the best so far)."""
    made = _planned(shop, settings_for(shop.ledger, **settings), effort)
    show(plan_report(made, beside(made)), as_json, as_csv, only, file)
    if adopt:
        name, outcome = season_adopt.adopt(shop.ledger, made, shop.by)
        console(error=True).print(f"Adopted as {name}.")
        if not (as_json or as_csv):
            tell(outcome)


def _planned(shop: Shop, settings: PlanSettings, effort: str) -> season_plan.PlanMade:
    """Make a plan with its stages told on the error stream; Ctrl-C stops it at the best so far."""
    out, money = console(error=True), season_words.money_of(shop.ledger.book().site())
    stop, began = threading.Event(), time.monotonic()
    before = (
        signal.signal(signal.SIGINT, lambda *_: stop.set())
        if threading.current_thread() is threading.main_thread()
        else None
    )
    try:
        with out.status("Planning") as status:

            def told(at: Progress) -> str | None:
                best = season_words.best(at, money)
                said = "Stopping, with the best so far" if stop.is_set() else season_words.stage(at)
                status.update(f"{said}; {f'{best}; ' if best else ''}{time.monotonic() - began:.0f} s so far")
                return "stop" if stop.is_set() else None

            return season_plan.make(shop.ledger, settings, effort, told)
    finally:
        if before is not None:
            signal.signal(signal.SIGINT, before)


@season.command("check")
@click.argument("plan_id", required=False)
@pass_shop
def check(shop: Shop, plan_id: str | None) -> None:
    """Recompute cost, room and stock of an adopted plan from its lines; nothing is solved."""
    paper = season_adopt.adopted(shop.ledger, plan_id or "")
    found = season_adopt.recheck(paper)
    for wrong in found.wrong:
        console().print(wrong, markup=False)
    console().print(
        f"Plan {paper.plan}: {'its lines, cost and stock agree.' if found.agrees else 'does not agree with itself.'}"
    )
    if not found.agrees:
        raise LedgerDamaged(f"Plan {paper.plan} does not agree with itself.", plan=paper.plan)


@season.command("lines")
@click.argument("plan_id", required=False)
@pass_shop
def lines(shop: Shop, plan_id: str | None) -> None:
    """Every planned batch of the adopted plan, and the batch opened for it."""
    for row in season_adopt.line_states(shop.ledger, season_adopt.adopted(shop.ledger, plan_id or "")):
        day = f"day {row['day']}" if row["day"] else "no day"
        click.echo(f"{row['label']}  {day:7}  {row['plan_line']:36}  {row['batch'] or 'not opened'}")


@season.command("open")
@click.argument("plan_line", required=False)
@pass_shop
def open_(shop: Shop, plan_line: str | None) -> None:
    """Open a planned batch as a batch (the next one if none is named); its sheet comes from `slabbook sheet`."""
    tell(season_adopt.open_line(shop.ledger, plan_line or season_adopt.next_line(shop.ledger)["plan_line"], shop.by))


@season.command("backtest")
@click.option("--origins", default=13, show_default=True, help="Forecasts replayed, spread over the last year.")
@click.option("--horizon", default=13, show_default=True, help="Weeks ahead of each.")
@with_forms
@pass_shop
def backtest(shop: Shop, origins: int, horizon: int, **form: Any) -> None:
    """How wrong the forecast has been, replayed on the ledger as it was known then, against the same week a year before."""
    show(backtest_report(shop.ledger, origins, horizon), **form)


@season.command("compare")
@click.argument("plan_id", required=False)
@click.option("--through", default="", help="Last week compared (the last full one if left out).")
@with_forms
@pass_shop
def compare(shop: Shop, plan_id: str | None, through: str, **form: Any) -> None:
    """Planned against made against sold, and where the difference came from, to the gram."""
    show(compare_report(shop.ledger, plan_id or "", through), **form)


@season.command("buy")
@click.option("--cover", default=4, show_default=True, help="Weeks one order covers.")
@with_forms
@pass_shop
def buy(shop: Shop, cover: int, **form: Any) -> None:
    """What to order and by when for the adopted plan."""
    show(buy_report(shop.ledger, cover_weeks=cover), **form)


@season.group("note", invoke_without_command=False)
def note() -> None:
    """Facts beside the sales: run-outs, promotions, closures, bulk orders, shows."""


def _noted(kind: str, told: str, *names: str) -> click.Command:
    @click.command(kind, help=told)
    @click.argument("first_day")
    @click.argument("last_day", required=False)
    @click.option("--note", "words", default="", help="In a few words.")
    @pass_shop
    def command(shop: Shop, first_day: str, last_day: str | None, words: str, **given: str) -> None:
        row = {"kind": kind, "from": first_day, "to": last_day or "", "note": words} | given
        tell(season_facts.record(shop.ledger, row, shop.by))

    for name in names:
        needed = name in season_facts.NEEDS[kind]
        hints = {
            "packs": "How many packs.",
            "at": "From when to when, 14:00-15:30.",
            "flavour": "Which flavour.",
            "channel": "Which channel.",
        }
        command = click.option(f"--{name}", default="", required=needed, help=hints[name])(command)
    return command


for _command in (
    _noted("run-out", "A flavour was gone from a channel, whole days.", "channel", "flavour"),
    _noted("promotion", "A promotion, of everything unless named.", "channel", "flavour"),
    _noted(
        "closure",
        "The shop is shut: nothing made, nothing sold (with --channel: only that channel sells nothing).",
        "channel",
    ),
    _noted("bulk", "A bulk order, promised for a day.", "packs", "channel", "flavour"),
    _noted("show", "A show: a batch must be in the making while customers watch.", "at"),
):
    note.add_command(_command)


@note.command("file")
@click.argument("file", type=click.File(encoding="utf-8-sig"))
@click.option("--dry", is_flag=True, help="Read and check only.")
@pass_shop
def note_file(shop: Shop, file: Any, dry: bool) -> None:
    """Facts from a CSV file: columns kind, from, to, flavour, channel, packs, at, note. Safe to load twice."""
    done = season_facts.load(shop.ledger, file.read(), shop.by, dry)
    for line, why in done.bad:
        console(error=True).print(f"Line {line}: {why}", markup=False)
    if done.bad:
        raise BadInput(f"{len(done.bad)} of {done.rows} rows cannot be read; nothing was written.", rows=done.rows)
    console().print(
        f"{done.rows} rows: {done.recorded} {'would be ' if dry else ''}recorded, {done.repeated} were known."
    )


COMMANDS: tuple[click.Command, ...] = (season,)
