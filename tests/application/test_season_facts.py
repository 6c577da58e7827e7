"""Facts known beside the sales: run-outs, promotions, closures, bulk orders with their packs, shows with their time of day."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from ledger.application import season_facts, season_plan
from ledger.application.ledger import Ledger, open_ledger
from ledger.application.season_forecast import make_forecast
from ledger.application.season_history import bulk_orders, season_history
from ledger.application.season_problem import problem_of
from ledger.application.season_settings import PlanSettings
from ledger.domain.shelf.commands import PlanPromotion
from ledger.domain.shelf.events import PromotionPlanned
from ledger.errors import BadInput, SlabbookError, UnknownThing
from ledger.interfaces.commands_in import read_command
from ledger.store.codec import decode, encode
from tests.support.given_when_then import Bench

TODAY = "2026-11-25"
AHEAD = PlanPromotion(day="2026-02-01", from_day="2026-03-02", to_day="2026-03-02", flavour="LEMON", channel="SHOP")


def ahead(**given: object) -> PlanPromotion:
    values = {name: getattr(AHEAD, name) for name in AHEAD.__slots__}
    return PlanPromotion(**values | given)  # type: ignore[arg-type]


# --- the rule -----------------------------------------------------------------------------------------------------------


def test_a_bulk_order_keeps_its_packs_and_a_show_its_time():
    bench = Bench(stocked=False)
    (order,) = bench.do(ahead(kind="bulk", units=150, note="a wedding"))
    assert (order.kind, order.units, order.at, order.note) == ("bulk", 150, "", "a wedding")
    (show,) = bench.do(ahead(kind="show", at="9:05-10.30", flavour="", channel=""))
    assert (show.at, show.units) == ("09:05-10:30", 0)


@pytest.mark.parametrize(
    ("given", "error", "words"),
    [
        ({"kind": "bulk"}, BadInput, "how many packs"),
        ({"kind": "bulk", "units": 9, "channel": ""}, BadInput, "its channel"),
        ({"kind": "show"}, BadInput, "14:00-15:30"),
        ({"kind": "show", "at": "15:30-14:00"}, BadInput, "ends before it begins"),
        ({"kind": "show", "at": "half past two"}, BadInput, "no time span"),
        ({"kind": "promotion", "units": 3}, BadInput, "Only a bulk order"),
        ({"kind": "closure", "flavour": "", "at": "14:00-15:30"}, BadInput, "Only a show"),
        ({"kind": "party"}, BadInput, "promotion, closure, bulk, show"),
        ({"flavour": "LEMMON"}, UnknownThing, "LEMON"),
        ({"channel": "moon"}, UnknownThing, "SHOP"),
        ({"to_day": "2026-03-01"}, BadInput, "Turn them round"),
        ({"kind": "closure"}, BadInput, "run-out"),
    ],
)
def test_what_is_known_ahead_is_refused_where_its_kind_needs_more_or_less(given: dict, error: type, words: str):
    with pytest.raises(error, match=words):
        Bench(stocked=False).do(ahead(**given))


def test_entries_from_before_the_two_fields_read_and_count_as_they_did(own: Ledger):
    """The stored form of an older program: no `units`, no `at`; both stood at the beginning of the note."""
    old = json.loads(encode(PromotionPlanned(day=TODAY, from_day="2026-12-09", to_day="2026-12-09", flavour="ROCK", channel="wholesale",
                                             kind="bulk order", note="140 packs: hotel")))  # fmt: skip
    del old["units"], old["at"]
    paper = decode("shelf.promotion-planned", 1, json.dumps(old))
    assert (paper.units, paper.at) == (0, "")
    show = decode(
        "shelf.promotion-planned",
        1,
        json.dumps(old | {"kind": "show", "note": "14:00-15:30 by the window", "flavour": "", "channel": ""}),
    )

    class Old:
        """The reading side with two older entries in the log."""

        def __init__(self, inner: object) -> None:
            self.inner = inner

        def papers(self, kind: str, known: int | None = None) -> list:
            return [*self.inner.papers(kind, known=known), *([(1, paper), (1, show)] if kind == "promotion" else [])]

        def __getattr__(self, name: str) -> object:
            return getattr(self.inner, name)

    on = season_history(own).on
    object.__setattr__(on, "queries", Old(on.queries))
    orders, notes = bulk_orders(on)
    assert orders[orders["week"] == "2026-W50"]["units"].tolist() == [140] and not notes
    from datetime import date

    from ledger.application.season_days import show_times

    found = show_times(on, ["2026-W50"], date(2026, 12, 7), set(), [])
    assert (2, 14 * 60, 15 * 60 + 30) in [(s.day, s.start, s.end) for s in found]


def test_the_reader_of_human_input_takes_both_fields(own: Ledger):
    given = {"from_day": "2026-12-09", "to_day": "2026-12-09", "kind": "bulk", "units": "150", "at": ""}
    read = read_command("promotion", given, own.book(), TODAY)
    assert read.units == 150 and read.at == ""


# --- in the shop --------------------------------------------------------------------------------------------------------


def test_a_show_binds_its_week_and_its_day(own: Ledger):
    """Wednesday to Saturday, each at two: the shop makes on Wednesday, Thursday and Friday, and Wednesday is the third making day."""
    season_facts.record(own, {"kind": "show", "from": "2026-12-02", "to": "2026-12-05", "at": "14:00-15:30"})
    asked = problem_of(make_forecast(own, 4), PlanSettings(weeks=4))
    mine = [(s.day, s.start, s.end) for s in asked.problem.show_times if s.week == 1]
    assert mine == [(2, 840, 930), (3, 840, 930), (4, 840, 930)]
    assert any("2026-12-05" in note and "nothing is made" in note for note in asked.notes)
    made = season_plan.make(own, PlanSettings(weeks=4), "quick")
    shown = {i.key for i in made.problem.items if i.good_to_show}
    assert sum(x.batches for x in made.plan.lines if x.week == 1 and x.item in shown) >= 3


def test_a_show_in_the_running_week_is_counted_from_today(own: Ledger):
    """On a Wednesday the Friday is the third making day that is left, and a show on the Monday gone by is no show any more."""
    for day in ("2026-11-23", "2026-11-27"):
        season_facts.record(own, {"kind": "show", "from": day, "at": "14:00-15:30"})
    asked = problem_of(make_forecast(own, 3), PlanSettings(weeks=3))
    assert [s.day for s in asked.problem.show_times if s.week == 0] == [2]


def test_facts_from_a_file_are_loaded_once_and_read_by_the_forecast(own: Ledger):
    text = (
        "kind,from,to,flavour,channel,packs,at,note\n"
        "run-out,2026-11-10,2026-11-14,LEMON,shop,,,\n"
        "bulk,2026-12-09,,ROCK,wholesale,140,,hotel\n"
        "closure,2026-12-28,2026-12-31,,,,,stock-taking\n"
    )
    done = season_facts.load(own, text)
    assert (done.recorded, done.repeated, done.bad) == (3, 0, [])
    assert (season_facts.load(own, text).recorded, season_facts.load(own, text).repeated) == (0, 3)
    seen = season_history(own)
    exposure = seen.history.exposure
    assert exposure is not None
    short = exposure[(exposure["week"] == "2026-W46") & (exposure["flavour"] == "LEMON")]
    assert short["share"].iloc[0] < 2 / 3, "five days of six, though the till says that some were sold"
    order = own.queries.papers("promotion")[-2][1]
    assert (order.kind, order.units, order.note) == ("bulk", 140, "hotel")
    made = make_forecast(own, 6)
    firm = made.result.weekly[
        (made.result.weekly["level"] == "flavour") & (made.result.weekly["flavour"] == "ROCK")
    ].set_index("week")["firm"]
    assert firm["2026-W50"] == 140
    assert season_plan.make(own, PlanSettings(weeks=7), "quick").problem.weeks[5].days == 1


def test_one_bad_row_is_named_and_nothing_is_written(own: Ledger):
    before = own.queries.as_of().position
    done = season_facts.load(
        own, "kind,from,flavour,channel\nrun-out,2026-11-10,LEMON,shop\nrun-out,10 Nov,LEMON,shop\nparty,2026-11-10,,\n"
    )
    assert [line for line, _ in done.bad] == [3, 4]
    assert "2026-10-30" in done.bad[0][1] and "run-out" in done.bad[1][1]
    assert own.queries.as_of().position == before
    with pytest.raises(BadInput, match="kind"):
        season_facts.load(own, "a,b\n1,2\n")


def test_a_file_with_semicolons_empty_lines_and_heads_in_capitals_is_read(own: Ledger):
    text = "Kind;From;To;Flavour;Channel\nrun-out;2026-11-10;;LEMON;SHOP\n;;;;\nclosure;2026-12-28;2026-12-31;;ONLINE\n"
    done = season_facts.load(own, text, dry=True)
    assert (done.rows, done.recorded, done.bad) == (2, 2, [])
    assert not season_facts.load(own, text).bad


def test_a_file_loaded_again_on_another_day_records_nothing_new(own: Ledger, tmp_path: Path):
    """What is known ahead is entered on the day the file is loaded; the same file a week later is the same file."""
    text = "kind,from,to,flavour,channel,packs,note\nclosure,2026-12-28,2026-12-31,,,,\nbulk,2026-12-09,,ROCK,WHOLESALE,140,hotel\n"
    assert season_facts.load(own, text).recorded == 2
    later = open_ledger(f"sqlite:///{tmp_path}/shop.sqlite", clock=lambda: datetime(2026, 12, 2, 9, tzinfo=UTC))
    again = season_facts.load(later, text + "promotion,2026-12-10,,APPLE,,,\n")
    assert (again.recorded, again.repeated, again.bad) == (1, 2, [])


def test_the_same_order_twice_in_a_file_is_two_orders_and_stays_two(own: Ledger):
    text = "kind,from,flavour,channel,packs\n" + "bulk,2026-12-09,ROCK,WHOLESALE,50\n" * 2
    assert season_facts.load(own, text).recorded == 2
    assert season_facts.load(own, text).repeated == 2
    orders = bulk_orders(season_history(own).on)[0]
    assert orders[orders["units"] == 50]["units"].tolist() == [50, 50]


def test_a_row_without_its_first_day_is_refused_since_today_means_something_else_tomorrow(own: Ledger):
    done = season_facts.load(own, "kind,from,flavour,channel\nrun-out,,LEMON,SHOP\n")
    assert done.bad == [(2, "The first day is missing; write it under `from`, such as 2026-11-10.")]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"kind": "bulk", "from": "2026-12-09", "flavour": "ROCK", "channel": "shop", "packs": "many"}, "whole number"),
        ({"kind": "bulk", "from": "2026-12-09", "packs": "3"}, "flavour and channel"),
        ({"kind": "show", "from": "2026-12-09", "at": "16:00-15:00"}, "ends before it begins"),
        ({"kind": "closure", "from": "2026-12-09", "to": "2026-12-01"}, "Turn them round"),
        ({"kind": "promotion", "from": "2026-12-09", "packs": "3"}, "Only a bulk order"),
        (
            {"kind": "run-out", "from": "2026-12-09", "flavour": "ROCK", "channel": "shop", "at": "14:00-15:30"},
            "Only a show",
        ),
    ],
)
def test_a_fact_that_cannot_be_says_why(season_shop: Ledger, row: dict[str, str], words: str):
    with pytest.raises(SlabbookError, match=words):
        season_facts.fact(row, season_shop.book(), TODAY)
