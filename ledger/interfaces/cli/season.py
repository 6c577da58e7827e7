"""`slabbook season ...`: what will sell, what the shop can make, when to start, and what to buy."""

from __future__ import annotations

from typing import Any

import click

from ledger.application import season_forecast
from ledger.application.reports_types import read_week, read_weeks
from ledger.interfaces.cli.context import Shop, console, pass_shop, tell
from ledger.interfaces.cli.read import KNOWN, _known, show, with_forms


@click.group("season")
def season() -> None:
    """The season ahead: forecast, plan, order list, and the facts they stand on."""


@season.command("forecast")
@click.option("--flavour", default="", help="One flavour, week by week and by channel.")
@click.option("--horizon", default=13, show_default=True, help="Weeks ahead, 1 to 60.")
@click.option("--issue", is_flag=True, help="Keep it as an entry, so that it can be scored as it was made.")
@KNOWN
@with_forms
@pass_shop
def forecast(shop: Shop, flavour: str, horizon: int, issue: bool, known: str | None, **form: Any) -> None:
    """What will sell from this week on, in packs, with bands."""
    made = season_forecast.make_forecast(shop.ledger, horizon, _known(known))
    every = bool(form["as_json"] or form["as_csv"] or form["file"])
    show(season_forecast.forecast_report(made, flavour, every), **form)
    if issue:
        name, outcome = season_forecast.issue(shop.ledger, made, shop.by)
        console(error=True).print(f"Issued as {name}.")
        if not every:
            tell(outcome)


@season.command("override")
@click.argument("first_week")
@click.argument("last_week", required=False)
@click.option("--flavour", default="", help="Which flavour (all of them if left out).")
@click.option("--channel", default="", help="Which channel (all if left out).")
@click.option("--packs", required=True, type=int, help="Packs you expect over these weeks together.")
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
    console().print(f"The model said {said} packs, you say {packs}.")
    tell(outcome)


COMMANDS: tuple[click.Command, ...] = (season,)
