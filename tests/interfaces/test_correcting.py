"""Amending and voiding from a terminal: what follows is worked out again, or the steps in the way are listed."""

from __future__ import annotations

import json

from tests.interfaces.conftest import Terminal
from tests.interfaces.test_recording import event

COOK, PULL, BUILD, CUT, PACK, SOLD = "19", "20", "21", "23", "25", "27"


def table(terminal: Terminal, *words: str) -> dict[str, object]:
    found: dict[str, object] = json.loads(terminal(*words, "--json").out)
    return found


def test_an_amended_figure_carries_on_through_every_later_step(lived: Terminal) -> None:
    before = table(lived, "batch", "B1")
    answer = lived("amend", COOK, "--set", "gives.1.mass=9.3 kg", "--reason", "misread the scale")
    assert "later entries follow from it and were amended too" in answer.all
    after = table(lived, "batch", "B1")
    assert before["tables"] != after["tables"]
    assert "The ledger holds." in lived("verify").out


def test_the_old_figure_stays_readable_as_known(lived: Terminal) -> None:
    entries = str(lived.root()[0])
    printed = table(lived, "week", "2026-W07")
    lived("amend", COOK, "--set", "water=2.7 kg", "--reason", "the jug was misread")
    assert table(lived, "week", "2026-W07")["tables"] != printed["tables"]
    assert table(lived, "week", "2026-W07", "--as-known", entries)["tables"] == printed["tables"]


def test_an_amendment_takes_what_people_say_and_keeps_the_rest(lived: Terminal) -> None:
    lived("amend", COOK, "--set", "end_temperature=309 F", "--set", "work.0.time=1 h 30 min", "--reason", "read again")
    data = event(lived, "ledger.amended", 0).data
    assert (data["end_temperature_mc"], data["end_temperature"]) == (153_889, "309 F")
    assert data["work"][0]["seconds"] == 5_400
    assert data["takes"][0]["mass_mg"] == 8_400_000
    assert event(lived, "batch.cooked").end_temperature_mc == 154_444


def test_voiding_a_step_others_stand_on_is_refused_with_their_list(lived: Terminal) -> None:
    lived.refused("void", BUILD, "--reason", "never happened", told=("22", "roll", "[rule.steps-in-the-way]"))


def test_voiding_the_last_steps_first_clears_the_way(lived: Terminal) -> None:
    for entry in ("28", SOLD):
        lived("void", entry, "--reason", "rung up twice")
    lots = json.loads(lived("stock", "--all", "--json").out)["tables"]["lots"]["rows"]
    assert [x["packs"] for x in lots if x["lot"] == "B1-J1"] == [100]
    lived.refused("void", SOLD, "--reason", "again", told=(SOLD, "voided already"))


def test_an_amendment_that_would_empty_a_lot_below_nothing_is_refused(lived: Terminal) -> None:
    lived.refused("amend", PACK, "--set", "packs=20", "--reason", "miscounted", told=("20", "[rule."))


def test_what_is_not_there_cannot_be_corrected(lived: Terminal) -> None:
    lived.refused("void", "999", "--reason", "x", told=("999", "slabbook log"))
    lived.refused("amend", COOK, "--set", "temprature=3 C", "--reason", "x", told=("temprature",))
    lived.refused("amend", COOK, "--set", "end_temperature=309 kg", "--reason", "x", told=("309 kg", "310 F"))


def test_an_amendment_that_changes_nothing_records_nothing(lived: Terminal) -> None:
    before = lived.root()
    assert "Nothing to do" in lived("amend", COOK, "--set", "water=2.5 kg", "--reason", "same").out
    assert lived.root() == before
