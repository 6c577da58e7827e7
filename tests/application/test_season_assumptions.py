"""What a plan assumes stands in the book, with its history; what a new flavour sells like stands there too."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest

from ledger.application import season_adopt, season_plan
from ledger.application.ledger import Ledger
from ledger.application.season_forecast import make_forecast
from ledger.application.season_history import settings_of_book
from ledger.application.season_problem import problem_of
from ledger.application.season_report import plan_report
from ledger.application.season_settings import (
    ASKED,
    ASSUMPTIONS,
    USUAL,
    PlanSettings,
    assumptions_frame,
    prices_of,
    settings_for,
    settings_of,
)
from ledger.domain.books import entries as e
from ledger.domain.books.book import book_of
from ledger.domain.books.commands import Define
from ledger.errors import BadInput
from ledger.forecast import Analogue
from ledger.interfaces.book_file import entries_from_toml
from ledger.interfaces.commands_in import read_command
from tests.support.given_when_then import Bench

TODAY = "2026-11-25"
FILE = """
[planning.SEASON]
making = "70 %"
overtime_cost = "27.50"
overtime = "1 h 30 min"
helper_cost = "90"
helper_shift = "5 h"
helper_shifts = 3
store = "450 kg"
salvage = "0 %"
source = "wage table"
"""


def stated(text: str = FILE) -> e.Planning:
    (entry,) = entries_from_toml(text)
    assert isinstance(entry, e.Planning)
    return entry


def test_a_file_states_what_a_plan_assumes_in_words_and_units():
    entry = stated()
    assert (entry.making_ppm, entry.overtime_cost, entry.overtime_seconds) == (700_000, 2750, 5400)
    assert (entry.helper_shift_seconds, entry.store_mg, entry.salvage_ppm) == (18_000, 450_000_000, 0)
    assert entry.service_ppm is None and entry.frozen_weeks is None


def test_every_field_of_the_entry_reaches_the_planner_and_no_setting_is_forgotten():
    """Held against the dataclasses themselves: a field added to one side alone fails here."""
    assert {a.field for a in ASSUMPTIONS} == {f.name for f in fields(e.Planning)} - {"id", "source"}
    assert {a.setting for a in ASSUMPTIONS} == {f.name for f in fields(PlanSettings)} - {"weeks", "origins"}
    for a in ASSUMPTIONS:
        book = book_of([(replace(e.Planning(id="P"), **{a.field: 7 * a.per}), 1)])
        assert getattr(settings_of(book), a.setting) == 7, a
        assert getattr(settings_of(book_of([])), a.setting) == getattr(PlanSettings(), a.setting)


def test_what_is_asked_for_this_plan_goes_before_the_book_and_the_book_before_what_is_usual():
    book = book_of([(stated(), 1)])
    settings = settings_of(book, {"making_ppm": "version 1 of 2026-01-02"}, making_percent=40, weeks=9)
    assert (settings.weeks, settings.making_percent, settings.helper_shifts, settings.service_percent) == (9, 40, 3, 90)
    assert settings.origins["making_percent"] == ASKED
    assert (
        settings.origins["helper_shifts"].startswith("your book") and "wage table" in settings.origins["helper_shifts"]
    )
    assert "service_percent" not in settings.origins
    assert prices_of(settings, book).overtime_per_hour == 2750


def test_the_page_is_told_where_each_figure_came_from(own: Ledger):
    own.do(Define(day="2026-11-20", entry=replace(stated(), id="SEASON")))
    own.do(Define(day="2026-11-24", entry=replace(stated(), id="SEASON", helper_shifts=1)))
    frame = assumptions_frame(settings_for(own), own.book()).set_index("what")
    assert frame.loc["most helper shifts, a week", "figure"] == "1"
    assert "of 2026-11-24" in str(frame.loc["most helper shifts, a week", "origin"])
    assert "of 2026-11-20" in str(frame.loc["room for packed candy", "origin"])
    assert frame.loc["an hour of overtime", "figure"] == "27.50 EUR"
    assert frame.loc["weeks of an adopted plan that stay as they are", "origin"] == USUAL
    frame = assumptions_frame(settings_of(book_of([])), book_of([(e.Worker(id="AB", rate=1200), 1)])).set_index("what")
    assert frame.loc["an hour of overtime", "figure"] == "18.00 EUR"
    assert "half again the mean rate" in str(frame.loc["an hour of overtime", "origin"])
    assert frame.loc["room for packed candy", "figure"] == "never full"


def test_a_revised_assumption_changes_the_next_plan_and_is_kept_with_it(own: Ledger):
    first = season_plan.make(own, settings_for(own, weeks=4), "quick")
    known = own.book().planning()
    assert known is not None and known.making_ppm is None
    own.do(Define(day=TODAY, entry=replace(known, making_ppm=500_000, frozen_weeks=1)))
    later = season_plan.make(own, settings_for(own, weeks=4), "quick")
    assert later.problem.weeks[1].hands_minutes < first.problem.weeks[1].hands_minutes
    assert (
        plan_report(later)
        .tables["assumed"]
        .frame.set_index("what")["figure"]
        .to_dict()["weeks of an adopted plan that stay as they are"]
        == "1"
    )
    season_adopt.adopt(own, later)
    paper = season_adopt.adopted(own)
    assert paper.settings["settings"]["making_percent"] == 50 and "making_percent" in paper.settings["origins"]
    assert paper.frozen_until == later.problem.weeks[0].label


def test_a_field_made_empty_again_is_not_stated_any_more(own: Ledger):
    known = own.book().planning()
    assert known is not None and known.helper_shifts is not None
    own.do(
        read_command(
            "define",
            {"kind": "planning", "entry": {"id": known.id, "helper_shifts": "", "store": " "}},
            own.book(),
            TODAY,
        )
    )
    again = own.book().planning()
    assert (
        again is not None
        and again.helper_shifts is None
        and again.store_mg is None
        and again.helper_cost == known.helper_cost
    )
    assert len(own.queries.book_history("planning")) == 2


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"making_ppm": 705_000}, "whole percents"),
        ({"salvage_ppm": 1_010_000}, "101 %"),
        ({"store_mg": 0}, "more than 0"),
        ({"helper_shifts": -1}, "0 or more"),
        ({"service_ppm": 1_000_000}, "99 %"),
    ],
)
def test_an_assumption_that_cannot_be_is_refused(change: dict, words: str):
    with pytest.raises(BadInput, match=words):
        Bench(stocked=False).do(Define(day=TODAY, entry=replace(e.Planning(id="P"), **change)))


def test_there_is_one_planning_entry():
    bench = Bench(stocked=False)
    bench.do(Define(day=TODAY, entry=e.Planning(id="P")))
    with pytest.raises(BadInput, match="`P`"):
        bench.do(Define(day=TODAY, entry=e.Planning(id="Q")))


# --- what a new flavour is like -----------------------------------------------------------------------------------------


def test_a_likeness_in_the_book_reaches_the_forecast(own: Ledger):
    own.do(Define(day=TODAY, entry=e.Flavour(id="QUINCE", name="Quince", like="ORANGE", like_share_ppm=600_000)))
    own.do(Define(day=TODAY, entry=e.Flavour(id="PLUM", name="Plum", like="NOSUCH")))
    settings, notes = settings_of_book(own.book())
    assert settings.analogues == (Analogue("QUINCE", "ORANGE", 0.6),)
    assert any("NOSUCH" in note and "Plum" in note for note in notes)


def test_a_flavour_that_never_sold_is_forecast_and_planned_like_the_one_it_is_said_to_be_like(own: Ledger):
    book = own.book()
    recipe, jar = book.recipe_of("ORANGE"), next(p for p in book.all(e.Pack) if p.flavour == "ORANGE")
    assert recipe is not None
    for entry in (
        e.Flavour(id="QUINCE", name="Quince", like="ORANGE", like_share_ppm=500_000),
        replace(recipe, id="QUINCE", flavour="QUINCE"),
        replace(jar, id="QUINCE-JAR", name="Quince jar", flavour="QUINCE", design="", display_minimum=0, gtin=""),
    ):
        own.do(Define(day=TODAY, entry=entry))
    made = make_forecast(own, 8)
    weekly = made.result.weekly
    mean = weekly[weekly["level"] == "flavour"].groupby("flavour")["mean"].sum()
    assert mean["QUINCE"] == pytest.approx(0.5 * mean["ORANGE"], rel=0.05)
    asked = problem_of(made, PlanSettings(weeks=8))
    assert sum(asked.problem.item("QUINCE").demand_g) > 0


def test_a_flavour_is_not_like_itself_nor_like_nothing():
    bench = Bench(stocked=False)
    with pytest.raises(BadInput, match="like itself"):
        bench.do(Define(day=TODAY, entry=e.Flavour(id="PLUM", name="Plum", like="PLUM")))
    with pytest.raises(BadInput, match="more than 0 %"):
        bench.do(Define(day=TODAY, entry=e.Flavour(id="PLUM", name="Plum", like="LEMON", like_share_ppm=0)))
