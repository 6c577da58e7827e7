"""The owner's figures: spread so that every table adds up to the pack, beside bulk orders, and later who was nearer. Sums by hand over raw tables."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pandas as pd
import pytest

from ledger.application import season_facts
from ledger.application.ledger import Ledger, open_ledger
from ledger.application.report_text import as_csv
from ledger.application.season_backtest import NOT_COMPARED, override_scores
from ledger.application.season_forecast import Made, issue, make_forecast, override
from ledger.application.season_forecast_report import forecast_report
from ledger.application.season_history import season_history
from ledger.domain.books.commands import Define
from ledger.domain.books.entries import Flavour
from ledger.errors import BadInput
from tests.application.conftest import season_clock

W = ("2026-W50", "2026-W51")


def weekly(made: Made) -> pd.DataFrame:
    return forecast_report(made, every=True).tables["weekly"].frame


def adds_up(made: Made) -> None:
    rows = weekly(made)
    for name in ("mean", "model_mean", "firm"):
        series = rows[rows["level"] == "series"]
        for level, keys in (("flavour", ["flavour", "week"]), ("channel", ["channel", "week"]), ("shop", ["week"])):
            parts = series.groupby(keys)[name].sum()
            whole = rows[rows["level"] == level].groupby(keys)[name].sum()
            assert parts.loc[whole.index].tolist() == whole.tolist(), (level, name)
    report = forecast_report(made)
    shop, channels = report.tables["shop"].frame, report.tables["channels"].frame
    assert shop["mean"].sum() == channels["mean"].sum()
    spans = report.tables["flavours"].frame
    for row in spans.to_dict("records"):
        mine = rows[
            (rows["level"] == "flavour") & (rows["flavour"] == row["flavour"]) & (rows["week"] <= row["to_week"])
        ]
        assert mine["mean"].sum() == row["mean"]
    for frame in (rows, spans):
        assert (frame["q10"] <= frame["mean"]).all() and (frame["mean"] <= frame["q90"]).all()


def test_every_total_shown_is_the_sum_of_its_parts_to_the_pack(season_shop: Ledger):
    made = make_forecast(season_shop, 13)
    adds_up(made)
    true = made.result.weekly[made.result.weekly["level"] == "shop"]["mean"].to_numpy()
    shown = weekly(made)[weekly(made)["level"] == "shop"]["mean"].to_numpy()
    assert abs(true - shown).max() < 1.001


@pytest.mark.parametrize(
    ("flavour", "channel", "first", "last", "packs"),
    [
        ("", "", *W, 3001),
        ("", "SHOP", W[0], W[0], 707),
        ("CLOVE", "", *W, 901),
        ("CLOVE", "ONLINE", W[0], W[0], 7),
        ("LEMON", "", *W, 0),
    ],
)
def test_a_figure_at_any_level_is_met_to_the_pack_and_everything_adds_up(
    own: Ledger, flavour: str, channel: str, first: str, last: str, packs: int
):
    issue(own, make_forecast(own, 8))
    override(own, flavour, first, last, packs, "I know better", channel)
    made = make_forecast(own, 8)
    rows = weekly(made)
    mine = rows[(rows["level"] == "series") & rows["week"].between(first, last)]
    mine = mine[(mine["flavour"] == flavour) | (not flavour)]
    mine = mine[(mine["channel"] == channel) | (not channel)]
    assert mine["mean"].sum() == packs
    adds_up(made)
    outside = rows[(rows["level"] == "series") & ~rows.index.isin(mine.index)]
    assert (outside["mean"] - outside["model_mean"]).abs().max() <= 1, "only rounding moves elsewhere"


def test_the_csv_says_level_model_and_why_and_adds_up(own: Ledger):
    issue(own, make_forecast(own, 8))
    override(own, "CLOVE", *W, 901, "two coach parties")
    rows = list(csv.DictReader(io.StringIO(as_csv(forecast_report(make_forecast(own, 8), every=True), "weekly"))))
    mine = [r for r in rows if r["level"] == "flavour" and r["flavour"] == "CLOVE" and r["week"] in W]
    assert sum(int(r["mean"]) for r in mine) == 901
    assert all(r["model"] and r["why"] for r in rows)


def test_the_sentence_says_the_figures_of_the_table(season_shop: Ledger):
    report = forecast_report(make_forecast(season_shop, 8))
    assert f"about {report.tables['shop'].frame['mean'].sum()} packs" in report.sentence


def later(tmp_path: Path) -> Ledger:
    return open_ledger(f"sqlite:///{tmp_path}/shop.sqlite", clock=season_clock)


def test_who_was_nearer_counts_what_walked_in_and_leaves_bulk_orders_out(own: Ledger):
    """By hand: packs of the customers' postings of the week, less the 30 promised in bulk; both figures against that."""
    issue(own, make_forecast(own, 8, known="2026-10-18"))
    said, _ = override(own, "LEMON", "2026-W43", "2026-W43", 1, "so few?")
    season_facts.record(
        own, {"kind": "bulk", "from": "2026-10-21", "flavour": "LEMON", "channel": "SHOP", "packs": "30"}
    )
    lines = own.queries.postings(kinds=["customer"])
    lines = lines[(lines["flavour"] == "LEMON") & (lines["week"] == "2026-W43")]
    by_channel = lines.groupby("channel")["packs"].sum()
    by_channel["SHOP"] = max(0, by_channel["SHOP"] - 30)
    row = override_scores(own, season_history(own)).iloc[0]
    assert row["sold"] == by_channel.sum()
    assert row["nearer"] == ("owner" if abs(1 - row["sold"]) < abs(said - row["sold"]) else "model")


def test_nobody_is_called_nearer_in_a_week_the_flavour_was_gone(own: Ledger):
    issue(own, make_forecast(own, 8, known="2026-10-18"))
    override(own, "LEMON", "2026-W43", "2026-W44", 500, "the fair")
    season_facts.record(
        own, {"kind": "run-out", "from": "2026-10-27", "to": "2026-10-29", "flavour": "LEMON", "channel": "SHOP"}
    )
    assert override_scores(own, season_history(own)).iloc[0]["nearer"] == NOT_COMPARED


def test_of_a_figure_half_gone_by_the_packs_sold_at_the_door_are_taken_off_not_the_bulk_ones(own: Ledger):
    issue(own, make_forecast(own, 8, known="2026-11-15"))
    override(own, "LEMON", "2026-W47", "2026-W49", 900, "the fair")

    def left() -> int:
        rows = weekly(make_forecast(own, 4))
        return int(
            rows[
                (rows["level"] == "flavour")
                & (rows["flavour"] == "LEMON")
                & rows["week"].between("2026-W48", "2026-W49")
            ]["mean"].sum()
        )

    before = left()
    season_facts.record(
        own, {"kind": "bulk", "from": "2026-11-18", "flavour": "LEMON", "channel": "SHOP", "packs": "5"}
    )
    assert left() == before + 5


def test_a_flavour_is_shared_among_its_designs_and_packs_and_adds_up(season_shop: Ledger):
    """By hand: the share of each jar in what the shop's channels lately sold of lemon; every flavour's rows sum to its weeks."""
    report = forecast_report(make_forecast(season_shop, 8), every=True)
    packs, rows = report.tables["packs"].frame, report.tables["weekly"].frame
    flavours = rows[rows["level"] == "flavour"].groupby("flavour")["mean"].sum()
    assert packs.groupby("flavour")["mean"].sum().to_dict() == flavours[flavours > 0].to_dict()
    lines = season_shop.queries.postings(kinds=["lot.packs"])
    lines = lines[(lines["flavour"] == "LEMON") & (lines["week"] >= "2026-W22") & (lines["week"] < "2026-W48")]
    lines = lines[lines["step"].isin(["sell", "ship", "return"])]
    expected = rows[(rows["level"] == "series") & (rows["flavour"] == "LEMON")].groupby("channel")["mean"].sum()
    sold = -lines.groupby(["channel", "item"])["packs"].sum()
    assert set(sold.index.get_level_values("item")) == {"LEMON-BAG", "LEMON-JAR"}
    by_hand = (sold / sold.groupby("channel").transform("sum")).mul(expected, level="channel").groupby("item").sum()
    shown = packs[packs["flavour"] == "LEMON"].groupby("item")["mean"].sum()
    assert (shown - by_hand.reindex(shown.index)).abs().max() <= 3


def test_bands_that_are_a_guess_are_said_once_in_words(own: Ledger):
    young = make_forecast(own, 4, known="2025-09-01")
    said = [note for note in forecast_report(young).notes if "guess" in note]
    assert len(said) == 1 and "every band is a guess" in said[0]


def test_an_older_figure_that_a_newer_one_takes_packs_from_is_named(own: Ledger):
    issue(own, make_forecast(own, 8))
    override(own, "", W[0], W[0], 900, "the counter alone", "SHOP")
    override(own, "", W[0], W[0], 700, "the whole shop, it will snow")
    made = make_forecast(own, 8)
    told = [note for note in made.notes if "gives way" in note]
    assert len(told) == 1 and "900 packs for */SHOP" in told[0]
    rows = weekly(made)
    assert rows[(rows["level"] == "shop") & (rows["week"] == W[0])]["mean"].tolist() == [700]


@pytest.mark.parametrize(
    ("flavour", "first", "words"),
    [
        ("NEWONE", "2026-W50", "has never been sold"),
        ("CLOVE", "2027-W04", "out of its season"),
        ("", "2026-W52", "shut"),
    ],
)
def test_a_figure_where_nothing_can_be_sold_says_why_and_what_to_do(own: Ledger, flavour: str, first: str, words: str):
    own.do(Define(day="2026-11-25", entry=Flavour(id="NEWONE", name="New one")))
    season_facts.record(own, {"kind": "closure", "from": "2026-12-21", "to": "2026-12-27"})
    issue(own, make_forecast(own, 13))
    before = own.queries.as_of().position
    with pytest.raises(BadInput, match=words):
        override(own, flavour, first, first, 40, "I feel it")
    assert own.queries.as_of().position == before
    if flavour != "NEWONE":
        override(own, flavour, first, first, 0, "nothing, I know")
