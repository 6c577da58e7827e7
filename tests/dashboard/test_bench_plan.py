"""The bench and the plan in force: what is due stands there, one tap opens it with its line, and only once."""

from __future__ import annotations

import json
import re
from datetime import date, timedelta
from typing import Any

import pytest
from plotly.utils import PlotlyJSONEncoder

from dashboard.components.bench_plan import SHOWN, due_part
from dashboard.forms.routes import form
from dashboard.pages import bench
from ledger.application import season_adopt
from ledger.application.ledger import Ledger
from ledger.domain.books import entries as e
from ledger.domain.postings import iso_week
from ledger.domain.season.commands import AdoptPlan
from ledger.errors import Refused, UnknownThing
from ledger.interfaces.commands_in import read_command


def told(parts: Any) -> str:
    return json.dumps(parts, cls=PlotlyJSONEncoder, ensure_ascii=False)


def adopt(ledger: Ledger, plan: str, ahead: list[int | None]) -> list[str]:
    """A plan by hand: one batch of the first design's flavour for each count of days from today (None: this week, no day found)."""
    today, design = date.fromisoformat(ledger.today()), ledger.book().all(e.Design)[0]
    lines: list[dict[str, Any]] = []
    for number, days in enumerate(ahead, start=1):
        when = today + timedelta(days=days or 0)
        label = iso_week(when.isoformat())
        lines.append({
            "item": design.flavour, "flavour": design.flavour, "design": design.id, "label": label, "week": 0, "batches": 1, "grams": 4_250, "frozen": 0,
            "kettle": "Small copper kettle", "days": [0 if days is None else 1], "dates": ["" if days is None else when.isoformat()],
            "plan_lines": [f"{plan}/{design.flavour}/{label}/{number}"],
        })  # fmt: skip
    ledger.do(
        AdoptPlan(
            day=ledger.today(), plan=plan, as_of=1, frozen_until=iso_week(ledger.today()), cost=10, bound=10, method="by hand", lines=tuple(lines), settings={},
        ),
        "MK",
    )  # fmt: skip
    return [line["plan_lines"][0] for line in lines]


def hidden_fields(html: str) -> dict[str, str]:
    return dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', html))


def test_without_a_plan_the_bench_says_nothing_of_one(demo: Ledger) -> None:
    assert due_part(demo, demo.book()) is None


def test_batches_of_the_next_seven_days_are_due_at_the_bench_and_later_ones_are_not(demo: Ledger) -> None:
    names = adopt(demo, "P1", [0, 3, 6, 7, 30])
    said = told(bench.layout(demo, {}))
    due = [name for name in names if name.replace("/", "%2F") in said]
    assert due == names[:3]
    assert "Small copper kettle" in said and "about 4.2 kg" in said


def test_a_batch_without_a_day_is_due_in_its_week_and_many_are_counted(demo: Ledger) -> None:
    names = adopt(demo, "P1", [None] * (SHOWN + 2))
    said = told(due_part(demo, demo.book()))
    assert sum(name.replace("/", "%2F") in said for name in names) == SHOWN
    assert "2 more until" in said and "no day found" in said


def test_the_form_of_a_planned_batch_records_its_line_and_then_neither_bench_nor_form_offers_it_again(
    demo: Ledger,
) -> None:
    (line,) = adopt(demo, "P1", [1])
    html = form(demo, "open-batch", {"line": line})
    fields = hidden_fields(html)
    assert fields["plan_line"] == line and "about 4.2 kg in Small copper kettle" in html
    batch = demo.do(read_command("open-batch", fields, demo.book(), demo.today()), "MK").batch
    state = season_adopt.line_states(demo, season_adopt.adopted(demo))[0]
    assert state["batch"] == batch
    assert due_part(demo, demo.book()) is None
    with pytest.raises(Refused, match=f"Batch {batch} was opened for {line} already"):
        form(demo, "open-batch", {"line": line})


def test_a_line_of_a_plan_that_was_superseded_or_never_was_opens_no_form(demo: Ledger) -> None:
    (old,) = adopt(demo, "P1", [1])
    adopt(demo, "P2", [2])
    with pytest.raises(Refused, match="superseded by P2"):
        form(demo, "open-batch", {"line": old})
    with pytest.raises(UnknownThing, match="has no line"):
        form(demo, "open-batch", {"line": "P2/NOTHING/2026-W01/9"})
