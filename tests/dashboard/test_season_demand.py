"""The demand half of the Season page: what should sell and why, who was nearer, what was told and is taken back."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from plotly.utils import PlotlyJSONEncoder

from dashboard.components.season_acts import note
from dashboard.components.season_demand import asked_of, facts_told, nearer, should_sell
from dashboard.forms.routes import form
from ledger.application.ledger import Ledger, open_ledger
from ledger.application.season_forecast import issue, make_forecast, override
from ledger.application.season_forecast_report import forecast_report
from ledger.domain.batch.commands import Void
from tests.support.made_once import invented_shop

pytestmark = pytest.mark.slow

TODAY = "2026-11-25"
EMPTY = dict.fromkeys(("kind", "from", "to", "flavour", "channel", "packs", "at", "note"), "")


def told(parts: Any) -> str:
    return json.dumps(parts, cls=PlotlyJSONEncoder, ensure_ascii=False)


@pytest.fixture(scope="module")
def shop_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return invented_shop(tmp_path_factory, weeks=70)


@pytest.fixture
def own(shop_file: Path, tmp_path: Path) -> Ledger:
    shutil.copy(shop_file, tmp_path / "shop.sqlite")
    return open_ledger(f"sqlite:///{tmp_path}/shop.sqlite", clock=lambda: datetime(2026, 11, 25, 9, tzinfo=UTC))


def test_the_page_says_what_should_sell_with_bands_models_and_reasons_as_the_report_does(own: Ledger):
    made = make_forecast(own, 8)
    said, report = told(should_sell(made)), forecast_report(made)
    row = report.tables["flavours"].frame.iloc[0]
    for figure in (row["mean"], row["q10"], row["q90"]):
        assert f'"{int(figure):,}"'.replace(",", "\u202f") in said
    for words in (
        "Which model, and why",
        "pooled",
        "weeks of its own",
        "By channel",
        "In 8 years of 10",
        "forecast?form=csv",
    ):
        assert words in said, words
    assert "promised" not in said and "model said" not in said, "nothing is promised, and nobody says otherwise"
    assert "By channel" not in told(should_sell(made, "CLOVE")) and "ONLINE" in told(should_sell(made, "CLOVE")).upper()


def test_a_fact_noted_stands_in_the_list_until_it_is_taken_back(own: Ledger):
    said = told(
        note(
            own,
            EMPTY
            | {
                "kind": "bulk",
                "from": "2026-12-09",
                "flavour": "ROCK",
                "channel": "WHOLESALE",
                "packs": "140",
                "note": "hotel",
            },
        )
    )
    assert "Noted as entry" in said
    position = own.queries.as_of().position
    listed = told(facts_told(own))
    assert (
        "bulk order" in listed and "140 packs" in listed and "hotel" in listed and f"void?origin={position}" in listed
    )
    assert "It never happened" in form(own, "void", {"origin": str(position)})
    own.do(Void(day=TODAY, origin=position, reason="they cancelled"))
    assert f"void?origin={position}" not in told(facts_told(own))


def test_what_stands_in_a_field_out_of_sight_is_not_sent(own: Ledger):
    """Packs typed for a bulk order stay in their field when another kind is chosen; a closure has none."""
    row = asked_of(
        EMPTY
        | {
            "kind": "closure",
            "from": "2026-12-28",
            "flavour": "ROCK",
            "packs": "140",
            "at": "14:00-15:00",
            "channel": "ONLINE",
        }
    )
    assert row["packs"] == row["at"] == row["flavour"] == "" and row["channel"] == "ONLINE"
    assert "Noted as entry" in told(note(own, EMPTY | {"kind": "closure", "from": "2026-12-28", "packs": "140"}))


def test_an_own_figure_stands_beside_a_forecast_of_this_week_that_covers_it(own: Ledger):
    """Issued in October for eight weeks, the last forecast does not know December: a new one is issued first, without a command line."""
    issue(own, make_forecast(own, 8, known="2026-10-18"))
    row = EMPTY | {
        "kind": "own",
        "from": "2026-12-07",
        "to": "2026-12-13",
        "flavour": "CLOVE",
        "packs": "333",
        "note": "two coach parties",
    }
    assert "you say 333" in told(note(own, row))
    papers = own.queries.papers("forecast")
    assert len(papers) == 2 and papers[-1][1].origin_week == "2026-W48"
    note(own, row | {"packs": "350"})
    assert len(own.queries.papers("forecast")) == 2, "this week's serves again"
    assert "your own figure" in told(facts_told(own)) and "350 packs" in told(facts_told(own))
    assert "too far ahead" in told(note(own, row | {"from": "2028-12-04", "to": "2028-12-04"}))
    assert "gone by" in told(note(own, row | {"from": "2026-01-05", "to": "2026-01-05"}))
    assert "--" not in told(note(own, row | {"note": ""}))


def test_the_page_tells_who_was_nearer_once_the_weeks_are_over(own: Ledger):
    assert nearer(own, make_forecast(own, 8)) == []
    issue(own, make_forecast(own, 8, known="2026-10-18"))
    override(own, "LEMON", "2026-W43", "2026-W44", 1, "a guess")
    said = told(nearer(own, make_forecast(own, 8)))
    assert (
        "Who was nearer" in said
        and "0 nearer than the model, 1 further" in said
        and "a guess" in said
        and "Forecasts issued, as they were made" in said
    )
