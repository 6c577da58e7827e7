"""Facts beside the sales and the owner's figures that were wrong: amended, voided, and told as they were known."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from ledger.application import season_facts
from ledger.application.ledger import Ledger
from ledger.application.reports_demand import demand
from ledger.application.reports_types import basis
from ledger.application.season_forecast import issue, make_forecast, override
from ledger.application.season_history import bulk_orders, season_history
from ledger.domain.batch.commands import Amend, Void
from ledger.domain.shelf.commands import NoteRunOut, PlanPromotion
from ledger.errors import Refused
from ledger.interfaces.cli.main import main
from ledger.projections.check import verify

TODAY = "2026-11-25"
RUN_OUT = {"kind": "run-out", "from": "2026-11-10", "to": "2026-11-14", "flavour": "LEMON", "channel": "SHOP"}


def noted(own: Ledger, **row: str) -> int:
    return season_facts.record(own, row).first


def share(own: Ledger, known: int | None = None) -> list[float]:
    gone = demand(own, known).exposure
    mine = gone[(gone["flavour"] == "LEMON") & (gone["channel"] == "SHOP") & (gone["week"] == "2026-W46")]
    return mine["share"].tolist()


def test_a_run_out_entered_by_mistake_is_voided_and_still_there_as_it_was_known(own: Ledger):
    entry = noted(own, **RUN_OUT)
    believed = share(own)
    assert len(believed) == 1 and believed[0] < 2 / 3, "five days of six, though the till says that some were sold"
    own.do(Void(day=TODAY, origin=entry, reason="it was the lime"))
    assert share(own) == []
    assert share(own, entry) == believed
    assert verify(own.store).holds


def test_a_run_out_is_amended_and_amended_again(own: Ledger):
    entry = noted(own, **RUN_OUT)
    first = share(own)
    wanted = []
    for last in ("2026-11-12", "2026-11-13"):
        said = NoteRunOut(day="2026-11-10", until_day=last, flavour="LEMON", channel="SHOP")
        wanted.append(own.do(Amend(day=TODAY, origin=entry, command=said, reason="looked at the till")).first)
    assert share(own, entry) == first
    assert first < share(own) < share(own, wanted[0]) < [1.0], "fewer days gone each time it was amended but the last"
    assert not own.do(Amend(day=TODAY, origin=entry, command=said, reason="again")).first, "it says so already"


def test_a_bulk_order_is_amended_by_the_command_line_in_plain_words(own: Ledger, tmp_path: Path):
    entry = noted(own, kind="bulk", **{"from": "2026-12-09"}, flavour="ROCK", channel="WHOLESALE", packs="140")
    with pytest.raises(SystemExit) as left:
        main(
            [
                "--ledger",
                f"sqlite:///{tmp_path}/shop.sqlite",
                "amend",
                str(entry),
                "--set",
                "units=160",
                "--reason",
                "they rang",
            ]
        )
    assert left.value.code == 0
    orders = bulk_orders(basis(own))[0]
    assert 160 in orders["units"].tolist() and 140 not in orders["units"].tolist()


def test_a_fact_is_not_amended_into_another_kind_of_entry(own: Ledger):
    entry = noted(own, **RUN_OUT)
    other = PlanPromotion(day=TODAY, from_day="2026-12-01", to_day="2026-12-02")
    with pytest.raises(Refused, match="is a run-out; it cannot become a fact known ahead"):
        own.do(Amend(day=TODAY, origin=entry, command=other, reason="oh"))


def test_an_owners_figure_is_withdrawn_and_the_forecast_is_the_models_again(own: Ledger):
    issue(own, make_forecast(own, 8))
    before = make_forecast(own, 8).result.weekly["mean"]
    _, outcome = override(own, "CLOVE", "2026-W50", "2026-W51", 900, "two coach parties")
    assert make_forecast(own, 8).result.weekly["mean"].sum() != pytest.approx(before.sum())
    own.do(Void(day=TODAY, origin=outcome.first, reason="they cancelled"))
    made = make_forecast(own, 8)
    assert not made.overrides and made.result.weekly["mean"].tolist() == pytest.approx(before.tolist())


def test_the_newest_of_two_contradicting_figures_is_the_one_that_stands(own: Ledger):
    """First the flavour, then the shop, then the flavour again: what was said last holds to the pack."""
    issue(own, make_forecast(own, 8))
    override(own, "CLOVE", "2026-W50", "2026-W50", 300, "a guess")
    override(own, "", "2026-W50", "2026-W50", 2000, "the fair")
    override(own, "CLOVE", "2026-W50", "2026-W50", 420, "the club rang")
    weekly = make_forecast(own, 8).result.weekly
    mine = weekly[(weekly["level"] == "flavour") & (weekly["flavour"] == "CLOVE") & (weekly["week"] == "2026-W50")]
    assert mine["mean"].tolist() == pytest.approx([420])


def days_open(own: Ledger) -> pd.Series:
    """Of the week of the closure, channel by channel."""
    table = season_history(own).history.open_days
    assert table is not None
    return table[table["week"] == "2026-W53"].set_index("channel")["days"]


def test_the_notes_and_history_read_what_is_believed(own: Ledger):
    entry = noted(own, kind="closure", **{"from": "2026-12-28", "to": "2026-12-31"})
    weeks = days_open(own)
    own.do(Void(day=TODAY, origin=entry, reason="we stay open"))
    assert (days_open(own) > weeks).all()
