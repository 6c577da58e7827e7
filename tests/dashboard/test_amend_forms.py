"""Forms that come filled in: sent back untouched they say what the ledger says, and a cook can gain, lose and change portions."""

from __future__ import annotations

import json
from typing import Any

import pytest

from dashboard.forms.routes import form
from dashboard.pages.log import AMENDABLE, VOIDABLE
from ledger.application.ledger import Ledger
from ledger.domain.books import entries as e
from ledger.domain.books.commands import Define
from ledger.domain.stored_names import all_names
from ledger.errors import StepsInTheWay
from ledger.interfaces.commands_in import read_command
from tests.dashboard.form_reader import Form

pytestmark = pytest.mark.slow

AMENDED = sorted(AMENDABLE)


def entries(ledger: Ledger, name: str, most: int) -> list[int]:
    corrected = {
        json.loads(p)["origin"]
        for n in ("ledger.amended", "ledger.voided")
        for p in ledger.queries.log(name=n, most=2000)["payload"]
    }
    return [p for p in ledger.queries.log(name=name, most=most, newest_first=True)["position"] if p not in corrected]


def send(ledger: Ledger, made: Form, reason: str = "tested") -> Any:
    name, data = made.order()
    if name == "amend":
        data["reason"] = reason
    return ledger.do(read_command(name, data, ledger.book(), ledger.today()), "MK")


def amended(ledger: Ledger, position: int) -> Form:
    return Form(form(ledger, "amend", {"origin": str(position)}))


@pytest.mark.parametrize("name", AMENDED)
def test_an_entry_sent_back_untouched_is_no_amendment(name: str, demo: Ledger) -> None:
    for position in entries(demo, name, 25):
        before = demo.queries.as_of().position
        send(demo, amended(demo, int(position)))
        after = demo.queries.log(most=20, newest_first=True).head(demo.queries.as_of().position - before)
        assert after.empty, (position, json.loads(after["payload"].iloc[0]))


@pytest.mark.parametrize("kind", sorted(set(e.KINDS) - {"planning"}))
@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_book_entry_sent_back_untouched_is_no_new_version(kind: str, units: str, demo: Ledger) -> None:
    from dataclasses import replace

    if units == "us":
        demo.do(Define(day=demo.today(), entry=replace(demo.book().site(), units="us")))
    before = demo.queries.as_of().position
    for id in demo.queries.book_history(kind)["id"].unique()[:12]:
        send(demo, Form(form(demo, "define", {"kind": kind, "id": id})))
        assert demo.queries.as_of().position == before, id


def cooked(ledger: Ledger) -> tuple[str, int]:
    """A closed batch with several portions: its code and where its cook stands."""
    for position in entries(ledger, "batch.cooked", 60):
        data = json.loads(ledger.queries.log(before=position + 1, most=1, newest_first=True)["payload"].iloc[0])
        closed = ledger.queries.batches(names=[data["batch"]])["status"].iloc[0] == "closed"
        if len(data["gives"]) > 1 and closed:
            return data["batch"], int(position)
    raise AssertionError("the demo has no such batch")


def test_a_portion_can_be_renamed_and_coloured_on_the_form(demo: Ledger) -> None:
    batch, position = cooked(demo)
    made = amended(demo, position)
    made.put("gives.0.portion", "ivory")
    made.put("gives.0.colour", "ivory")
    send(demo, made)
    lots = demo.queries.lots(holding=False, batch=batch).set_index("lot")
    assert (lots.loc[f"{batch}-C1", "portion"], lots.loc[f"{batch}-C1", "colour"]) == ("ivory", "ivory")


def test_a_portion_taken_out_that_a_pull_used_is_refused_and_the_pull_is_named(demo: Ledger) -> None:
    batch, position = cooked(demo)
    made = amended(demo, position)
    pulled = json.loads(demo.queries.log(batch=batch, name="batch.pulled", most=9)["payload"].iloc[0])["takes"][0][
        "lot"
    ]
    row = next(
        r
        for r in made.rows
        if r.startswith("gives.") and any(f.name == f"{r}.lot" and f.value == pulled for f in made.fields)
    )
    made.take_out(row)
    with pytest.raises(StepsInTheWay, match=f"pull of batch {batch}"):
        send(demo, made)


def test_a_forgotten_portion_goes_in_once_the_closing_is_voided_and_the_log_takes_it_up(demo: Ledger) -> None:
    batch, position = cooked(demo)
    log = demo.queries.log(batch=batch, most=99)
    with pytest.raises(StepsInTheWay, match="Void the closing first"):
        send(demo, _with_black(amended(demo, position)))
    void = Form(form(demo, "void", {"origin": str(log[log["name"] == "batch.closed"]["position"].iloc[0])}))
    void.put("reason", "a portion was forgotten")
    send(demo, void)
    made = _with_black(amended(demo, position))
    spare = next(r for r, a in made.rows.items() if r.startswith("takes.") and "hidden" in a)
    colour = demo.queries.lots(kinds=["material"])
    colour = colour[colour["item"].map(lambda m: demo.book().get(e.Material, m).role == "colour")]["lot"].iloc[0]
    for name, value in (("lot", colour), ("mass", "2 g"), ("portion", "black")):
        made.put(f"{spare}.{name}", value)
    send(demo, made)
    lots = demo.queries.lots(batch=batch)
    [black] = lots[lots["portion"] == "black"].to_dict("records")
    assert (black["mass_mg"], black["colour"]) == (150_000, "black")
    built = int(log[log["name"] == "batch.built"]["position"].iloc[0])
    again = amended(demo, built)
    used = next(
        r
        for r, a in again.rows.items()
        if r.startswith("takes.") and any(f.name == f"{r}.lot" and f.value == black["lot"] for f in again.fields)
    )
    again.put(f"{used}.mass", "")
    send(demo, again)
    assert black["lot"] not in set(demo.queries.lots(batch=batch)["lot"])


def _with_black(made: Form) -> Form:
    row = next(r for r, a in made.rows.items() if r.startswith("gives.") and "hidden" in a)
    for name, value in (("portion", "black"), ("colour", "black"), ("mass", "150 g")):
        made.put(f"{row}.{name}", value)
    return made


def test_step_times_are_entered_and_taken_out_with_their_history(demo: Ledger) -> None:
    made = Form(form(demo, "define", {"kind": "recipe", "id": "LEMON"}))
    made.put("entry.steps.0.time", "48")
    made.put("entry.steps.0.people", "3")
    last = next(f.name for f in reversed(made.fields) if f.name.startswith("entry.steps.") and f.name.endswith(".time"))
    made.put(last, "")
    send(demo, made)
    recipe = demo.book().get(e.Recipe, "LEMON")
    assert (recipe.steps[0].step, recipe.steps[0].seconds, recipe.steps[0].people) == ("cook", 2_880, 3)
    assert "pack" not in {s.step for s in recipe.steps}
    assert list(demo.queries.book_history("recipe", "LEMON")["version"])[-1] == 2


def test_what_is_emptied_in_the_book_is_empty(demo: Ledger) -> None:
    made = Form(form(demo, "define", {"kind": "pack", "id": demo.book().all(e.Pack)[0].id}))
    assert demo.book().all(e.Pack)[0].design
    made.put("entry.design", "")
    send(demo, made)
    assert demo.book().all(e.Pack)[0].design == ""


def test_the_log_offers_to_correct_what_can_be_corrected(demo: Ledger) -> None:
    from dashboard.shell import render
    from tests.dashboard.test_pages import walk

    assert set(all_names()) >= VOIDABLE
    offered = {
        c["props"]["data-form"] for c in walk(render(demo, "/log", "?name=lot.received")) if "data-form" in c["props"]
    }
    newest = demo.queries.log(name="lot.received", most=1, newest_first=True)["position"].iloc[0]
    assert {f"amend?origin={newest}", f"void?origin={newest}"} <= offered
    for name in sorted(VOIDABLE):
        for position in entries(demo, name, 1):
            assert 'name="origin"' in form(demo, "void", {"origin": str(position)})
