"""A backtest reads only what was known at each origin, from one reading of the ledger; and the forecast reads all that was told."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import pytest

from ledger.application import season_facts
from ledger.application.ledger import Ledger, open_ledger
from ledger.application.log import believed_event
from ledger.application.reports_demand import Demand, EverKnown, demand
from ledger.application.reports_types import basis
from ledger.application.season_backtest import AsKnown
from ledger.application.season_forecast import make_forecast
from ledger.application.season_history import season_history
from ledger.domain.batch.commands import Amend, Void
from ledger.domain.books.commands import Define
from ledger.domain.books.entries import Channel
from ledger.domain.restate import command_of
from ledger.domain.shelf.commands import Sell

TODAY = "2026-11-25"


def same(one: Demand, other: Demand) -> None:
    for name in ("sales", "exposure", "open_days", "promotions"):
        pd.testing.assert_frame_equal(getattr(one, name), getattr(other, name))


def told_and_corrected(own: Ledger) -> None:
    """A late sale, a sale amended to a single pack, one voided, and facts entered, amended and voided."""
    own.do(Sell(day="2026-09-22", pack="LEMON-JAR", packs=7, channel="SHOP"))
    sold = own.queries.log(name="shelf.sold", most=10**6)
    early, other = sold[sold["occurred_at"].between("2026-09-01", "2026-09-20")]["position"].iloc[[3, 8]]
    command = command_of(believed_event(own, int(early)))
    assert command.packs > 1
    own.do(Amend(day=TODAY, origin=int(early), command=replace(command, packs=1), reason="one, not so many"))
    own.do(Void(day=TODAY, origin=int(other), reason="rung up twice"))
    gone = season_facts.record(
        own, {"kind": "run-out", "from": "2026-09-08", "to": "2026-09-10", "flavour": "LEMON", "channel": "SHOP"}
    )
    season_facts.record(own, {"kind": "promotion", "from": "2026-09-14", "to": "2026-09-16", "flavour": "LEMON"})
    season_facts.record(
        own, {"kind": "bulk", "from": "2026-09-23", "flavour": "LEMON", "channel": "SHOP", "packs": "3"}
    )
    own.do(Void(day=TODAY, origin=gone.first, reason="it was there"))


def test_one_reading_of_the_ledger_tells_every_position_what_asking_there_tells(own: Ledger):
    """The quick way (read once, replay in memory) against the plain one (ask the ledger as known), position by position."""
    before = own.queries.as_of().position
    told_and_corrected(own)
    last = own.queries.as_of().position
    ever = EverKnown(basis(own))
    for position in (0, 40, before // 3, before // 2, before, *range(before + 1, last + 1)):
        same(ever.at(position), demand(own, position))


def test_nothing_corrected_or_entered_later_leaks_into_an_earlier_origin(own: Ledger):
    origins = ("2026-W20", "2026-W39", "2026-W40", "2026-W48")
    known = AsKnown(own)
    before = {origin: known(origin) for origin in origins}
    told_and_corrected(own)
    after = AsKnown(own)
    for origin in origins:
        for name in ("sales", "exposure", "open_days", "promotions", "bulk_orders"):
            pd.testing.assert_frame_equal(getattr(before[origin], name), getattr(after(origin), name))
    now = season_history(own).history
    assert int(now.sales["units"].sum()) > int(after("2026-W48").sales["units"].sum()), "it is believed now"


def test_a_promotion_of_the_shop_and_of_a_flavour_lift_no_less_together_than_the_one(own: Ledger):
    season_facts.record(own, {"kind": "promotion", "from": "2026-12-07", "to": "2026-12-12"})

    def lemon() -> float:
        weekly = make_forecast(own, 4).result.weekly
        return float(
            weekly[(weekly["level"] == "flavour") & (weekly["flavour"] == "LEMON") & (weekly["week"] == "2026-W50")][
                "mean"
            ].iloc[0]
        )

    alone = lemon()
    season_facts.record(own, {"kind": "promotion", "from": "2026-12-08", "to": "2026-12-08", "flavour": "LEMON"})
    assert lemon() == pytest.approx(alone, rel=1e-6), "the one day lies among the six"


def test_a_channel_closed_for_a_week_sells_nothing_and_the_others_as_before(own: Ledger):
    def week() -> pd.Series:
        weekly = make_forecast(own, 4).result.weekly
        return weekly[(weekly["level"] == "channel") & (weekly["week"] == "2026-W50")].set_index("channel")["mean"]

    before = week()
    season_facts.record(own, {"kind": "closure", "from": "2026-12-07", "to": "2026-12-12", "channel": "ONLINE"})
    after = week()
    assert before["ONLINE"] > 0 and after["ONLINE"] == 0
    assert after["SHOP"] == pytest.approx(before["SHOP"], rel=0.02)


def test_a_bulk_order_over_a_channel_that_never_sold_the_flavour_is_still_promised(own: Ledger):
    flavour, channel = "CLOVE", "FAIR"
    own.do(Define(day=TODAY, entry=Channel(id=channel, name="Fair stall")))
    season_facts.record(
        own, {"kind": "bulk", "from": "2026-12-09", "flavour": flavour, "channel": channel, "packs": "90"}
    )
    made = make_forecast(own, 4)
    weekly = made.result.weekly[(made.result.weekly["flavour"] == flavour) & (made.result.weekly["week"] == "2026-W50")]
    assert weekly[weekly["level"] == "flavour"]["firm"].tolist() == [90]
    assert any(f"{flavour} in {channel}" in note for note in made.notes)


def test_a_flavour_sold_to_the_last_pack_is_asked_about_until_its_run_out_is_told(own: Ledger, tmp_path: Path):
    """Every lemon pack goes on Wednesday, none is packed since: from Thursday the ledger's stock is nothing."""
    for pack in ("LEMON-JAR", "LEMON-BAG"):
        left = int(own.queries.shelf([pack])["packs"].sum())
        if left:
            own.do(Sell(day=TODAY, pack=pack, packs=left, channel="SHOP"))
    later = open_ledger(f"sqlite:///{tmp_path}/shop.sqlite", clock=lambda: datetime(2026, 12, 2, 9, tzinfo=UTC))

    def asked() -> list[str]:
        return [note for note in make_forecast(later, 2).notes if "nowhere in the house" in note]

    assert len(asked()) == 1 and "2026-11-26 to 2026-12-01" in asked()[0] and "--flavour LEMON" in asked()[0]
    season_facts.record(
        later, {"kind": "run-out", "from": "2026-11-26", "to": "2026-12-01", "flavour": "LEMON", "channel": "SHOP"}
    )
    assert not asked()
